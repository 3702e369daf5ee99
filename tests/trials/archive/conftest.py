"""Archives of both kinds."""

import os
import uuid

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive


@pytest.fixture(scope="session")
def server():
    """URL of a PostgreSQL server for tests."""
    address = os.environ.get("PWINDOW_TEST_POSTGRES")
    if not address:
        if os.environ.get("CI") == "true":
            pytest.fail("PWINDOW_TEST_POSTGRES does not name a server")
        pytest.skip("PWINDOW_TEST_POSTGRES does not name a PostgreSQL server")
    return address


@pytest.fixture
def database(server):
    """URL of an empty PostgreSQL database."""
    name = f"pwindow_{uuid.uuid4().hex}"
    engine = create_engine(
        make_url(server).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT"
    )
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield make_url(server).set(database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request, tmp_path):
    """Address of an archive that is not there yet."""
    if request.param == "sqlite":
        return str(tmp_path / "archive.db")
    return request.getfixturevalue("database")


@pytest.fixture
def archive(address):
    return Archive(address)


@pytest.fixture(scope="session")
def first():
    return InputFile.of(pw.demo("trial_first.csv"))


@pytest.fixture(scope="session")
def another(make_demo):
    """Maker of trial files that differ by their seed."""
    import numpy as np

    def made(seed, name=None):
        rows = make_demo.simulate_trial(
            make_demo.read_truth(), make_demo.layout_first(), np.random.default_rng(seed)
        )
        return InputFile(name or f"trial_{seed}.csv", rows.to_csv(index=False).encode())

    return made
