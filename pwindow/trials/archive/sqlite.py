"""Why SQLite refuses, by its error codes."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

CORRUPT = "it is damaged; keep a copy of it, and restore a backup"
LOCKED = "another program has been writing to it for too long; try again later"
_READ_ONLY = "you do not have write permission, which is needed even to read it; ask for it, or copy the file to your own folder"
FULL = "its disk is full, so nothing was changed; free some space and try again"
_SICK = "its disk is failing or full; check the disk, and keep a backup of the file"

_CODES: Mapping[int, str] = {
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_BUSY: LOCKED,
    sqlite3.SQLITE_LOCKED: LOCKED,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_IOERR: _SICK,
    sqlite3.SQLITE_CORRUPT: CORRUPT,
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; check the address, and that the folder exists and you can write "
    "to it",
    sqlite3.SQLITE_NOTADB: "this is not a database, or it is damaged or encrypted; check the address",
}
"""By the primary code, the low byte of an extended one."""


def of_sqlite(problem: sqlite3.Error) -> str | None:
    """What helps against a refusal, in words; None where its code is not known."""
    code = getattr(problem, "sqlite_errorcode", None)
    return None if code is None else _CODES.get(code & 0xFF)
