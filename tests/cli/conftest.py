"""Commands on the demo data, which is read and fitted once."""

import pytest

import pwindow as pw
from tests.helpers.remembered import remembering


@pytest.fixture(scope="module", autouse=True)
def remembered():
    with remembering():
        yield


@pytest.fixture(scope="session")
def first():
    return str(pw.demo("trial_first.csv"))


@pytest.fixture(scope="session")
def tag_file():
    return str(pw.demo("tag.toml"))
