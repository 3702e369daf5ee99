"""A file that a user hands in, by path or by upload: its name and its bytes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pwindow.errors import UnusableInput


@dataclass(frozen=True)
class InputFile:
    """A file as it came; `sheet` is the sheet of a workbook that is asked for, None where none is."""

    name: str
    content: bytes
    sheet: str | None = None

    @classmethod
    def of(cls, source: str | Path | InputFile) -> InputFile:
        """The file itself, or the one a path names.

        Raises
        ------
        UnusableInput
            If the path cannot be read.
        """
        if isinstance(source, InputFile):
            return source
        path = Path(source)
        try:
            return cls(path.name, path.read_bytes())
        except OSError as problem:
            raise UnusableInput(f"{path}: cannot be read ({problem.strerror}); check the path") from problem
