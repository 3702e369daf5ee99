"""What the server of the dashboards is given: address, configuration, environment."""

from __future__ import annotations

import json
import os
import secrets
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from pwindow.environment import (
    ARCHIVE,
    FIGURES_SERVED,
    PASSWORD,
    PRODUCTS,
    SCANS,
    SHARED,
    SHEET,
    STUDY,
    TRIAL,
)
from pwindow.server.hosts import is_loopback

LANDING_PAGE = "set-up-speed.ipynb"
PAGES = ("set-up-speed", "trade-offs", "plates", "new-trial-data", "traces")
"""Order of the pages in the navigation; others come after them."""
FILL_DELAY = 2.0  # s from a visitor's coming, in which the page draws its first picture
MOST_VISITORS = 12
START_TIMEOUT = 180  # s for a kernel to answer: on a busy computer more than the minute it has elsewhere
OUTPUT_TIMEOUT = 180  # s in which what a cell showed must follow its answer; a page without it is empty
CLAIM_TIMEOUT = 180  # s; on two cores that serve ten visitors at once, a page needs over a minute to connect
LONGEST_FOLDER = 40  # characters; an address of a socket has 107, of which kernels add up to 67
LARGEST_UPLOAD = 200 * 1024 * 1024  # bytes in one WebSocket message


def pages(dashboards: Path) -> list[dict[str, str]]:
    """Give the pages of a folder in the order of the navigation: file and title of each.

    Parameters
    ----------
    dashboards : Path
        Folder of the notebooks, each of which carries its title in its metadata.
    """
    found = {path.stem: path for path in sorted(dashboards.glob("*.ipynb"))}
    ordered = [name for name in PAGES if name in found] + [name for name in found if name not in PAGES]
    return [{"file": found[name].name, "title": _title(found[name])} for name in ordered]


def _title(notebook: Path) -> str:
    metadata = json.loads(notebook.read_text(encoding="utf-8")).get("metadata", {})
    return metadata.get("title") or notebook.stem.replace("-", " ").capitalize()


def offer_figures(folder: Path) -> None:
    """Put the drawing code of figures where the pages' template finds it as a file of its own.

    The file comes from the plotly that is installed, and a browser keeps it; without it, each figure carries
    the code with it through the page's connection, 4.9 MB at a time. Its first line has the browser compile
    all of it beside the page's own work.
    """
    import plotly

    static = folder / "voila" / "templates" / "pwindow" / "static"
    static.mkdir(parents=True)
    code = Path(plotly.__file__).parent / "package_data" / "widgetbundle.js"
    (static / "figures.js").write_bytes(b"//# allFunctionsCalledOnLoad\n" + code.read_bytes())


def exposure_caution(host: str, *, password: bool = False) -> str | None:
    """Give the caution due when others can reach the page, or None.

    Parameters
    ----------
    host : str
        Address to listen on.
    password : bool, default False
        Whether visitors are asked for a password.
    """
    if is_loopback(host):
        return None
    who = "anyone who has the password and" if password else "anyone who"
    missing = (
        "The connection is not encrypted: others on the network can read everything, including the password."
        if password
        else "There is no password and no encryption; --password asks visitors for one."
    )
    return (
        f"Caution: listening on {host}, so {who} can reach this computer over the network can open the pages, "
        "read the trials in them, and change the archive: add trials, and decide which of them are used. "
        f"{missing} Leave out --host to serve this computer only."
    )


def page_address(host: str, port: int, page: str = LANDING_PAGE, token: str | None = None) -> str:
    """Give the address of a page as a browser on this computer opens it.

    Parameters
    ----------
    host : str
        Address that the server listens on.
    port : int
    page : str, optional
        File name of its notebook; the landing page unless given.
    token : str, optional
        Password to carry in the link.

    Examples
    --------
    >>> page_address("0.0.0.0", 8866)
    'http://127.0.0.1:8866/voila/render/set-up-speed.ipynb'
    """
    query = f"?token={token}" if token else ""
    return f"http://{_bracketed(reachable(host))}:{port}/voila/render/{page}{query}"


def chosen_password(environment: Mapping[str, str]) -> tuple[str, bool]:
    """Give the password that visitors are asked for, and whether it was made here.

    One that is made here is long enough to go into a link; one that a person chose stays out of links.

    >>> chosen_password({"PWINDOW_PASSWORD": "three plain words"})
    ('three plain words', False)
    """
    given = environment.get(PASSWORD, "")
    return (given, False) if given else (secrets.token_urlsafe(16), True)


def reachable(host: str) -> str:
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


def security_headers(host: str) -> dict[str, str]:
    """Give the headers of everything that the server answers."""
    return {
        "Content-Security-Policy": content_policy(host),
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
    }


