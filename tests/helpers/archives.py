"""Archives for tests, in SQLite and in PostgreSQL: none yet, or one that holds the first demo trial."""

from __future__ import annotations

import atexit
import os
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from pwindow.inputs import InputFile
from pwindow.shipped import demo
from pwindow.trials.archive import Archive

KINDS = ("sqlite", "postgresql")
REASON = "the first"


@contextmanager
def archive_address(kind: str, folder: Path, filled: bool = False) -> Iterator[str]:
    """Address of an archive that is not there yet, or is `filled`: gone afterwards, as the folder will be."""
    if kind == "sqlite":
        file = folder / "archive.db"
        if filled:
            file.write_bytes(filled_file())
        yield str(file)
    else:
        with database(_filled_database() if filled else None) as address:
            yield address


@cache
def filled_file() -> bytes:
    """An SQLite archive with the first demo trial, which fits use; made once a process."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "archive.db"
        add_first_trial(str(file))
        return file.read_bytes()


def add_first_trial(address: str) -> None:
    """Add the first demo trial, and leave the archive."""
    archive = Archive(address)
    archive.add(InputFile.of(demo("trial_first.csv")), "same process", REASON)
    archive._engine.dispose()


@contextmanager
def database(template: str | None = None) -> Iterator[str]:
    """URL of a PostgreSQL database, empty or as the template is, that is dropped afterwards."""
    name = _create(template)
    try:
        yield _url(name)
    finally:
        _drop(name)


def postgres() -> str:
    """URL of the PostgreSQL server for tests; without one the test is skipped, or fails where it must not be."""
    address = os.environ.get("PWINDOW_TEST_POSTGRES")
    if address:
        return address
    if os.environ.get("CI") == "true":
        pytest.fail("PWINDOW_TEST_POSTGRES does not name a server")
    pytest.skip("PWINDOW_TEST_POSTGRES does not name a PostgreSQL server")


@cache
def _filled_database() -> str:
    name = _create()
    atexit.register(_drop, name)
    add_first_trial(_url(name))
    return name


def _create(template: str | None = None) -> str:
    name = f"pwindow_{uuid.uuid4().hex}"
    _order(f"CREATE DATABASE {name}" + (f" TEMPLATE {template}" if template else ""))
    return name


def _drop(name: str) -> None:
    _order(f"DROP DATABASE {name} WITH (FORCE)")


def _order(words: str) -> None:
    address = make_url(postgres()).set(drivername="postgresql+psycopg")
    engine = create_engine(address, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(words))
    engine.dispose()


def _url(name: str) -> str:
    return make_url(postgres()).set(database=name).render_as_string(hide_password=False)
