"""Serving commands that run beside a test and leave nothing behind."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psutil

ROOT = Path(__file__).resolve().parents[2]
START_LIMIT = 90.0  # s
END_LIMIT = 20.0  # s
LOGS: dict[str, Path] = {}
"""What servers say, by their addresses."""


@dataclass(frozen=True)
class Server:
    """A running server: its address without a path, its process, and what it has said."""

    address: str
    process: psutil.Popen
    log: Path

    def family(self) -> list[psutil.Process]:
        """The server's process and all it has started."""
        return [self.process, *self.process.children(recursive=True)]


def free_port() -> int:
    """A port on which nothing listens."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def ask(
    address: str, method: str, path: str, body: str | None = None, headers: Mapping[str, str] | None = None
):
    """What a server answers: status, text and headers."""
    connection = http.client.HTTPConnection(address.removeprefix("http://"), timeout=60)
    try:
        connection.request(method, path, body, headers or {})
        answer = connection.getresponse()
        return answer.status, answer.read().decode("utf-8", "replace"), answer.headers
    finally:
        connection.close()


def wait_until(condition: Callable[[], bool], limit: float = 30.0) -> bool:
    """Whether something comes true within some seconds."""
    deadline = time.monotonic() + limit
    while not condition():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.1)
    return True


@contextmanager
def run_server(
    command: Sequence[str], port: int, log: Path, more: Mapping[str, str] | None = None
) -> Iterator[Server]:
    """Run a serving command, and check that nothing of it is left."""
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), **(more or {})}
    with log.open("wb") as sink:
        process = psutil.Popen(command, env=environment, stdout=sink, stderr=subprocess.STDOUT)
    server = Server(f"http://127.0.0.1:{port}", process, log)
    LOGS[server.address] = log
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
