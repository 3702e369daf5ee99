"""What of an archive is copied for a while, so that something can be tried on it."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, Connection, Table, or_, select

from pwindow.trials.archive.schema import CELLS, DECISIONS, FILES, PRINTS, TRIALS


def copy_trials(
    source: Connection, target: Connection, numbers: Sequence[int], checksums: Sequence[str]
) -> None:
    """Copy what fits of trials are made from: their cells, and files that are declared.

    Features are not copied: fits do not need them.

    Parameters
    ----------
    source, target : Connection
        The latter in a transaction that writes, into an archive without trials.
    numbers : sequence of int
        Of the trials; they are the same in the copy.
    checksums : sequence of str
        Of products and a study.
    """
    files = select(TRIALS.c.file).where(TRIALS.c.id.in_(numbers))
    _copy(source, target, FILES, or_(FILES.c.checksum.in_(files), FILES.c.checksum.in_(checksums)))
    _copy(source, target, TRIALS, TRIALS.c.id.in_(numbers))
    for table in (DECISIONS, PRINTS, CELLS):
        _copy(source, target, table, table.c.trial.in_(numbers))


def _copy(source: Connection, target: Connection, table: Table, which: ColumnElement[bool]) -> None:
    rows = [dict(row) for row in source.execute(select(table).where(which)).mappings()]
    if rows:
        target.execute(table.insert(), rows)
