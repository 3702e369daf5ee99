"""The demo scenario, read and fitted once for all tests; and servers, which leave nothing behind."""

from __future__ import annotations

import dataclasses
import importlib.util
import io
import os
import socket
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import psutil
import pytest

import pwindow as pw
from pwindow.inputs import InputFile

ROOT = Path(__file__).resolve().parents[1]
START_LIMIT = 90.0  # s
END_LIMIT = 20.0  # s


@pytest.fixture(scope="session")
def demo_trial():
    return pw.read_trial(pw.demo("trial_first.csv"))


@pytest.fixture(scope="session")
def demo_surfaces(demo_trial):
    return pw.fit(demo_trial)


@pytest.fixture(scope="session")
def tag():
    return pw.read_product(pw.demo("tag.toml"))


@pytest.fixture(scope="session")
def mesh():
    return pw.read_product(pw.demo("mesh.toml"))


@pytest.fixture(scope="session")
def study():
    return pw.read_study(pw.demo("study.toml"))


@pytest.fixture(scope="session")
def tag_window(demo_surfaces, tag, study):
    return pw.find_window(demo_surfaces, tag, study)


@pytest.fixture(scope="session")
def mesh_window(demo_surfaces, mesh, study):
    return pw.find_window(demo_surfaces, mesh, study)


@pytest.fixture(scope="session")
def without_tolerances():
    """Products with settings that are held exactly."""

    def strip(product):
        return dataclasses.replace(
            product,
            assurance=dataclasses.replace(
                product.assurance,
                speed_tolerance=0.0,
                volume_tolerance=0.0,
                pressure_tolerance=None,
            ),
        )

    return strip


@pytest.fixture(scope="session")
def make_demo():
    """The script that holds the truth of the demo scenario; it shares no code with pwindow."""
    spec = importlib.util.spec_from_file_location("make_demo", pw.demo("make_demo.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def simulated(make_demo):
    """One simulated trial of the first layout, as the rows of a trial file."""
    rng = np.random.default_rng(5)
    return make_demo.simulate_trial(make_demo.read_truth(), make_demo.layout_first(), rng)


@pytest.fixture(scope="session")
def demo_rows():
    """Rows of the first demo trial, ids as text."""
    return pd.read_csv(pw.demo("trial_first.csv"), dtype={"roll": str})


@pytest.fixture(scope="session")
def read_frame():
    """Read a table as if it came as a CSV file."""

    def read(frame, name="trial.csv"):
        return pw.read_trial(InputFile(name, frame.to_csv(index=False).encode()))

    return read


@pytest.fixture(scope="session")
def read_text():
    """Read bytes or text as a trial file."""

    def read(content, name="trial.csv"):
        return pw.read_trial(InputFile(name, content if isinstance(content, bytes) else content.encode()))

    return read


@pytest.fixture(scope="session")
def as_workbook():
    def write(frame, **options):
        stream = io.BytesIO()
        frame.to_excel(stream, index=False, **options)
        return stream.getvalue()

    return write


@pytest.fixture(scope="session")
def as_parquet():
    def write(frame):
        stream = io.BytesIO()
        frame.to_parquet(stream)
        return stream.getvalue()

    return write


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
