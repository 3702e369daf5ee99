"""Raw cells to typed values in the project's units; what cannot be read is kept as it was typed."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cache
from numbers import Real

import numpy as np
import pandas as pd

from pwindow.errors import Problem, UnitProblem, at_rows, first_few, shown
from pwindow.trials.columns import NEEDED, TRIAL_TABLE, Column, TableKind
from pwindow.trials.headers import column_name
from pwindow.units import factor_between, same_dimension

MISSING_WORDS = frozenset(
    {
        *("na", "n/a", "n.a.", "n.a", "#n/a", "#n/a n/a", "#na", "#nv", "nan", "none", "null", "<na>"),
        *("-", "--", "---", "–", "––", "—", "\u2212", "missing", "not measured", "n.m."),
    }
)
"""What people and programs write into a cell that has no value; upper and lower case are the same."""

_MISSING_NUMBERS = MISSING_WORDS | {"nd", "n.d.", "n.d", "not detected", "?", "."}
"""The same in a column of numbers; a roll or a plate may well be called ND."""

_NUMBER = re.compile(r"^[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?$")
_MOMENT = r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d"
_LONGEST_NUMBER = 60  # characters
_TOLD_UNKNOWN = 10  # unknown columns that are listed one by one


@dataclass(frozen=True, kw_only=True)
class TypedCells:
    """A table of typed features beside the cells that it was read from.

    Attributes
    ----------
    file : str
        Name to report.
    kind : TableKind
    table : DataFrame
        Known columns, typed, in the project's units; the index is the row of the file. Unknown columns
        follow as text.
    units : dict
        Unit that each number column is kept in.
    raw : dict
        The cells of each known column as in the file.
    written : dict
        Unit of each number column in the file, and the factor from it to the unit it is kept in.
    faults : dict
        By column, what is wrong with a cell and how to correct it, by row; such a cell is empty in `table`.
    unread : frozenset of str
        Columns in a unit that cannot be converted: their cells are empty in `table`.
    header_problems : tuple of Problem
    notes : tuple of str
        What the reader should know but that is not wrong.
    """

    file: str
    kind: TableKind
    table: pd.DataFrame
    units: Mapping[str, str]
    raw: Mapping[str, pd.Series]
    written: Mapping[str, tuple[str, float]]
    faults: Mapping[str, pd.Series]
    unread: frozenset[str] = frozenset()
    header_problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = field(default=(), repr=False)

    def column(self, name: str) -> pd.Series:
        """The values of a column, or an empty one where the file has none."""
        return self.table[name] if name in self.table else pd.Series(math.nan, index=self.table.index)

    def faulty(self, names: Sequence[str]) -> pd.Series:
        """Rows in which a cell of the columns could not be read."""
        found = pd.Series(bool(self.unread & set(names)), index=self.table.index)
        for name in set(names) & set(self.faults):
            found[self.faults[name].index] = True
        return found

    def empty(self, name: str) -> pd.Series:
        """Rows in which a column has no value, faulty cells left out: they are reported separately."""
        return self.column(name).isna() & ~self.faulty([name])

    def as_typed(self, name: str, row: int) -> str:
        """A cell as the file has it."""
        cell = self.raw[name][row]
        if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
            cell = int(cell)
        return str(cell).strip()

    def with_unit(self, name: str, row: int) -> str:
        """A cell as the file has it, with the unit of its column."""
        unit = self.unit(name)
        return f"{shown(self.as_typed(name, row))}{' ' + unit if unit else ''}"

    def unit(self, name: str) -> str:
        """Unit of a column in the file; of one that it does not have, the unit it would be read in."""
        return self.written[name][0] if name in self.written else self.kind.columns[name].unit or ""

    def without(self, rows: pd.Series) -> TypedCells:
        """The same without some rows and all that is wrong in them."""
        if not rows.any():
            return self
        faults = {name: wrong[~rows[wrong.index]] for name, wrong in self.faults.items()}
        return replace(self, table=self.table[~rows], faults=faults)

    def problems(self) -> list[Problem]:
        """What is wrong with the header and with single cells."""
        found = list(self.header_problems)
        for name, wrong in self.faults.items():
            kinds: dict[tuple[str, str], list[int]] = {}
            for row, kind in zip(wrong.index, wrong):
                kinds.setdefault(kind, []).append(row)
            for (what, mend), rows in kinds.items():
                found += at_rows(rows, self._fault(name, what, mend))
        return found

    def _fault(self, name: str, what: str, mend: str) -> Callable[[int], Problem]:
        return lambda row: Problem(
            file=self.file, what=what, mend=mend, row=row, column=name, value=self.as_typed(name, row)
        )


def read_columns(cells: pd.DataFrame, file: str, kind: TableKind = TRIAL_TABLE) -> TypedCells:
    """Type and convert a table of raw cells.

    Parameters
    ----------
    cells : DataFrame
        As of `read_cells`.
    file : str
        Name to report.
    kind : TableKind
        A trial unless told otherwise.
    """
    names = [column_name(str(header), kind.columns) for header in cells.columns]
    problems = _header_problems(names, file, kind)
    table: dict[str, pd.Series] = {}
    raw: dict[str, pd.Series] = {}
    written: dict[str, tuple[str, float]] = {}
    faults: dict[str, pd.Series] = {}
    units: dict[str, str] = {}
    notes: list[str] = []
    unknown: list[str] = []
    unread: set[str] = set()
    marks = _decimal_marks(cells, kind)
    for at, (name, unit) in enumerate(names):
        if name in table or (name not in kind.columns and not name):
            continue
        if name not in kind.columns:
            table[name] = _by_value(cells.iloc[:, at], _as_text)
            if name not in kind.carried:
                unknown.append(name)
            continue
        column, raw[name] = kind.columns[name], cells.iloc[:, at]
        if name == "time" and unit is None and (elapsed := _elapsed(raw[name])) is not None:
            raw[name], unit = elapsed, column.unit
        if column.kind == "text":
            table[name], faults[name], words = _texts(raw[name], column)
        else:
            scale, units[name], unit_notes, unit_problems = _scale(column, unit, file)
            written[name] = (units[name] if unit is None or unit_problems else unit, scale)
            problems += unit_problems
            notes += unit_notes
            if unit_problems:
                unread.add(name)
                table[name] = pd.Series(math.nan, index=cells.index)
                continue
            table[name], faults[name], words = _numbers(raw[name], column, marks, written[name], units[name])
        notes += _words_note(words, str(cells.columns[at]), file)
    notes += _unknown_notes(unknown, file)
    typed = pd.DataFrame(table, index=cells.index)
    faulty = {name: wrong for name, wrong in faults.items() if len(wrong)}
    return TypedCells(
        file=file,
        kind=kind,
        table=typed,
        units=units,
        raw=raw,
        written=written,
        faults=faulty,
        unread=frozenset(unread),
        header_problems=tuple(problems),
        notes=tuple(notes),
    )


def _header_problems(names: list[tuple[str, str | None]], file: str, kind: TableKind) -> list[Problem]:
    present = [name for name, _ in names]
    if not set(kind.columns) & set(present):
        measured = _example_header(kind.columns[kind.measured[0]])
        mend = f"its header must name {', '.join(kind.needed)} and what was measured, such as {measured}"
        what = f"this is not a {kind.name} file: it has none of the columns of a {kind.name}"
        return [Problem(file=file, what=what, mend=mend)]
    problems = [
        Problem(
            file=file,
            what="the column is missing",
            mend=f"add a column “{_example_header(kind.columns[name])}”",
            row=1,
            column=name,
        )
        for name in kind.needed
        if name not in present
    ]
    problems += [
        Problem(file=file, what="duplicate column", mend="keep one of them", row=1, column=name)
        for name in dict.fromkeys(present)
        if name in kind.columns and present.count(name) > 1
    ]
    if not set(kind.measured) & set(present):
        mend = f"add at least one of {', '.join(kind.measured)}"
        problems.append(Problem(file=file, what="nothing was measured", mend=mend, row=1))
    return problems


def _example_header(column: Column) -> str:
    return column.name if column.unit is None else f"{column.name} [{column.unit}]"


def _words_note(words: Mapping[str, int], header: str, file: str) -> list[str]:
    if not words:
        return []
    count = sum(words.values())
    cells = "1 cell" if count == 1 else f"{count} cells"
    return [f"{file}: “{shown(header)}”: {cells} containing {first_few(list(words))} read as empty"]


def _unknown_notes(names: Sequence[str], file: str) -> list[str]:
    if len(names) > _TOLD_UNKNOWN:
        quoted = first_few(names, _TOLD_UNKNOWN)
        return [f"{file}: columns {quoted} are not recognised; they are kept but not used"]
    return [f"{file}: column “{shown(name)}” is not recognised; it is kept but not used" for name in names]


def _scale(column: Column, unit: str | None, file: str) -> tuple[float, str, list[str], list[Problem]]:
    kept = column.unit or ""
    if column.kind == "count":
        return 1.0, kept, [], []
    if unit is None:
        return 1.0, kept, [f"{file}: “{column.name}” has no unit; read as {kept}"], []
    try:
        kept = next((target for target in column.units if same_dimension(unit, target)), kept)
        return factor_between(unit, kept), kept, [], []
    except UnitProblem as problem:
        mend = f"use {' or '.join(column.units)}, or a unit that converts to it"
        return (
            1.0,
            kept,
            [],
            [Problem(file=file, what=str(problem), mend=mend, row=1, column=column.name, value=unit)],
        )


# text -------------------------------------------------------------------------------------------


def _texts(raw: pd.Series, column: Column) -> tuple[pd.Series, pd.Series, dict[str, int]]:
    """Identifiers, what is wrong with them by row, and how often each word for a missing one occurs."""
    texts = _by_value(raw, _as_text)
    words = {text for text in texts.dropna().unique() if text.lower() in MISSING_WORDS}
    counts = texts[texts.isin(words)].value_counts(sort=False).to_dict() if words else {}
    wrong = _by_value(raw, _text_fault).dropna()
    fault = (f"{wrong.iloc[0]}" if len(wrong) else "", "retype the cell")
    return (
        texts.mask(texts.isin(words)) if words else texts,
        pd.Series([fault] * len(wrong), index=wrong.index, dtype=object),
        {str(word): int(count) for word, count in counts.items()},
    )


def _text_fault(cell: object) -> str | None:
    """A character that no keyboard types would make two names of one, or one of two."""
    if isinstance(cell, str) and not cell.isprintable() and re.search("[\x00-\x08\x0e-\x1f\x7f]", cell):
        return "the text contains a control character"
    return None


def _as_text(cell: object) -> str | None:
    """A cell as an identifier: a workbook's 1234.0 is the id 1234, text stays as it is."""
    if cell is None or cell is pd.NA or (isinstance(cell, float) and math.isnan(cell)):
        return None
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    text = str(cell)
    if not text.isprintable():
        text = "".join(letter for letter in text if letter.isprintable())
    return text.strip() or None


