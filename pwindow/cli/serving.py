"""Serve the dashboards: what the server is told, and its life in the foreground."""

from __future__ import annotations

import errno
import http.client
import ipaddress
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

from pwindow.errors import UnusableInput

LANDING_PAGE = "set-up-speed.ipynb"
USUAL_PORT = 8866
LARGEST_UPLOAD = 200 * 1024 * 1024  # bytes in one WebSocket message
START_LIMIT = 60.0  # s until the server must answer
END_LIMIT = 15.0  # s in which the server may end its kernels by itself


class ServingProblem(UnusableInput):
    """The dashboards cannot be served as asked."""


def is_loopback(host: str) -> bool:
    """Say whether only this computer can reach `host`.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def exposure_caution(host: str) -> str | None:
    """Give the caution due when others can reach the page, or None."""
    if is_loopback(host):
        return None
    return (
        f"Caution: listening on {host}, so anyone who can reach this computer over the network "
        "can open the page and read the trial in it; there is no password and no encryption. "
        "Leave --host out to serve this computer alone."
    )


def page_address(host: str, port: int, page: str = LANDING_PAGE) -> str:
    """Give the address of a page as a browser on this computer opens it.

    >>> page_address("0.0.0.0", 8866)
    'http://127.0.0.1:8866/voila/render/set-up-speed.ipynb'
    """
    return f"http://{_bracketed(_reachable(host))}:{port}/voila/render/{page}"


def _reachable(host: str) -> str:
    return {"": "127.0.0.1", "0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def content_policy(host: str) -> str:
    """Give the Content-Security-Policy of the pages: nothing comes from another host."""
    # Older browsers do not count a WebSocket to the page's own host as 'self'.
    sockets = "ws://127.0.0.1:* ws://localhost:*" if is_loopback(host) else "ws: wss:"
    return "; ".join(
        [
            "default-src 'self'",
            "script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            f"connect-src 'self' data: blob: {sockets}",
            "worker-src 'self' blob:",
            "object-src 'none'",
            "base-uri 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
    )


def voila_config(
    dashboards: Path,
    *,
    host: str,
    port: int,
    pool_size: int = 1,
    idle_timeout: int = 1800,
    idle_check: int = 60,
) -> dict[str, dict[str, object]]:
    """Give the server's whole configuration.

    Parameters
    ----------
    dashboards : Path
        Folder of the pages.
    host : str
        Address to listen on.
    port : int
        Port to listen on; no other is tried.
    pool_size : int, default 1
        Number of kernels kept ready for each page; 0 starts each kernel when its page is opened.
    idle_timeout, idle_check : int, default 1800 and 60
        Time in s after which the kernel of a page that nobody has open is ended, and the time
        in s between two looks.

    Returns
    -------
    dict
        Ready to be written as ``voila.json``.
    """
    return {
        "Voila": {
            "ip": host,
            "port": port,
            "port_retries": 0,
            "open_browser": False,
            "root_dir": str(dashboards.resolve()),
            "log_level": "ERROR",
            # Tornado reports each missing file and its own defaults as warnings.
            "logging_config": {"loggers": {"tornado": {"level": "ERROR"}}},
            "tornado_settings": {
                "websocket_max_message_size": LARGEST_UPLOAD,
                # False refuses requests whose Host is a name that a foreign page may have
                # pointed at this computer.
                "allow_remote_access": not is_loopback(host),
                "headers": {"Content-Security-Policy": content_policy(host)},
            },
        },
        "VoilaConfiguration": {
            "template": "pwindow",
            "theme": "light",
            "allow_template_override": "NO",
            "allow_theme_override": "NO",
            "file_allowlist": [],
            "show_tracebacks": False,
            "strip_sources": True,
            "preheat_kernel": pool_size > 0,
            "default_pool_size": pool_size,
        },
        # What passes between server and kernel stays unread by other users of this computer.
        "KernelManager": {"transport_encryption": "auto"},
        "MappingKernelManager": {
            "cull_idle_timeout": idle_timeout,
            "cull_interval": idle_check,
            "cull_connected": False,
        },
    }


def serve_command(config_folder: Path) -> list[str]:
    """Give the server's command line; `config_folder` holds its ``voila.json``."""
    return [sys.executable, "-m", "voila", f"--Voila.config_file_paths={config_folder}"]


