"""An XLSX workbook to a table of raw cells: which sheet is the trial, and its rows."""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pwindow.errors import SeveralSheets, TrialProblem, first_few, shown
from pwindow.inputs import InputFile
from pwindow.trials.bounds import MOST_CELLS, MOST_TEXT, check_size, too_large, unreadable
from pwindow.trials.columns import NEEDED, RESPONSES
from pwindow.trials.headers import HEAD, HEADER_NAMES, header_row, known_names
from pwindow.trials.packed import check_packed

_SAMPLE = HEAD + 1000  # rows in which the first row below the header must be filled


@dataclass(frozen=True, kw_only=True)
class _Sheet:
    """A sheet with its header: the row it stands in, its cells, and the known columns among them."""

    source: Any  # a worksheet of openpyxl, which has no types
    name: str
    first: int
    header: tuple[str, ...]
    known: tuple[str, ...]
    filled: bool

    @property
    def usable(self) -> bool:
        """Whether it has what a trial needs, and at least one row of it."""
        return self.filled and set(NEEDED) <= set(self.known) and bool(set(RESPONSES) & set(self.known))


def read_workbook(file: InputFile) -> tuple[pd.DataFrame, list[str]]:
    """Read the sheet that is named, or the one that can be the trial.

    Returns
    -------
    cells : DataFrame
    notes : list of str
        Which sheet was read, where others have some of its columns.

    Raises
    ------
    SeveralSheets
        If more than one can be the trial.
    TrialProblem
    """
    import openpyxl

    check_packed(file)
    try:
        book = openpyxl.load_workbook(io.BytesIO(file.content), read_only=True, data_only=True)
        sheets = [found for source in book.worksheets if (found := _looked_at(source)) is not None]
        chosen = _chosen(sheets, [source.title for source in book.worksheets], file)
        cells = _cells(chosen, file)
    except TrialProblem:
        raise
    except Exception as problem:  # a torn workbook raises whatever its zip or its XML stumbles over
        raise unreadable(file, f"not an XLSX workbook ({str(problem)[:200]})") from problem
    return cells, _notes(chosen, sheets, file)


def _looked_at(source: Any) -> _Sheet | None:
    """A sheet by its first rows; what it says about its own size is not trusted."""
    source.reset_dimensions()
    rows = list(itertools.islice(source.iter_rows(values_only=True, max_row=_SAMPLE), _SAMPLE))
    first = header_row(rows)
    if first is None:
        return None
    header = _trimmed(rows[first])
    filled = any(cell not in (None, "") for row in rows[first + 1 :] for cell in row)
    return _Sheet(
        source=source, name=source.title, first=first, header=header, known=known_names(header), filled=filled
    )


def _trimmed(row: Sequence[object]) -> tuple[str, ...]:
    """The cells of a row as text, without empty ones at its end."""
    texts = ["" if cell is None else str(cell) for cell in row]
    while texts and not texts[-1].strip():
        texts.pop()
    return tuple(texts)


def _chosen(sheets: Sequence[_Sheet], names: Sequence[str], file: InputFile) -> _Sheet:
    if file.sheet is not None:
        return _named(file.sheet, sheets, names, file)
    if not sheets:
        raise unreadable(file, "the workbook is empty", "put the header in the first row")
    usable = [sheet for sheet in sheets if sheet.usable]
    best = max(usable or sheets, key=lambda sheet: len(sheet.known))
    rivals = tuple(sheet.name for sheet in usable if not set(sheet.known) < set(best.known))
    if len(rivals) > 1:
        raise SeveralSheets(file.name, rivals)
    return best


def _named(name: str, sheets: Sequence[_Sheet], names: Sequence[str], file: InputFile) -> _Sheet:
    found = next((sheet for sheet in sheets if sheet.name == name), None)
    if found is None and name in names:
        raise unreadable(file, f"the sheet “{shown(name)}” is empty", f"choose from {first_few(names)}")
    if found is None:
        raise unreadable(file, f"there is no sheet “{shown(name)}”", f"choose from {first_few(names)}")
    return found


def _cells(sheet: _Sheet, file: InputFile) -> pd.DataFrame:
    width = len(sheet.header)
    check_size(file, 1, width)
    rows, places, letters = [], [], 0
    for place, row in enumerate(_rows_below(sheet, width), start=sheet.first + 2):
        if any(cell is not None for cell in row):
            rows.append(row)
            places.append(place)
            letters += sum(len(cell) for cell in row if isinstance(cell, str))
        if len(rows) * width > MOST_CELLS or letters > MOST_TEXT:
            raise too_large(
                file, f"more than {MOST_CELLS} cells, or more than {MOST_TEXT} characters in them"
            )
    return pd.DataFrame(rows, columns=list(sheet.header), dtype=object, index=pd.Index(places, dtype=int))


def _rows_below(sheet: _Sheet, width: int) -> Iterator[tuple]:
    return sheet.source.iter_rows(min_row=sheet.first + 2, max_col=width, values_only=True)


def _notes(chosen: _Sheet, sheets: Sequence[_Sheet], file: InputFile) -> list[str]:
    """Said only where another sheet has columns of a trial, in a header of its own."""
    others = [sheet for sheet in sheets if sheet is not chosen and len(sheet.known) >= HEADER_NAMES]
    if not others:
        return []
    words = "; ".join(
        f"“{shown(sheet.name)}” has {'the same columns' if sheet.known == chosen.known else ', '.join(sheet.known)}"
        for sheet in others[:5]
    )
    return [f"{file.name}: sheet “{shown(chosen.name)}” was read; not read: {words}"]
