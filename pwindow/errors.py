"""What can be wrong with what a user hands in, by stage; every message carries the mend."""

from __future__ import annotations

from dataclasses import dataclass


class UnusableInput(Exception):
    """The input cannot be worked with; the message says what, where and the mend."""

    @property
    def reasons(self) -> list[str]:
        """One sentence per problem."""
        return [str(self)]


class UnitProblem(UnusableInput):
    """A quantity whose unit is missing, unknown or of the wrong dimension."""


class DeclarationProblem(UnusableInput):
    """A study or product file that does not say what it must."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a trial file.

    Attributes
    ----------
    file : str
    row : int or None
        Row of the file as a spreadsheet counts it, the header being row 1.
    column : str or None
    value : str or None
        The value as the file has it.
    what, mend : str
    """

    file: str
    what: str
    mend: str
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        place = [self.file]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {self.column}")
        shown = "" if self.value is None else f" “{self.value}”:"
        return f"{', '.join(place)}:{shown} {self.what}; {self.mend}"


class TrialProblem(UnusableInput):
    """A trial file with problems; all of them are kept in `problems`."""

    def __init__(self, problems: list[Problem]):
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))

    @property
    def reasons(self) -> list[str]:
        return [str(problem) for problem in self.problems]


class SeveralSheets(TrialProblem):
    """A workbook with several sheets that could be the trial: one must be chosen.

    Attributes
    ----------
    file : str
        Name of the workbook.
    sheets : tuple of str
    """

    def __init__(self, file: str, sheets: tuple[str, ...]):
        self.file, self.sheets = file, tuple(sheets)
        listed = ", ".join(f"“{sheet}”" for sheet in self.sheets)
        super().__init__(
            [Problem(file, f"several sheets could be the trial: {listed}", "name the one to read")]
        )


class SurfaceProblem(UnusableInput):
    """A trial that cannot carry the surface asked for."""


class WindowProblem(UnusableInput):
    """A product or set-up that the trial says nothing about."""
