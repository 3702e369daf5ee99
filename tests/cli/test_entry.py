"""How a command ends where it is interrupted, or nobody takes its answer: with a sentence and a status."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.helpers.commands import process

INTERRUPTED_WHILE_LOADING = """
import importlib.abc, os, signal, sys

module, trial = sys.argv[1:]

class Interrupt(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name == module:
            os.kill(os.getpid(), signal.SIGINT)

signal.signal(signal.SIGINT, signal.default_int_handler)  # where the tests run in the background it is ignored
sys.meta_path.insert(0, Interrupt())
from pwindow.__main__ import main
sys.argv = ["pwindow", "fit", trial]
main()
"""


@pytest.mark.slow
@pytest.mark.parametrize("module", ["click", "pwindow.cli", "pwindow.cli.documents", "pandas", "scipy.stats"])
def test_ctrl_c_while_modules_load(module, first):
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED_WHILE_LOADING, module, first],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "interrupted\n")


def test_the_console_script_starts_where_interruptions_are_caught():
    """Importing it loads nothing that takes long: before its first line nothing of ours catches Ctrl-C."""
    loaded = "import sys, pwindow.__main__; print([one for one in ('click', 'numpy') if one in sys.modules])"
    done = subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
    project = (Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8")
    assert 'pwindow = "pwindow.__main__:main"' in project


def told(*arguments, **streams):
    """Status and standard error of a command whose standard output goes elsewhere."""
    unbuffered = streams.pop("unbuffered", "")
    done = subprocess.run(
        [sys.executable, "-m", "pwindow", *map(str, arguments)],
        stderr=subprocess.PIPE,
        text=True,
        timeout=120,
        check=False,
        env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
        **streams,
    )
    return done.returncode, done.stderr


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
@pytest.mark.parametrize(
    "more, unbuffered",
    [
        (["--help"], ""),
        (["--version"], "1"),
        (["check"], ""),
        (["check", "--json"], "1"),
        (["fit", "--help"], "1"),
    ],
)
def test_a_full_disk_takes_no_answer(more, unbuffered, first):
    arguments = [*more, first] if more[0] == "check" else more
    with open("/dev/full", "w") as full:
        status, said = told(*arguments, stdout=full, unbuffered=unbuffered)
    assert status == 1
    assert said == "the answer could not be written to standard output: No space left on device\n"


@pytest.mark.slow
@pytest.mark.parametrize("more", [["--help"], ["check"], ["check", "--json"]])
def test_a_closed_pipe_takes_no_answer(more, first):
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "w") as pipe:
        status, said = told(*([*more, first] if more[0] == "check" else more), stdout=pipe)
    assert status == 1
    assert said == "the answer could not be written to standard output: Broken pipe\n"


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
def test_reasons_that_nobody_takes_still_have_their_status():
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "pwindow", "check", "nowhere.csv"], stdout=full, stderr=full, check=False
        )
    assert done.returncode == 1


@pytest.mark.slow
def test_statuses_are_as_before(first):
    assert process("--help").returncode == process("check", first).returncode == 0
    assert process("check", "nowhere.csv").returncode == 1
    assert process("chekc").returncode == process().returncode == 2


def test_what_is_no_matter_of_the_answer_keeps_its_traceback():
    from pwindow.__main__ import _status

    def fails():
        raise FileNotFoundError(2, "No such file or directory", "somewhere")

    with pytest.raises(FileNotFoundError):
        _status(fails)


def test_a_shell_may_ask_how_to_complete_commands():
    done = process("", _PWINDOW_COMPLETE="bash_source")
    assert done.returncode == 0 and b"_pwindow_completion" in done.stdout
