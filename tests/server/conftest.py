"""A small page, served as the dashboards are, and a visitor who is no browser."""

from __future__ import annotations

import json
import re
import shutil
import sys
import uuid
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import nbformat
import psutil
import pytest
import websocket

from pwindow.cli.server_settings import LANDING_PAGE
from pwindow.server.frames import V1
from tests.helpers.servers import ask, free_port, run_server

TEMPLATES = Path(__file__).resolve().parents[2] / "dashboards" / "templates"
XSRF = "a" * 32  # what a page has in its cookie, it says once more
READY = "import os, ipywidgets\nfrom voila.utils import get_query_string\nget_query_string()"
SHOWN = 'print("asked", os.environ["QUERY_STRING"])'
SERVE = """
import json, sys
from pathlib import Path
from pwindow.cli.serving import serve
asked = json.loads(sys.argv[1])
sys.exit(serve(Path(asked.pop("folder")), open_browser=False, **asked))
"""


class Visitor:
    """Asks a running server, which may also be asked by other names."""

    page = f"/voila/render/{LANDING_PAGE}"

    def __init__(self, server):
        self.server = server
        self.address = server.address.removeprefix("http://")

    def ask(self, method: str, path: str, body: str | None = None, **headers: str):
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return ask(self.address, method, path, body, named)

    def open_page(self, query: str = "", **headers: str) -> str:
        """Open the page; give the id of its kernel."""
        status, text, _ = self.ask("GET", self.page + query, **headers)
        assert status == 200, text
        return re.search(r'"kernelId": "([^"]+)"', text).group(1)

    def connect(self, kernel: str, path: str = "/api/kernels/{}/channels?session_id={}", **options):
        options = {"subprotocols": [V1], "timeout": 20, **options}
        address = f"ws://{self.address}{path.format(kernel, uuid.uuid4().hex)}"
        return websocket.create_connection(address, **options)

    def refused(self, *given, **options) -> int:
        """The status with which a socket is refused."""
        with pytest.raises(websocket.WebSocketBadStatusException) as refused:
            self.connect(*given, **options)
        return refused.value.status_code

    def leave(self, kernel: str) -> int:
        """Tell the server, as a page does when it is left."""
        path = f"/voila/api/shutdown/{kernel}"
        return self.ask("POST", path, "", Cookie=f"_xsrf={XSRF}", X_XSRFToken=XSRF)[0]

    def kernel_exists(self, kernel: str) -> bool:
        return self.ask("GET", f"/api/kernels/{kernel}")[0] == 200

    def kernels(self) -> list[psutil.Process]:
        """The processes of kernels, with those kept ready."""
        return [part for part in self.server.family() if _is_forked(part)]


def _is_forked(process: psutil.Process) -> bool:
    try:
        parent = process.parent()
        return parent is not None and "multiprocessing.forkserver" in " ".join(parent.cmdline())
    except psutil.NoSuchProcess:
        return False


@pytest.fixture(scope="session")
def visiting(tmp_path_factory) -> Callable[..., AbstractContextManager[Visitor]]:
    """A context manager that serves a small page with the options of `serve`, and gives a visitor.

    What the page shows may be another cell than the usual.
    """

    @contextmanager
    def visit(shown: str = SHOWN, **options) -> Iterator[Visitor]:
        folder = tmp_path_factory.mktemp("pages")
        shutil.copytree(TEMPLATES, folder / "templates")
        cells = [nbformat.v4.new_code_cell(source) for source in (READY, shown)]
        nbformat.write(nbformat.v4.new_notebook(cells=cells), folder / LANDING_PAGE)
        (folder / "trial.csv").write_text("print,speed\n1,60\n", encoding="utf-8")
        port = free_port()
        asked = json.dumps({"folder": str(folder), "port": port, **options})
        with run_server([sys.executable, "-c", SERVE, asked], port, folder / "log") as server:
            yield Visitor(server)

    return visit
