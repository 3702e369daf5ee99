"""A file that a user hands in, by path or by upload: its name and its bytes."""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike
from pathlib import Path

from pwindow.errors import UnusableInput, expect


@dataclass(frozen=True)
class InputFile:
    """A file as it came; `sheet` names the one to read where it is a workbook of several."""

    name: str
    content: bytes
    sheet: str | None = None

    @classmethod
    def of(cls, source: str | Path | InputFile, sheet: str | None = None) -> InputFile:
        """The file itself, or the one a path names; of a workbook `sheet`, where one is named.

        Raises
        ------
        UnusableInput
            If the path cannot be read.
        """
        if isinstance(source, InputFile):
            return source
        path = Path(source)
        try:
            return cls(path.name, path.read_bytes(), sheet)
        except (OSError, ValueError) as problem:  # a path may hold a zero byte
            reason = getattr(problem, "strerror", problem)
            raise UnusableInput(f"{path}: cannot be read ({reason}); check the path") from problem


def expect_file(function: str, source: object, what: str) -> None:
    """Refuse what is no file; see `expect`.

    Parameters
    ----------
    function : str
        Its public name.
    source : object
    what : str
        What kind of file it takes.
    """
    expect(function, source, (str, PathLike, InputFile), f"the path of {what}")
