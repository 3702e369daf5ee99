"""The row of a table that names its columns, and the names in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from pwindow.trials.columns import COLUMNS, Column
from pwindow.units import split_header

HEAD = 50
"""Rows in which the header must stand."""

HEADER_NAMES = 3
"""Known names that make a row the header, whatever stands above it."""


def column_name(header: str, columns: Mapping[str, Column] = COLUMNS) -> tuple[str, str | None]:
    """Canonical column name and unit of a header cell, of a trial unless other columns are given.

    Examples
    --------
    >>> column_name("Cell volume [BCM]")
    ('cell_volume', 'BCM')
    """
    name, unit = split_header(header.strip().strip('"').lstrip("\ufeff"))
    canonical = name.lower().replace(" ", "_").replace("-", "_")
    return (canonical, unit) if canonical in columns else (name, unit)


def known_names(cells: Iterable[object]) -> tuple[str, ...]:
    """The known columns that a row names, each once, in the order of the trial file format."""
    named = {column_name(str(cell))[0] for cell in cells if cell is not None}
    return tuple(name for name in COLUMNS if name in named)


def header_row(rows: Sequence[Sequence[object]]) -> int | None:
    """The first row that names columns; a title or a comment may stand above it."""
    filled = [at for at, row in enumerate(rows[:HEAD]) if any(cell not in (None, "") for cell in row)]
    return next(
        (at for at in filled if len(known_names(rows[at])) >= HEADER_NAMES), min(filled, default=None)
    )
