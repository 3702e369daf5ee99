"""Seals of decisions: each is a digest of what was decided, of which trial, and of the seal before it.

A decision that is changed, moved or taken out afterwards no longer fits its seal or the one that follows.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Iterator

from sqlalchemy import Connection, Row, Select, column, select, table

from pwindow.trials.archive.moments import Moment

# what is sealed, written out: the step that sealed old decisions must find it whatever is added to the tables
_DECISIONS = table(
    "decisions", *map(column, ("id", "trial", "standing", "reason", "seal")), column("made", Moment)
)
_TRIALS = table("trials", *map(column, ("id", "name", "file", "fingerprint")))
_SEALED = (
    _DECISIONS.c.id,
    _DECISIONS.c.trial,
    _TRIALS.c.name,
    _TRIALS.c.file,
    _TRIALS.c.fingerprint,
    _DECISIONS.c.standing,
    _DECISIONS.c.reason,
    _DECISIONS.c.made,
    _DECISIONS.c.seal,
)


def seal(before: str, decision: Row) -> str:
    """The seal of a decision that follows one with the seal `before`."""
    made = decision.made.astimezone(datetime.UTC).isoformat(timespec="microseconds")
    sealed = [decision.trial, decision.name, decision.file, decision.fingerprint]
    sealed += [decision.standing, decision.reason, made]
    return hashlib.sha256(json.dumps([before, *sealed]).encode()).hexdigest()


def seal_newest(connection: Connection) -> None:
    """Seal the decision that was written last, in the transaction that wrote it."""
    rows = connection.execute(_asked().order_by(_DECISIONS.c.id.desc()).limit(2)).all()
    before = rows[1].seal if len(rows) > 1 else ""
    _put(connection, rows[0], seal(before, rows[0]))


def seal_all(connection: Connection) -> None:
    """Seal decisions that were written before there were seals."""
    before = ""
    for row in connection.execute(_asked().order_by(_DECISIONS.c.id)).all():
        before = seal(before, row)
        _put(connection, row, before)


def broken_seals(connection: Connection) -> Iterator[Row]:
    """Decisions whose seal is not the one they should have after the decision before them."""
    before = ""
    for row in connection.execute(_asked().order_by(_DECISIONS.c.id)).all():
        if row.seal != seal(before, row):
            yield row
        before = row.seal


def _asked() -> Select:
    return select(*_SEALED).select_from(_DECISIONS.outerjoin(_TRIALS, _TRIALS.c.id == _DECISIONS.c.trial))


def _put(connection: Connection, decision: Row, found: str) -> None:
    connection.execute(_DECISIONS.update().where(_DECISIONS.c.id == decision.id).values(seal=found))
