"""How large a table may be: checked before it is read, because a small file can unpack to a large one."""

from __future__ import annotations

from pwindow.errors import Problem, TrialProblem
from pwindow.inputs import InputFile

MOST_COLUMNS = 1000
"""A trial file has some twenty columns; an instrument's export a few hundred."""

MOST_CELLS = 30_000_000
"""A million rows of thirty columns: twenty thousand trials of the demo, in about 1 GB of memory."""

MOST_TEXT = 200_000_000
"""Characters in all cells: a long text that stands once in a file can be the text of every row."""


def check_size(file: InputFile, rows: int, columns: int) -> None:
    """Refuse a table that is too large to be a trial.

    Parameters
    ----------
    file : InputFile
        Named in the problem.
    rows, columns : int
        Size of its table.

    Raises
    ------
    TrialProblem
        If it has more than `MOST_COLUMNS` columns or `MOST_CELLS` cells.
    """
    if columns > MOST_COLUMNS:
        raise too_large(file, f"{columns} columns, more than {MOST_COLUMNS}")
    if rows * columns > MOST_CELLS:
        raise too_large(file, f"{rows} rows of {columns} columns, more than {MOST_CELLS} cells")


def too_large(file: InputFile, what: str) -> TrialProblem:
    """A table that has more of something than a trial can have."""
    mend = "leave out what is not trial data, or split the trial into several files"
    return TrialProblem([Problem(file=file.name, what=f"the table is too large: {what}", mend=mend)])


def unreadable(
    file: InputFile, what: str, mend: str = "save it again as CSV, XLSX or Parquet"
) -> TrialProblem:
    """A file that cannot be read as a table.

    Parameters
    ----------
    file : InputFile
    what : str
        What is wrong with it.
    mend : str, optional
        What to do.
    """
    return TrialProblem([Problem(file=file.name, what=what, mend=mend)])
