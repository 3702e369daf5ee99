"""Seals of decisions: each is a digest of what was decided, of which trial, and of the seal before it.

A decision that is changed, moved or taken out afterwards no longer fits its seal or the one that follows.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Iterator

from sqlalchemy import Connection, Row, Select, select

from pwindow.trials.archive.schema import DECISIONS, TRIALS

_SEALED = (
    DECISIONS.c.id,
    DECISIONS.c.trial,
    TRIALS.c.name,
    TRIALS.c.file,
    TRIALS.c.fingerprint,
    DECISIONS.c.standing,
    DECISIONS.c.reason,
    DECISIONS.c.made,
    DECISIONS.c.seal,
)


def seal(before: str, decision: Row) -> str:
    """The seal of a decision that follows one with the seal `before`."""
    made = decision.made.astimezone(datetime.UTC).isoformat(timespec="microseconds")
    told = [decision.trial, decision.name, decision.file, decision.fingerprint]
    told += [decision.standing, decision.reason, made]
    return hashlib.sha256(json.dumps([before, *told]).encode()).hexdigest()


def seal_newest(connection: Connection) -> None:
    """Seal the decision that was written last, in the transaction that wrote it."""
    rows = connection.execute(_asked().order_by(DECISIONS.c.id.desc()).limit(2)).all()
    before = rows[1].seal if len(rows) > 1 else ""
    _put(connection, rows[0], seal(before, rows[0]))


def seal_all(connection: Connection) -> None:
    """Seal decisions that were written before there were seals."""
    before = ""
    for row in connection.execute(_asked().order_by(DECISIONS.c.id)).all():
        before = seal(before, row)
        _put(connection, row, before)


def broken_seals(connection: Connection) -> Iterator[Row]:
    """Decisions whose seal is not the one they should have after the decision before them."""
    before = ""
    for row in connection.execute(_asked().order_by(DECISIONS.c.id)).all():
        if row.seal != seal(before, row):
            yield row
        before = row.seal


def _asked() -> Select:
    return select(*_SEALED).select_from(DECISIONS.outerjoin(TRIALS))


def _put(connection: Connection, decision: Row, found: str) -> None:
    connection.execute(DECISIONS.update().where(DECISIONS.c.id == decision.id).values(seal=found))
