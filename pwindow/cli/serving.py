"""Serve the dashboards: the server's life in the foreground."""

from __future__ import annotations

import errno
import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import webbrowser
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import IO

from pwindow.cli.server_settings import (
    LANDING_PAGE,
    chosen_password,
    exposure_caution,
    offer_figures,
    page_address,
    reachable,
    serve_command,
    serve_environment,
    voila_config,
)
from pwindow.errors import UnusableInput

USUAL_PORT = 8866
START_LIMIT = 60.0  # s until the server must answer
END_LIMIT = 15.0  # s in which the server may end its kernels by itself


class ServingProblem(UnusableInput):
    """The dashboards cannot be served as asked."""


def choose_port(host: str, asked: int | None) -> int:
    """Give a port that is free at this moment.

    Parameters
    ----------
    host : str
        Address to listen on.
    asked : int or None
        The port the user wants, or None for the usual one, or any other where that is taken.

    Raises
    ------
    ServingProblem
        If the port asked for is taken or not allowed, or nothing can listen on `host`.
    """
    if asked is not None:
        return _bind(host, asked)
    try:
        return _bind(host, USUAL_PORT)
    except ServingProblem:
        return _bind(host, 0)


def _bind(host: str, port: int) -> int:
    try:
        if port > 65535:  # the system would quietly take the remainder
            raise OSError(errno.EINVAL, "ports end at 65535")
        family, kind, protocol, _, address = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        with socket.socket(family, kind, protocol) as probe:
            if os.name == "posix":  # a port that waits after its last use is free to a server
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
            return probe.getsockname()[1]
    except OSError as error:
        raise ServingProblem(
            f"cannot listen on {host}, port {port}: {error.strerror}; "
            "choose another --port, or leave it out to use a free one"
        ) from error


def serve(
    dashboards: Path,
    *,
    port: int | None = None,
    host: str = "127.0.0.1",
    open_browser: bool = True,
    trials: Sequence[Path] = (),
    sheet: str | None = None,
    products: Sequence[Path] = (),
    study: Path | None = None,
    archive: str | None = None,
    scans: Sequence[Path] = (),
    page: str = LANDING_PAGE,
    password: bool = False,
    **settings: int,
) -> int:
    """Serve the dashboards until Ctrl-C or a request to end.

    Parameters
    ----------
    dashboards : Path
        Folder of the pages and of their template.
    port : int, optional
        Port to listen on; without it the usual one, or a free one where that is taken.
    host : str, default "127.0.0.1"
        Address to listen on.
    open_browser : bool, default True
        Open the page once the server answers.
    trials, products : sequence of Path
        Files that the pages read.
    sheet : str, optional
        Sheet of the trial, where it is a workbook of several.
    study : Path, optional
        Roll inventory and ink.
    archive : str, optional
        Address of the archive that the pages use.
    scans : sequence of Path
        Files and folders of scans.
    page : str, default "set-up-speed.ipynb"
        The page to open.
    password : bool, default False
        Ask visitors for the password in ``PWINDOW_PASSWORD``, or for one that is made here and printed.
    **settings : int
        `pool_size`, `most_visitors`, `claim_timeout`, `idle_timeout` and `idle_check` of `voila_config`.

    Returns
    -------
    int
        0 where the user ended it.

    Raises
    ------
    ServingProblem
        If the page does not exist, the port is taken, or the server exits unexpectedly.
    """
    if not (dashboards / page).is_file():
        raise ServingProblem(f"there is no page {page} in {dashboards}; give the folder of the dashboards")
    port = choose_port(host, port)
    _say(exposure_caution(host, password=password))
    secret, made = chosen_password(os.environ) if password else (None, False)
    config = voila_config(dashboards, host=host, port=port, password=secret, **settings)
    with tempfile.TemporaryDirectory(prefix="pwindow-") as folder:
        figures = Path(folder, "figures")
        offer_figures(figures)
        shared = Path(folder, "shared")
        shared.mkdir(mode=0o700)
        environment = serve_environment(
            dashboards,
            trials,
            products,
            study=study,
            host=host,
            archive=archive,
            scans=scans,
            figures=figures,
            sheet=sheet,
            shared=shared,
        )
        Path(folder, "voila.json").write_text(json.dumps(config, indent=2), encoding="utf-8")
        try:
            with _running(serve_command(Path(folder)), environment) as server:
                _wait_until_it_answers(server, host, port)
                _announce(page_address(host, port, page, secret if made else None), open_browser=open_browser)
                server.wait()
        except KeyboardInterrupt:
            _say("Stopped.")
            return 0
    raise ServingProblem(_ended_by_itself(server))


def _say(text: str | None) -> None:
    if text:
        print(text, file=sys.stderr, flush=True)


def _announce(address: str, *, open_browser: bool) -> None:
    _say(f"The page is at {address}\nPress Ctrl-C to stop the server.")
    if open_browser and not webbrowser.open(address):
        _say("No browser could be opened; open this address yourself.")


def _ended_by_itself(server: subprocess.Popen[bytes]) -> str:
    return (
        f"the server exited unexpectedly with status {server.returncode}; "
        "fix the error shown above and start again"
    )


def _wait_until_it_answers(server: subprocess.Popen[bytes], host: str, port: int) -> None:
    deadline = time.monotonic() + START_LIMIT
    while not _answers(host, port):
        if server.poll() is not None:
            raise ServingProblem(_ended_by_itself(server))
        if time.monotonic() > deadline:
            raise ServingProblem(
                f"the server has not answered after {START_LIMIT:.0f} s; "
                "fix the error shown above and start again"
            )
        time.sleep(0.1)


def _answers(host: str, port: int) -> bool:
    """Ask for a small file, which needs no kernel; with a password it is refused, which is an answer too."""
    connection = http.client.HTTPConnection(reachable(host), port, timeout=5)
    try:
        connection.request("HEAD", "/voila/templates/pwindow/static/pwindow.css")
        return connection.getresponse().status < http.HTTPStatus.INTERNAL_SERVER_ERROR
    except OSError:
        return False
    finally:
        connection.close()


@contextmanager
def _running(command: Sequence[str], environment: Mapping[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """Run the server beside us, and end it and its kernels however we leave."""
    ending = threading.Event()
    with _signals_interrupt():
        # Its own session: a Ctrl-C at the terminal reaches us alone, and we end it in order.
        server = subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, start_new_session=True)
        threading.Thread(target=_relay, args=(server.stderr, ending), daemon=True).start()
        try:
            yield server
        finally:
            ending.set()
            _end(server)


def _relay(messages: IO[bytes], ending: threading.Event) -> None:
    """Pass on what server and kernels say; as they are ended they protest, which is no news."""
    for line in messages:
        if not ending.is_set():
            _say(line.decode("utf-8", "replace").rstrip())


@contextmanager
def _signals_interrupt() -> Iterator[None]:
    """Let a request to end, and the closing of the terminal, act as Ctrl-C does."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), interrupt) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


def _end(server: subprocess.Popen[bytes]) -> None:
    """End the server; kernels it cannot end itself notice within seconds that it is gone."""
    if server.poll() is None:
        server.terminate()
    try:
        server.wait(timeout=END_LIMIT)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()
