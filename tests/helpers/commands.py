"""Run commands, in this process or as a real one."""

from __future__ import annotations

import json
import os
import subprocess
import sys

from click.testing import CliRunner, Result

from pwindow.cli import main


def run(*arguments: object) -> Result:
    """Run a command in this process; a traceback fails the test."""
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise AssertionError(f"a traceback: {result.exception!r}") from result.exception
    return result


def answer(*arguments: object) -> dict:
    """Run a command with --json; it must answer with one document and nothing else."""
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout, parse_constant=_no_constant)


def _no_constant(word: str) -> None:
    raise AssertionError(f"{word} is not JSON")


def refused(*arguments: object) -> str:
    """Run a command that must give reasons on standard error, status 1, and nothing else."""
    result = run(*arguments)
    assert result.exit_code == 1, (result.exit_code, result.stdout, result.stderr)
    assert result.stdout == "" and result.stderr.strip()
    return result.stderr


def misused(*arguments: object) -> str:
    """Run a command that must complain of its usage: status 2 and nothing on standard output."""
    result = run(*arguments)
    assert result.exit_code == 2, (result.exit_code, result.stdout, result.stderr)
    assert result.stdout == "" and "Error" in result.stderr
    return result.stderr


def process(*arguments: object, **environment: str) -> subprocess.CompletedProcess:
    """Run ``python -m pwindow`` for real."""
    return subprocess.run(
        [sys.executable, "-m", "pwindow", *map(str, arguments)],
        capture_output=True,
        check=False,
        timeout=120,
        env=os.environ | environment,
    )
