"""Why a database refuses, told by the codes of its driver, and what helps.

A server that refuses a connection gives its driver no code: then it is asked whether it is there at all, and
whether it lets the same user into the database that every server has.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

import psycopg
from psycopg.pq import ConnStatus, PGconn, Ping
from sqlalchemy import URL

from pwindow.errors import UnusableInput

REFUSALS = (sqlite3.Error, psycopg.Error)
"""What the drivers raise; those around them carry it as ``orig``."""

_PATIENCE = 10  # s, to ask a server that has refused already
_CORRUPT = "it is damaged; keep a copy of it as it is, and go back to a backup"
_LOCKED = "somebody else has been writing for long; try again later"
_READ_ONLY = "you may not write to it, which reading it needs too; ask for permission, or copy the file to a folder of your own"
_FULL = "the disk it lies on is full, so nothing was changed; make room and try again"
_SICK = "the disk it lies on fails or has no room; look after the disk, and keep a backup of the file"
_NO_SERVER = "no server answers there; check host and port, and whether the server runs"
_ENDED = "the server ended the connection; try again, and ask who looks after it if that stays so"
_STRANGER = (
    "the server does not let this user in; check the user and the password (in PGPASSWORD or ~/.pgpass)"
)
_NO_DATABASE = "there is no such database on the server; check its name, or have it made (createdb)"
_NOT_ALLOWED = (
    "this user may not write to that database; ask for permission to create and change tables in it"
)
_ADDRESS = "the address says something that the server's driver does not understand; check it"

_OF_SQLITE: Mapping[int, str] = {
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_IOERR: _SICK,
    sqlite3.SQLITE_CORRUPT: _CORRUPT,
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; check the address, and whether the folder is there and yours to "
    "write to",
    sqlite3.SQLITE_NOTADB: "this is not a database, or one that is damaged or encrypted; check the address",
}
"""By the primary code, the low byte of an extended one."""
_OF_POSTGRESQL: Mapping[str, str] = {
    "28000": _STRANGER,
    "28P01": _STRANGER,
    "3D000": _NO_DATABASE,
    "25006": "that server only reads, as a standby does; give the address of the one that is written to",
    "42501": _NOT_ALLOWED,
    "53100": _FULL,
    "53300": "the server has no connection left; try again later",
    "55P03": _LOCKED,
    "40P01": _LOCKED,
    "XX001": _CORRUPT,
    "XX002": _CORRUPT,
    "57P01": _ENDED,
    "57P02": _ENDED,
    "57P03": "the server is starting or ending; try again in a moment",
}


def cause_of(problem: BaseException, url: URL, shown: str) -> UnusableInput:
    """What a user is told of a refusal.

    Parameters
    ----------
    problem : BaseException
        As the driver raised it.
    url : URL
        Of the archive.
    shown : str
        Its address without a password.
    """
    found = _found(problem, url)
    if found is None:
        reason = (str(problem).strip() or type(problem).__name__).splitlines()[0]
        found = f"{reason}; check the address, and whether the database is as pwindow made it"
    return UnusableInput(f"archive {shown}: {found}")


def _found(problem: BaseException, url: URL) -> str | None:
    if isinstance(problem, sqlite3.Error):
        return _of_sqlite(problem)
    return _of_postgresql(problem, url) if isinstance(problem, psycopg.Error) else None


def _of_sqlite(problem: sqlite3.Error) -> str | None:
    code = getattr(problem, "sqlite_errorcode", None)
    return None if code is None else _OF_SQLITE.get(code & 0xFF)


def _of_postgresql(problem: psycopg.Error, url: URL) -> str | None:
    if problem.sqlstate is not None:
        return _OF_POSTGRESQL.get(problem.sqlstate)
    if isinstance(problem, psycopg.ProgrammingError):  # raised before anybody is asked
        return _ADDRESS
    return _of_connection(problem, url) if isinstance(problem, psycopg.OperationalError) else None


def _of_connection(problem: psycopg.OperationalError, url: URL) -> str | None:
    """Why there is no connection, or no longer."""
    where = url.set(drivername="postgresql").update_query_dict({"connect_timeout": str(_PATIENCE)})
    answer = Ping(PGconn.ping(where.render_as_string(hide_password=False).encode()))
    if answer is Ping.NO_ATTEMPT:
        return _ADDRESS
    if answer is not Ping.OK:
        return _NO_SERVER if answer is Ping.NO_RESPONSE else _OF_POSTGRESQL["57P03"]
    if problem.pgconn is None or problem.pgconn.status != ConnStatus.BAD:
        return _ENDED
    return _NO_DATABASE if _lets_in(url) else _STRANGER


def _lets_in(url: URL) -> bool:
    """Whether the server lets the user of an address into the database that every server has."""
    usual = url.set(drivername="postgresql", database="postgres").render_as_string(hide_password=False)
    try:
        with psycopg.connect(usual, connect_timeout=_PATIENCE):
            return True
    except psycopg.Error:
        return False
