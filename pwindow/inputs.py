"""A file that a user hands in, by path or by upload: its name and its bytes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pwindow.errors import UnusableInput


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
