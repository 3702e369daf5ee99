"""How an archive is reached: an SQLite file, or a PostgreSQL server by its URL.

On both, those who write queue from the beginning of their transaction to its end: what one has looked up
still holds when it writes. Those who only read (the execution option ``reads``) wait for nobody.
"""

from __future__ import annotations

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from pwindow.errors import UnusableInput

_PATIENCE = 120
"""Seconds to wait for others that are writing."""
_LOCK = 7_946_301  # any number that nothing else in a shared database locks
_DRIVERS = {"postgresql": "postgresql+psycopg", "postgres": "postgresql+psycopg"}


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
    if "://" not in address:
        address = f"sqlite:///{address}"
    try:
        url = make_url(address)
    except ArgumentError as problem:
        raise UnusableInput(
            f"archive “{address}” is not a path or a URL; give a file name or postgresql://…"
        ) from problem
    url = url.set(drivername=_DRIVERS.get(url.drivername, url.drivername))
    if url.get_backend_name() == "sqlite":
        return _sqlite(url)
    if url.get_backend_name() == "postgresql":
        return _postgresql(url)
    raise UnusableInput(
        f"archives live in SQLite or PostgreSQL, not in {url.get_backend_name()}; give a file name or postgresql://…"
    )


def _sqlite(url) -> Engine:
    """A commit is on the disk when it returns."""
    engine = create_engine(url, connect_args={"timeout": _PATIENCE})

    @event.listens_for(engine, "connect")
    def prepare(connection, _):
        connection.isolation_level = None  # transactions begin below, and not when the driver thinks
        for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {setting}")

    @event.listens_for(engine, "begin")
    def begin(connection):
        connection.exec_driver_sql("BEGIN" if _reads(connection) else "BEGIN IMMEDIATE")

    return engine


def _postgresql(url) -> Engine:
    engine = create_engine(url, pool_pre_ping=True, isolation_level="READ COMMITTED")

    @event.listens_for(engine, "begin")
    def begin(connection):
        if not _reads(connection):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_PATIENCE}s'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")

    return engine


def _reads(connection: Connection) -> bool:
    return connection.get_execution_options().get("reads", False)


def shown(address: str) -> str:
    """The address without its password."""
    return make_url(address).render_as_string() if "://" in address else address
