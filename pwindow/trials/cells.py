"""Raw cells to typed values in the project's units; every cell that cannot be read is reported."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from numbers import Real

import numpy as np
import pandas as pd

from pwindow.errors import Problem, UnitProblem
from pwindow.trials.columns import COLUMNS, NEEDED, RESPONSES, Column
from pwindow.trials.files import column_name
from pwindow.units import factor_between, same_dimension

_EMPTY = frozenset({"", "na", "nan", "n/a", "none", "null", "<na>"})
_NUMBER = re.compile(r"^[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?$")


def read_columns(
    cells: pd.DataFrame, file: str
) -> tuple[pd.DataFrame, dict[str, str], list[str], list[Problem]]:
    """Type and convert a table of raw cells.

    Returns
    -------
    table : DataFrame
        Known columns, typed, in the project's units; the index is the row of the file. Unknown
        columns follow as text.
    units : dict
        Unit each number column is kept in.
    notes : list of str
        What the reader should know but that is not wrong.
    problems : list of Problem
    """
    names = [column_name(str(header)) for header in cells.columns]
    problems = _header_problems(names, file)
    table: dict[str, pd.Series] = {}
    units: dict[str, str] = {}
    notes: list[str] = []
    marks = _decimal_marks(cells)
    for at, (name, unit) in enumerate(names):
        raw = cells.iloc[:, at]
        if name in table or (name not in COLUMNS and not name):
            continue
        if name not in COLUMNS:
            table[name] = raw.map(_as_text)
            notes.append(f"{file}: column “{name}” is not a known column; it is kept but not used")
            continue
        column = COLUMNS[name]
        if column.kind == "text":
            table[name] = raw.map(_as_text)
            continue
        scale, units[name], unit_notes, unit_problems = _scale(column, unit, file)
        values, cell_problems = _numbers(raw, column, file, marks)
        problems += unit_problems + cell_problems
        notes += unit_notes
        table[name] = values * scale
    return pd.DataFrame(table, index=cells.index), units, notes, problems


def _header_problems(names: list[tuple[str, str | None]], file: str) -> list[Problem]:
    present = [name for name, _ in names]
    problems = [
        Problem(file, "the column is missing", f"add a column “{_example_header(name)}”", row=1, column=name)
        for name in NEEDED
        if name not in present
    ]
    problems += [
        Problem(file, "the column stands twice", "keep one of them", row=1, column=name)
        for name in dict.fromkeys(present)
        if name in COLUMNS and present.count(name) > 1
    ]
    if not set(RESPONSES) & set(present):
        problems.append(
            Problem(file, "nothing was measured", f"add at least one of {', '.join(RESPONSES)}", row=1)
        )
    return problems


def _example_header(name: str) -> str:
    unit = COLUMNS[name].unit
    return name if unit is None else f"{name} [{unit}]"


def _scale(column: Column, unit: str | None, file: str) -> tuple[float, str, list[str], list[Problem]]:
    kept = column.unit or ""
    if column.kind == "count":
        return 1.0, kept, [], []
    if unit is None:
        return 1.0, kept, [f"{file}: “{column.name}” names no unit; read as {kept}"], []
    try:
        kept = next((target for target in column.units if same_dimension(unit, target)), kept)
        return factor_between(unit, kept), kept, [], []
    except UnitProblem as problem:
        mend = f"use {' or '.join(column.units)}, or a unit that converts to it"
        return 1.0, kept, [], [Problem(file, str(problem), mend, row=1, column=column.name, value=unit)]


def _as_text(cell: object) -> str | None:
    """A cell as an identifier: a workbook's 1234.0 is the id 1234, text stays as it is."""
    if cell is None or cell is pd.NA or (isinstance(cell, float) and math.isnan(cell)):
        return None
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    text = "".join(letter for letter in str(cell) if letter.isprintable()).strip()
    return text or None


def _decimal_marks(cells: pd.DataFrame) -> set[str]:
    """Decimal marks that the file's cells use."""
    marks = set()
    for at in range(cells.shape[1]):
        known, raw = COLUMNS.get(column_name(str(cells.columns[at]))[0]), cells.iloc[:, at]
        if known is None or known.kind == "text" or raw.dtype.kind in "iuf":
            continue
        texts = {cell for cell in raw if isinstance(cell, str)}
        for mark in ".,":
            if any(mark in text and _NUMBER.match(text.strip()) for text in texts):
                marks.add(mark)
    return marks


def _numbers(raw: pd.Series, column: Column, file: str, marks: set[str]) -> tuple[pd.Series, list[Problem]]:
    if raw.dtype.kind not in "iuf" or not isinstance(raw.dtype, np.dtype):
        raw = raw.astype(object)
    readable = pd.Series(True, index=raw.index)
    if raw.dtype == object:
        readable = raw.map(
            lambda cell: isinstance(cell, (str, Real, Decimal)) and not isinstance(cell, (bool, np.bool_))
        )
    values = pd.to_numeric(raw.where(readable), errors="coerce").astype(float)
    odd = ~np.isfinite(values) & raw.notna()
    results = raw[odd].map(lambda cell: _number(cell, marks)).astype(object)
    wrong = results.map(lambda result: isinstance(result, str)).astype(bool)
    values[odd] = results.where(~wrong, np.nan).astype(float)
    problems = [
        Problem(file, what, _mend(what, column), row=row, column=column.name, value=str(raw[row]))
        for row, what in results[wrong].items()
    ]
    return values, problems + _impossible(values, column, file)


def _mend(what: str, column: Column) -> str:
    if "decimal" in what:
        return "use one decimal mark throughout and no thousands separator"
    return f"give a number{' in ' + column.unit if column.unit else ''}, or leave the cell empty"


def _number(cell: object, marks: set[str]) -> float | str:
    """A cell as a number, or the text of what is wrong with it."""
    if cell is None or cell is pd.NA:
        return math.nan
    if isinstance(cell, (bool, np.bool_)):
        return "true/false is not a number"
    if isinstance(cell, (int, float, np.integer, np.floating)):
        return float(cell) if math.isnan(cell) or math.isfinite(cell) else "infinite"
    text = str(cell).strip().replace("\u00a0", "").replace("\u2009", "").replace("\u2212", "-")
    if text.lower() in _EMPTY:
        return math.nan
    if "," in text and "." in text:
        return "decimal mark and thousands separator cannot be told apart"
    if not _NUMBER.match(text):
        return "not a number"
    if "," in text and "." in marks:
        return "the file uses decimal point and decimal comma"
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else "infinite"


def _impossible(values: pd.Series, column: Column, file: str) -> list[Problem]:
    if column.least is None:
        return []
    low = values <= column.least if column.strict else values < column.least
    kind = "above" if column.strict else "at least"
    problems = [
        Problem(
            file,
            "physically impossible",
            f"{column.name} must be {kind} {column.least:g}; correct it or leave the cell empty",
            row=row,
            column=column.name,
            value=f"{values[row]:g}",
        )
        for row in values.index[low]
    ]
    if column.kind == "count":
        problems += [
            Problem(
                file,
                "not a whole number",
                "give a count",
                row=row,
                column=column.name,
                value=f"{values[row]:g}",
            )
            for row in values.index[(values % 1 != 0) & values.notna()]
        ]
    return problems
