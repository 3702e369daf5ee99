"""Kernels come from one process that has done for all what each needs."""

import multiprocessing
import signal
import subprocess
import sys
import time

import psutil
import pytest

from pwindow.cli.server_settings import kernel_maker, kernel_transport
from pwindow.server.forked import Forked
from tests.helpers.servers import wait_until

PREPARED = """
import pwindow.server.prepared
from ipywidgets.widgets import widget
from pwindow.panels.shared.question import question_of
from pwindow.workflows.given import _fit_paths, given_evidence
before = _fit_paths.cache_info().misses
print(before, _fit_paths.cache_info().misses, question_of.cache_info().currsize, len(widget._instances))
"""

pytestmark = pytest.mark.skipif(kernel_maker() != "pwindow-forked", reason="kernels are not forked here")


@pytest.mark.slow
def test_what_is_forked_has_the_fit_and_no_widget():
    """A widget without a kernel never answers a page that asks for it, and the page waits for ever."""
    done = subprocess.run([sys.executable, "-c", PREPARED], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["1", "1", "1", "0"]


@pytest.mark.slow
def test_kernels_have_one_parent_and_an_environment_each(visiting):
    with visiting() as visitor:
        first = visitor.open_page("?speed=61")
        second = visitor.open_page("?speed=62")
        assert visitor.kernel_exists(first) and visitor.kernel_exists(second)
        kernels = visitor.kernels()
        assert len(kernels) >= 2
        assert len({kernel.ppid() for kernel in kernels}) == 1
        assert "asked speed=63" in visitor.ask("GET", visitor.page + "?speed=63")[1]


@pytest.mark.slow
@pytest.mark.skipif(kernel_transport() != "ipc", reason="kernels are reached by ports here")
def test_kernels_are_reached_by_sockets_of_their_own(visiting):
    """A port is chosen before its kernel listens; another program that takes it in between leaves a page empty."""
    with visiting() as visitor:
        visitor.open_page()
        reached = [{socket.laddr for socket in it.net_connections("unix")} for it in visitor.kernels()]
    assert reached and all(sum("-ipc-" in path for path in paths) == 5 for paths in reached)


@pytest.mark.slow
def test_kernels_end_with_a_server_that_is_killed(visiting):
    with visiting() as visitor:
        visitor.open_page()
        kernels = visitor.kernels()
        made_from = kernels[0].parent()
        made_from.parent().kill()
        assert wait_until(lambda: not any(map(_lives, [*kernels, made_from])), 20)


def _lives(process):
    return process.is_running() and process.status() != psutil.STATUS_ZOMBIE


def test_a_forked_process_is_asked_as_any_other():
    process = multiprocessing.get_context("spawn").Process(target=time.sleep, args=(60,), daemon=True)
    process.start()
    forked = Forked(process)
    assert forked.poll() is None and forked.pid == process.pid
    forked.kill()
    assert forked.wait() == forked.poll() == -signal.SIGKILL
    forked.terminate()  # and is no error once it has ended
