"""Archives of both kinds."""

import functools

import numpy as np
import pytest

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive
from tests.helpers.archives import KINDS, archive_address, database, postgres


@pytest.fixture(scope="session")
def server():
    """URL of a PostgreSQL server for tests."""
    return postgres()


@pytest.fixture(name="database")
def new_database(server):
    """URL of an empty PostgreSQL database."""
    with database() as address:
        yield address


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param


@pytest.fixture
def address(kind, tmp_path):
    """Address of an archive that is not there yet."""
    with archive_address(kind, tmp_path) as address:
        yield address


@pytest.fixture
def archive(address):
    return Archive(address)


@pytest.fixture
def filled(kind, tmp_path):
    """An archive with the first demo trial, which fits use."""
    with archive_address(kind, tmp_path, filled=True) as address:
        yield Archive(address)


@pytest.fixture(scope="session")
def first():
    return InputFile.of(pw.demo("trial_first.csv"))


@pytest.fixture(scope="session")
def another(make_demo):
    """Maker of trial files that differ by their seed."""

    @functools.cache
    def made(seed, name=None):
        rows = make_demo.simulate_trial(
            make_demo.read_truth(), make_demo.layout_first(), np.random.default_rng(seed)
        )
        return InputFile(name or f"trial_{seed}.csv", rows.to_csv(index=False).encode())

    return made
