"""Run commands, in this process or as a real one."""

import json
import os
import subprocess
import sys

import pytest
from click.testing import CliRunner

import pwindow as pw
from pwindow.cli import main
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


@pytest.fixture(scope="session")
def run():
    """Run a command in this process; a traceback fails the test."""

    def call(*arguments):
        result = CliRunner().invoke(main, [str(argument) for argument in arguments])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise AssertionError(f"a traceback: {result.exception!r}") from result.exception
        return result

    return call


@pytest.fixture(scope="session")
def answer(run):
    """Run a command with --json; it must answer with one document and nothing else."""

    def call(*arguments):
        result = run(*arguments, "--json")
        assert result.exit_code == 0, result.stderr
        return json.loads(result.stdout, parse_constant=_no_constant)

    return call


def _no_constant(word):
    raise AssertionError(f"{word} is not JSON")


@pytest.fixture(scope="session")
def process():
    """Run ``python -m pwindow`` for real."""

    def call(*arguments, **environment):
        return subprocess.run(
            [sys.executable, "-m", "pwindow", *map(str, arguments)],
            capture_output=True,
            check=False,
            timeout=120,
            env=os.environ | environment,
        )

    return call


@pytest.fixture(scope="session")
def refused(run):
    """Run a command that must give reasons on standard error, status 1, and nothing else."""

    def call(*arguments):
        result = run(*arguments)
        assert result.exit_code == 1, (result.exit_code, result.stdout, result.stderr)
        assert result.stdout == "" and result.stderr.strip()
        return result.stderr

    return call


@pytest.fixture(scope="session")
def misused(run):
    """Run a command that must complain of its usage: status 2 and nothing on standard output."""

    def call(*arguments):
        result = run(*arguments)
        assert result.exit_code == 2, (result.exit_code, result.stdout, result.stderr)
        assert result.stdout == "" and "Error" in result.stderr
        return result.stderr

    return call