def voila_config(
    dashboards: Path,
    *,
    host: str,
    port: int,
    pool_size: int = 1,
    most_visitors: int = MOST_VISITORS,
    claim_timeout: int = CLAIM_TIMEOUT,
    idle_timeout: int = 120,
    idle_check: int = 5,
    password: str | None = None,
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
    most_visitors : int, default 12
        Number of pages that may be open at the same time, each with a kernel of its own.
    claim_timeout : int, default 180
        Time in s in which a page must connect to its kernel; one that has not done so for a minute gives
        way where somebody waits for a place.
    idle_timeout, idle_check : int, default 120 and 5
        Time in s after which the kernel of a page that nobody has open is ended, and the time
        in s between two looks. A page that has lost its server, because the computer slept or the
        network failed, looks for it for about two minutes; after that nobody comes back to the kernel.
    password : str, optional
        What visitors are asked for; without it they are asked for nothing.

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
                "compress_response": not is_loopback(host),  # from this computer to itself it only costs time
                "websocket_max_message_size": LARGEST_UPLOAD,
                "headers": security_headers(host),
            },
            "token": password or "",
        },
        "PageServer": {
            "most_visitors": most_visitors,
            "claim_limit": claim_timeout,
            "gone_limit": idle_timeout,
            "look_interval": idle_check,
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
            "resources": {"pages": pages(dashboards)},
            # It loads plotly once more, for pictures in stored output; the pages have none.
            "extension_denylist": ["jupyterlab-plotly"],
        },
        "VoilaExecutor": {
            "startup_timeout": START_TIMEOUT,
            "iopub_timeout": OUTPUT_TIMEOUT,
            "raise_on_iopub_timeout": True,
        },
        # The next kernel is made ready once the page of the visitor before is drawn, not meanwhile.
        "VoilaKernelManager": {"fill_delay": FILL_DELAY},
        "KernelProvisionerFactory": {"default_provisioner_name": kernel_maker()},
        # What passes between server and kernel stays unread by other users of this computer.
        "KernelManager": {"transport": kernel_transport(), "transport_encryption": "auto"},
    }


def kernel_maker() -> str:
    """Name the way kernels are made: forked where that was tried, else each as a process of its own."""
    return "pwindow-forked" if sys.platform == "linux" else "local-provisioner"


def kernel_transport() -> str:
    """Name what connects server and kernels: sockets in the server's own folder where there are such.

    A port is chosen before the kernel starts that will listen on it. Another program may take it in between, and the
    page stays empty.
    """
    fits = len(tempfile.gettempdir()) <= LONGEST_FOLDER
    return "ipc" if sys.platform == "linux" and fits else "tcp"


def serve_command(config_folder: Path) -> list[str]:
    """Give the server's command line; `config_folder` holds its ``voila.json``."""
    return [sys.executable, "-P", "-m", "pwindow.server", f"--Voila.config_file_paths={config_folder}"]


def serve_environment(
    dashboards: Path,
    trials: Sequence[Path] = (),
    products: Sequence[Path] = (),
    *,
    study: Path | None = None,
    host: str = "127.0.0.1",
    base: Mapping[str, str] | None = None,
    archive: str | None = None,
    scans: Sequence[Path] = (),
    figures: Path | None = None,
    sheet: str | None = None,
    shared: Path | None = None,
) -> dict[str, str]:
    """Give the environment of the server, which its kernels inherit.

    Files are carried as absolute paths, by the names of `pwindow.environment`. The pages' template is found by
    ``JUPYTER_PATH``, which holds the folder `figures` of `offer_figures` where there is one, and this very package
    by ``PYTHONPATH``. A kernel kept ready learns from the server, at ``VOILA_APP_IP`` and past any proxy, that a
    visitor has come.

    Parameters
    ----------
    dashboards : Path
        Folder of the notebooks and of the pages' template.
    trials, products : sequence of Path
    study : Path, optional
    host : str, default '127.0.0.1'
        Address to listen on.
    base : mapping of str to str, optional
        Environment to start from; this process's own unless given.
    archive : str, optional
        Path of an SQLite file, or a URL.
    scans : sequence of Path
    figures : Path, optional
        Folder that `offer_figures` made.
    sheet : str, optional
        Sheet to read of a trial that is a workbook.
    shared : Path, optional
        Folder for what the pages share.
    """
    environment = dict(os.environ if base is None else base)
    studies = () if study is None else (study,)
    given = ((TRIAL, trials), (PRODUCTS, products), (STUDY, studies), (SCANS, scans))
    for name, files in given:
        environment.pop(name, None)
        if files:
            environment[name] = os.pathsep.join(str(file.resolve()) for file in files)
    environment.pop(SHEET, None)
    if sheet is not None:
        environment[SHEET] = sheet
    for name in (ARCHIVE, PASSWORD):
        environment.pop(name, None)
    if archive:
        environment[ARCHIVE] = archive if "://" in archive else str(Path(archive).resolve())
    environment.pop(SHARED, None)
    if shared is not None:
        environment[SHARED] = str(shared.resolve())
    package_home = Path(__file__).resolve().parents[2]
    _put_first(environment, "JUPYTER_PATH", str(dashboards.resolve() / "templates"), os.pathsep)
    environment.pop(FIGURES_SERVED, None)
    if figures is not None:
        _put_first(environment, "JUPYTER_PATH", str(figures.resolve()), os.pathsep)
        environment[FIGURES_SERVED] = "yes"
    _put_first(environment, "PYTHONPATH", str(package_home), os.pathsep)
    environment["VOILA_APP_IP"] = _bracketed(reachable(host))
    for name in ("no_proxy", "NO_PROXY"):
        _put_first(environment, name, f"{reachable(host)},localhost", ",")
    return environment


def _put_first(environment: dict[str, str], name: str, value: str, separator: str) -> None:
    others = environment.get(name)
    environment[name] = f"{value}{separator}{others}" if others else value
