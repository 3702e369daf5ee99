"""Why SQLite refuses, told by the codes of its driver."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

CORRUPT = "it is damaged; keep a copy of it as it is, and go back to a backup"
LOCKED = "somebody else has been writing for long; try again later"
_READ_ONLY = "you may not write to it, which reading it needs too; ask for permission, or copy the file to a folder of your own"
FULL = "the disk it lies on is full, so nothing was changed; make room and try again"
_SICK = "the disk it lies on fails or has no room; look after the disk, and keep a backup of the file"

_CODES: Mapping[int, str] = {
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_BUSY: LOCKED,
    sqlite3.SQLITE_LOCKED: LOCKED,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_IOERR: _SICK,
    sqlite3.SQLITE_CORRUPT: CORRUPT,
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; check the address, and whether the folder is there and yours to "
    "write to",
    sqlite3.SQLITE_NOTADB: "this is not a database, or one that is damaged or encrypted; check the address",
}
"""By the primary code, the low byte of an extended one."""


def of_sqlite(problem: sqlite3.Error) -> str | None:
    """What helps against a refusal, in words; None where its code is not known."""
    code = getattr(problem, "sqlite_errorcode", None)
    return None if code is None else _CODES.get(code & 0xFF)