def serve_environment(
    dashboards: Path,
    trials: Sequence[Path] = (),
    products: Sequence[Path] = (),
    study: Path | None = None,
    host: str = "127.0.0.1",
    base: Mapping[str, str] | None = None,
) -> dict[str, str]:
    """Give the environment of the server, which its kernels inherit.

    ``PWINDOW_TRIAL``, ``PWINDOW_PRODUCTS`` and ``PWINDOW_STUDY`` carry the files as absolute paths parted by
    `os.pathsep`; each is absent where no file is given. The pages' template is found by
    ``JUPYTER_PATH``, and this very package by ``PYTHONPATH``. A kernel kept ready learns from
    the server, at ``VOILA_APP_IP`` and past any proxy, that a visitor has come.
    """
    environment = dict(os.environ if base is None else base)
    studies = () if study is None else (study,)
    given = (("PWINDOW_TRIAL", trials), ("PWINDOW_PRODUCTS", products), ("PWINDOW_STUDY", studies))
    for name, files in given:
        environment.pop(name, None)
        if files:
            environment[name] = os.pathsep.join(str(file.resolve()) for file in files)
    package_home = Path(__file__).resolve().parents[2]
    _put_first(environment, "JUPYTER_PATH", str(dashboards.resolve() / "templates"), os.pathsep)
    _put_first(environment, "PYTHONPATH", str(package_home), os.pathsep)
    environment["VOILA_APP_IP"] = _bracketed(_reachable(host))
    for name in ("no_proxy", "NO_PROXY"):
        _put_first(environment, name, f"{_reachable(host)},localhost", ",")
    return environment


def _put_first(environment: dict[str, str], name: str, value: str, separator: str) -> None:
    others = environment.get(name)
    environment[name] = f"{value}{separator}{others}" if others else value


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
            "give another --port, or leave it out and a free one is taken"
        ) from error


def serve(
    dashboards: Path,
    *,
    port: int | None = None,
    host: str = "127.0.0.1",
    open_browser: bool = True,
    trials: Sequence[Path] = (),
    products: Sequence[Path] = (),
    study: Path | None = None,
    page: str = LANDING_PAGE,
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
    study : Path, optional
        Roll inventory and ink.
    page : str, default "set-up-speed.ipynb"
        The page to open.
    **settings : int
        `pool_size`, `idle_timeout` and `idle_check` of `voila_config`.

    Returns
    -------
    int
        0 where the user ended it.

    Raises
    ------
    ServingProblem
        If the page does not exist, the port is taken, or the server ends by itself.
    """
    if not (dashboards / page).is_file():
        raise ServingProblem(
            f"there is no page {page} in {dashboards}; give the folder of the dashboards"
        )
    port = choose_port(host, port)
    _say(exposure_caution(host))
    config = voila_config(dashboards, host=host, port=port, **settings)
    environment = serve_environment(dashboards, trials, products, study, host)
    with tempfile.TemporaryDirectory(prefix="pwindow-") as folder:
        Path(folder, "voila.json").write_text(json.dumps(config, indent=2), encoding="utf-8")
        try:
            with _running(serve_command(Path(folder)), environment) as server:
                _wait_until_it_answers(server, host, port)
                _announce(page_address(host, port, page), open_browser)
                server.wait()
        except KeyboardInterrupt:
            _say("Ended.")
            return 0
    raise ServingProblem(_ended_by_itself(server))


def _say(text: str | None) -> None:
    if text:
        print(text, file=sys.stderr, flush=True)


def _announce(address: str, open_browser: bool) -> None:
    _say(f"The page is at {address}\nCtrl-C ends it.")
    if open_browser and not webbrowser.open(address):
        _say("No browser could be opened here; open that address in one.")


def _ended_by_itself(server: subprocess.Popen[bytes]) -> str:
    return (
        f"the server ended by itself with status {server.returncode}; its messages are above, "
        "mend what they name and start again"
    )


def _wait_until_it_answers(server: subprocess.Popen[bytes], host: str, port: int) -> None:
    deadline = time.monotonic() + START_LIMIT
    while not _answers(host, port):
        if server.poll() is not None:
            raise ServingProblem(_ended_by_itself(server))
        if time.monotonic() > deadline:
            raise ServingProblem(
                f"the server does not answer after {START_LIMIT:.0f} s; "
                "its messages are above, mend what they name and start again"
            )
        time.sleep(0.1)


def _answers(host: str, port: int) -> bool:
    """Ask for a small file: asking for a page would use up a kernel that is kept ready."""
    connection = http.client.HTTPConnection(_reachable(host), port, timeout=5)
    try:
        connection.request("HEAD", "/voila/templates/pwindow/static/pwindow.css")
        return connection.getresponse().status == http.HTTPStatus.OK
    except OSError:
        return False
    finally:
        connection.close()


@contextmanager
def _running(
    command: Sequence[str], environment: Mapping[str, str]
) -> Iterator[subprocess.Popen[bytes]]:
    """Run the server beside us, and end it and its kernels however we leave."""
    ending = threading.Event()
    with _signals_interrupt():
        # Its own session: a Ctrl-C at the terminal reaches us alone, and we end it in order.
        server = subprocess.Popen(
            command, env=environment, stderr=subprocess.PIPE, start_new_session=True
        )
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