def _by_value(raw: pd.Series, function: Callable[[object], object]) -> pd.Series:
    """A function of each cell, computed once for equal ones."""
    raw = raw.astype(object)
    if pd.api.types.infer_dtype(raw, skipna=True) not in ("string", "integer", "floating"):
        return raw.map(function)  # equal cells may differ in kind, such as 1 and True, or have no hash
    return raw.map(cache(function), na_action="ignore")


# numbers ----------------------------------------------------------------------------------------


def _decimal_marks(cells: pd.DataFrame, kind: TableKind) -> set[str]:
    """Decimal marks that the file's cells use."""
    marks = set()
    for at in range(cells.shape[1]):
        name, _ = column_name(str(cells.columns[at]), kind.columns)
        known, raw = kind.columns.get(name), cells.iloc[:, at]
        if known is None or known.kind == "text" or raw.dtype.kind in "iuf":
            continue
        texts = {cell for cell in raw.to_numpy(dtype=object) if isinstance(cell, str)}
        for mark in ".,":
            if any(mark in text and _is_number(text.strip()) for text in texts):
                marks.add(mark)
    return marks


def _is_number(text: str) -> bool:
    return len(text) <= _LONGEST_NUMBER and _NUMBER.match(text) is not None


def _numbers(
    raw: pd.Series, column: Column, marks: set[str], written: tuple[str, float], kept: str
) -> tuple[pd.Series, pd.Series, dict[str, int]]:
    """Numbers in the unit they are kept in, what is wrong by row, and the words for missing ones."""
    unit, scale = written
    readable = pd.Series(True, index=raw.index)
    is_text = isinstance(raw.dtype, pd.StringDtype)
    if raw.dtype.kind not in "iuf" or not isinstance(raw.dtype, np.dtype):
        raw = raw.astype(object)
    if raw.dtype == object and not is_text:
        readable = raw.map(
            lambda cell: isinstance(cell, (str, Real, Decimal)) and not isinstance(cell, (bool, np.bool_))
        ).astype(bool)
    values = pd.to_numeric(raw.where(readable), errors="coerce").astype(float)
    odd = ~np.isfinite(values) & raw.notna()
    reasons, words = {}, {}
    if odd.any():
        results = raw[odd & readable].map(_Reader(marks)).astype(object)
        wrong = results.map(lambda result: isinstance(result, str)).astype(bool)
        values[results.index] = results.where(~wrong, np.nan).astype(float)
        reasons = {row: (what, _mend(what, column, unit)) for row, what in results[wrong].items()}
        unread = raw[odd & ~readable].map(_kind_of)
        reasons |= {row: (what, _mend(what, column, unit)) for row, what in unread.items()}
        words = _words(raw[odd & readable])
    values = values * scale
    bounds = _impossible(values, column, unit, scale, kept)
    wrong = pd.Series(reasons | bounds, dtype=object) if reasons or bounds else pd.Series(dtype=object)
    values[wrong.index] = np.nan
    return values, wrong, words


