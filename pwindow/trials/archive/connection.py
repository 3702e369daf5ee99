"""How an archive is reached: an SQLite file, or a PostgreSQL server by its URL.

On both, those who write queue from the beginning of their transaction to its end: what one has looked up
still holds when it writes. Those who only read (the execution option ``reads``) wait for nobody.
"""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from pwindow.errors import UnusableInput

_PATIENCE = 120
"""Seconds to wait for others that are writing."""
_LOCK = 7_946_301  # any number that nothing else in a shared database locks
_SQLITE, _POSTGRESQL = "sqlite+pysqlite", "postgresql+psycopg"
_DRIVERS = {
    "sqlite": _SQLITE,
    _SQLITE: _SQLITE,
    "postgresql": _POSTGRESQL,
    "postgres": _POSTGRESQL,
    _POSTGRESQL: _POSTGRESQL,
}
_GIVE = "give a file name or postgresql://user@host/database"


def connect(address: str) -> Engine:
    """An engine for an archive.

    Parameters
    ----------
    address : str
        A path of an SQLite file, or a URL: ``sqlite:///…`` or ``postgresql://…``.

    Raises
    ------
    UnusableInput
        If the address is of another kind.
    """
    url = read_address(address)
    return _sqlite(url) if url.drivername == _SQLITE else _postgresql(url)


def read_address(address: str) -> URL:
    """The address of an archive in its parts; errors as of `connect`."""
    url = _read_url(address) if "://" in address else URL.create(_SQLITE, database=address)
    if url.drivername == _SQLITE:
        _named_file(url, address)
    return url


def _read_url(address: str) -> URL:
    try:
        url = make_url(address)
        if url.port is not None and not 0 < url.port < 2**16:
            raise ValueError("ports are numbers from 1 to 65535")
    except (ArgumentError, ValueError) as problem:  # the latter of a port that is no number
        raise UnusableInput(
            f"archive “{shown(address)}” is neither a path nor a complete URL; {_GIVE}"
        ) from problem
    if url.drivername not in _DRIVERS:
        raise UnusableInput(
            f"an archive is an SQLite file or a PostgreSQL database, not “{url.drivername}”; {_GIVE}"
        )
    return url.set(drivername=_DRIVERS[url.drivername])


def _named_file(url: URL, address: str) -> str:
    if url.host or url.query:
        raise UnusableInput(
            f"archive “{shown(address)}”: write the address of an SQLite file as sqlite:/// followed by the file and nothing else"
        )
    if not url.database or url.database == ":memory:":
        raise UnusableInput(
            f"archive “{address}” names no file, so nothing added to it would be saved; give a file name"
        )
    return url.database


def file_of(address: str) -> Path | None:
    """The SQLite file that an address names; None of a server."""
    url = read_address(address)
    return Path(_named_file(url, address)) if url.drivername == _SQLITE else None


def look_only(path: Path) -> Engine:
    """An engine that reads an SQLite file and changes nothing about it.

    A log of writes that lies beside it is left to those who write; where there is none, only who may write
    puts away what reading lays there.
    """
    mode = "ro" if path.with_name(f"{path.name}-wal").exists() else "rw"
    name = f"{path.absolute().as_uri()}?mode={mode}"
    return create_engine(
        f"{_SQLITE}://",
        creator=lambda: sqlite3.connect(name, uri=True, timeout=_PATIENCE),
        poolclass=NullPool,
    )


def _sqlite(url: URL) -> Engine:
    """A commit is on the disk when it returns."""
    engine = create_engine(url, connect_args={"timeout": _PATIENCE}, poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None  # transactions begin below, and not when the driver thinks
        for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {setting}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN" if _reads(connection) else "BEGIN IMMEDIATE")

    return engine


def _postgresql(url: URL) -> Engine:
    engine = create_engine(url, isolation_level="READ COMMITTED", poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        if not _reads(connection):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_PATIENCE}s'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")

    return engine


def _reads(connection: Connection) -> bool:
    return connection.get_execution_options().get("reads", False)


def shown(address: str) -> str:
    """The address without its password, also where it cannot be read."""
    if "://" not in address:
        return address
    try:
        return make_url(address).render_as_string()
    except (ArgumentError, ValueError):
        return re.sub(r"(://[^:/@]*:).*@", r"\1***@", address)
