"""What can be wrong with a user's input, by stage; every message says how to fix it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

_LONGEST_SHOWN = 60  # characters of a user's text: enough to find the cell it stands in
_LISTED = 1000  # cells of one kind that are kept one by one; of the rest their number is kept
_FEW = 3  # problems of one kind that are listed one by one
_SHOWN_ROWS, _SHOWN_VALUES = 6, 3  # of the many problems of one kind


def shown(text: object) -> str:
    """A user's text for a message: as typed, but cut where it is long and without control characters.

    Examples
    --------
    >>> shown("speed" + chr(0) + chr(10)), len(shown("a" * 1000))
    ('speed\\\\x00 ', 61)
    """
    text = str(text)
    cut = text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "…"
    return "".join(
        sign if sign.isprintable() else " " if sign.isspace() else f"\\x{ord(sign):02x}" for sign in cut
    )


def first_few(names: Sequence[object], most: int = 5) -> str:
    """The first few of many names, each in quotes, and how many more there are.

    Examples
    --------
    >>> first_few(["a", "b", "c"], most=2)
    '“a”, “b” and 1 more'
    """
    words = ", ".join(f"“{shown(name)}”" for name in names[:most])
    return words if len(names) <= most else f"{words} and {len(names) - most} more"


def expect(function: str, value: object, types: type | tuple[type, ...], what: str) -> None:
    """Refuse what is of another type than a function takes.

    Parameters
    ----------
    function : str
        Its public name.
    value : object
    types : type or tuple of type
    what : str
        What it takes, and where one gets it.

    Raises
    ------
    TypeError
        That says what was expected and what came.

    Examples
    --------
    >>> import pwindow as pw
    >>> pw.fit("trial.csv")
    Traceback (most recent call last):
    TypeError: fit expects a Trial, as read_trial returns it, and got str
    """
    if not isinstance(value, types):
        came = "None" if value is None else type(value).__name__
        raise TypeError(f"{function} expects {what}, and got {came}")


class UnusableInput(Exception):
    """The input is unusable; the message says what, where and how to fix it."""

    @property
    def reasons(self) -> list[str]:
        """One sentence per problem."""
        return [str(self)]


class UnitProblem(UnusableInput):
    """A quantity whose unit is missing, unknown or of the wrong dimension."""


class DeclarationProblem(UnusableInput):
    """A study or product file that lacks something it needs."""


@dataclass(frozen=True, kw_only=True)
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
    kind : str or None
        `what` without that which differs from row to row; None where nothing does.
    more : int
        Number of further cells of the kind, in rows below, that are not kept one by one.
    """

    file: str
    what: str
    mend: str
    row: int | None = None
    column: str | None = None
    value: str | None = None
    kind: str | None = None
    more: int = 0

    def __str__(self) -> str:
        place = [shown(self.file)]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {shown(self.column)}")
        value = "" if self.value is None else f" “{shown(self.value)}”:"
        return f"{', '.join(place)}:{value} {self.what}; {self.mend}"


def at_rows(rows: Sequence[int], problem: Callable[[int], Problem]) -> list[Problem]:
    """The problems of one kind at rows: the first of them one by one, the others as a number."""
    found = [problem(int(row)) for row in rows[:_LISTED]]
    if len(rows) > _LISTED:
        found[-1] = replace(found[-1], more=len(rows) - _LISTED)
    return found


def _of_one_kind(problems: Sequence[Problem]) -> list[str]:
    """Few problems one by one; many as one line with their number and the first rows."""
    count = len(problems) + sum(problem.more for problem in problems)
    if count <= _FEW:
        return [str(problem) for problem in problems]
    first = problems[0]
    place = shown(first.file) + ("" if first.column is None else f", column {shown(first.column)}")
    rows = list(dict.fromkeys(problem.row for problem in problems if problem.row is not None))
    values = list(dict.fromkeys(problem.value for problem in problems if problem.value is not None))
    where = f"{count} rows ({_first(list(map(str, rows)), _SHOWN_ROWS, more=count > len(rows))})"
    quoted = [f"“{shown(value)}”" for value in values]
    value = f" {_first(quoted, _SHOWN_VALUES)}:" if quoted else ""
    return [f"{place}, {where}:{value} {first.kind or first.what}; {first.mend}"]


def _first(texts: list[str], most: int, *, more: bool = False) -> str:
    return ", ".join([*texts[:most], *(["…"] if more or len(texts) > most else [])])


class TrialProblem(UnusableInput):
    """A trial file with problems, kept in `problems`; many of one kind in one column are one reason."""

    def __init__(self, problems: list[Problem]):
        self.problems = problems
        super().__init__("\n".join(self.reasons))

    @property
    def reasons(self) -> list[str]:
        kinds: dict[tuple, list[Problem]] = {}
        for problem in self.problems:
            key = (problem.file, problem.column, problem.kind or problem.what, problem.mend)
            kinds.setdefault(key, []).append(problem)
        return [reason for alike in kinds.values() for reason in _of_one_kind(alike)]


class SeveralSheets(TrialProblem):
    """A workbook in which more than one sheet can be the trial.

    Attributes
    ----------
    file : str
    sheets : tuple of str
        Names of those sheets.
    """

    def __init__(self, file: str, sheets: tuple[str, ...]):
        self.file, self.sheets = file, sheets
        what = f"the sheets {first_few(sheets)} could each be the trial"
        mend = f"choose one with --sheet “{shown(sheets[0])}”, or keep only one in the workbook"
        super().__init__([Problem(file=file, what=what, mend=mend)])


class SurfaceProblem(UnusableInput):
    """A trial that cannot support the surface asked for."""


class WindowProblem(UnusableInput):
    """A product or set-up that the trial says nothing about."""