def _words(raw: pd.Series) -> dict[str, int]:
    counts = raw[raw.map(lambda cell: isinstance(cell, str) and bool(cell))].value_counts(sort=False)
    words = {str(cell).strip(): int(count) for cell, count in counts.items()}
    return {text: count for text, count in words.items() if text.lower() in _MISSING_NUMBERS}


def _kind_of(cell: object) -> str:
    return "true/false is not a number" if isinstance(cell, (bool, np.bool_)) else "not a number"


def _mend(what: str, column: Column, unit: str) -> str:
    if "decimal" in what:
        return "use one decimal mark throughout and no thousands separator"
    if column.name == "time":
        return f"give minutes since the first print, or date and time as 2026-05-04 14:32{_or_empty(column)}"
    number = f"give a {'count' if column.kind == 'count' else 'number'}{' in ' + unit if unit else ''}"
    return f"{number}{_or_empty(column)}"


def _or_empty(column: Column) -> str:
    """A cell that every row needs cannot be left empty."""
    return "; every row needs it" if column.name in NEEDED else ", or leave the cell empty"


def _elapsed(raw: pd.Series) -> pd.Series | None:
    """Dates with times of day as minutes since the first; None where the cells are something else."""
    filled = raw.dropna()
    texts = filled.map(str).str.strip()
    if filled.empty or not texts.str.match(_MOMENT).all():
        return None
    moments = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True)
    if moments.isna().any():
        return None
    return ((moments - moments.min()).dt.total_seconds() / 60.0).reindex(raw.index)


