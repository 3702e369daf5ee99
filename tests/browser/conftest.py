"""A browser, and the dashboards served to it by the command itself."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

import psutil
import pytest

ROOT = Path(__file__).resolve().parents[2]
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
BROWSER_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
START_LIMIT = 90.0  # s
END_LIMIT = 20.0  # s


@dataclass(frozen=True)
class Server:
    """A running server: its address without a path, its process, and what it has said."""

    address: str
    process: psutil.Popen
    log: Path

    def family(self) -> list[psutil.Process]:
        """The server's process and all it has started."""
        return [self.process, *self.process.children(recursive=True)]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict, playwright) -> dict:
    """Start the browser of the system, or else the one Playwright keeps."""
    options = {**browser_type_launch_args, "args": BROWSER_ARGUMENTS}
    found = os.environ.get("PWINDOW_CHROMIUM") or next(filter(None, map(shutil.which, BROWSERS)), "")
    if found:
        return {**options, "executable_path": found}
    if Path(playwright.chromium.executable_path).exists():
        return options
    reason = f"no browser: none of {', '.join(BROWSERS)} found, and PWINDOW_CHROMIUM is not set"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def free_port() -> Callable[[], int]:
    """A function that gives a port on which nothing listens."""

    def find() -> int:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            return probe.getsockname()[1]

    return find


@pytest.fixture(scope="session")
def run_server() -> Callable[..., AbstractContextManager[Server]]:
    """A context manager that runs a serving command, and checks that nothing of it is left."""
    return _running


@pytest.fixture(scope="session")
def served(run_server, free_port, tmp_path_factory) -> Iterator[str]:
    """The address, without a path, of the dashboards on the demo data."""
    port = free_port()
    command = [sys.executable, "-m", "pwindow", "serve", "--no-browser", "--port", str(port)]
    log = tmp_path_factory.mktemp("served") / "log"
    with run_server(command, port, log) as server:
        yield server.address


@contextmanager
def _running(
    command: Sequence[str], port: int, log: Path, more: Mapping[str, str] | None = None
) -> Iterator[Server]:
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), **(more or {})}
    with log.open("wb") as sink:
        process = psutil.Popen(command, env=environment, stdout=sink, stderr=subprocess.STDOUT)
    server = Server(f"http://127.0.0.1:{port}", process, log)
    try:
        _wait_for_address(server)
        yield server
    finally:
        left = _end(server)
    assert not left, f"processes left behind: {left}"


def _wait_for_address(server: Server) -> None:
    deadline = time.monotonic() + START_LIMIT
    while f"{server.address}/voila/render/" not in server.log.read_text(encoding="utf-8"):
        ended = server.process.poll()
        assert ended is None, f"ended with {ended}: {server.log.read_text(encoding='utf-8')}"
        assert time.monotonic() < deadline, server.log.read_text(encoding="utf-8")
        time.sleep(0.1)


def _end(server: Server) -> list[psutil.Process]:
    """End the server and give the processes that outlive it, which are then killed."""
    if server.process.poll() is not None:
        return []
    family = server.family()
    server.process.terminate()
    _, left = psutil.wait_procs(family, timeout=END_LIMIT)
    for process in left:
        process.kill()
    return left
