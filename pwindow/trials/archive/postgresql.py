"""Why a PostgreSQL server refuses, by the codes of its driver.

A server that refuses a connection gives its driver no code: then it is asked whether it is there at all, and
whether it lets the same user into the database that every server has.
"""

from __future__ import annotations

from collections.abc import Mapping

import psycopg
from psycopg.pq import ConnStatus, PGconn, Ping
from sqlalchemy import URL

from pwindow.trials.archive.sqlite import CORRUPT, FULL, LOCKED

_PATIENCE = 10  # s, to ask a server that has refused already
_NO_SERVER = "no server answers at that address; check the host, the port, and that the server is running"
_ENDED = "the server closed the connection; try again, and ask its administrator if it persists"
_STRANGER = "the server refused this user; check the user and the password (in PGPASSWORD or ~/.pgpass)"
_NO_DATABASE = "the server has no such database; check its name, or create it (createdb)"
_NOT_ALLOWED = (
    "this user may not write to that database; ask for permission to create and change tables in it"
)
_ADDRESS = "the database driver does not understand the address; check it"

_CODES: Mapping[str, str] = {
    "28000": _STRANGER,
    "28P01": _STRANGER,
    "3D000": _NO_DATABASE,
    "25006": "that server is read-only (a standby); give the address of the primary",
    "42501": _NOT_ALLOWED,
    "53100": FULL,
    "53300": "the server has no free connection; try again later",
    "55P03": LOCKED,
    "40P01": LOCKED,
    "XX001": CORRUPT,
    "XX002": CORRUPT,
    "57P01": _ENDED,
    "57P02": _ENDED,
    "57P03": "the server is starting up or shutting down; try again in a moment",
}


def of_postgresql(problem: BaseException, url: URL) -> str | None:
    """What helps against a refusal, in words; None where its code is not known."""
    if not isinstance(problem, psycopg.Error):
        return None
    if problem.sqlstate is not None:
        return _CODES.get(problem.sqlstate)
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
        return _NO_SERVER if answer is Ping.NO_RESPONSE else _CODES["57P03"]
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