class _Reader:
    """Reads cells that are no plain numbers, each text once."""

    def __init__(self, marks: set[str]):
        self._marks = marks
        self._read: dict[str, float | str] = {}

    def __call__(self, cell: object) -> float | str:
        if not isinstance(cell, str):
            return _number(cell, self._marks)
        if cell not in self._read:
            self._read[cell] = _number(cell, self._marks)
        return self._read[cell]


def _number(cell: object, marks: set[str]) -> float | str:
    """A cell as a number, or the text of what is wrong with it."""
    if isinstance(cell, (int, float, np.integer, np.floating)):
        return math.nan if isinstance(cell, float) and math.isnan(cell) else "infinite"
    text = str(cell).strip().replace("\u00a0", "").replace("\u2009", "")
    if not text or text.lower() in _MISSING_NUMBERS:
        return math.nan
    text = text.replace("\u2212", "-")
    if "," in text and "." in text:
        return "decimal mark and thousands separator cannot be distinguished"
    if not _is_number(text):
        return "not a number"
    if "," in text and "." in marks:
        return "the file uses both decimal point and decimal comma"
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else "infinite"


def _impossible(values: pd.Series, column: Column, unit: str, scale: float, kept: str) -> dict[int, tuple]:
    """What no press and no instrument gives, by row; the bounds are given in the file's own unit."""
    bounds = column.bounds_in(kept)
    if bounds is None:
        return {}
    least, most = bounds
    slack = 1e-9 * abs(most)  # a bound that was converted to the file's unit and back
    out = (values < least - 1e-9 * abs(least)) | (values > most + slack)
    own = f" {unit}" if unit else ""
    mend = (
        f"{column.name} must be from {least / scale:.4g} to {most / scale:.4g}{own}: check the value and its unit"
        f"{'' if column.name in NEEDED else ', or leave the cell empty'}"
    )
    found = dict.fromkeys(values.index[out], ("physically impossible", mend))
    if column.kind == "count":
        halves = (values % 1 != 0) & values.notna() & ~out
        found |= dict.fromkeys(values.index[halves], ("not a whole number", "give a count"))
    return found
