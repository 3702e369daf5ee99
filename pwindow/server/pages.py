"""The pages: each visitor of one gets a kernel, or is told when to come again."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from tornado.web import HTTPError
from voila.tornado.handler import TornadoVoilaHandler
from voila.tornado.treehandler import TornadoVoilaTreeHandler

from pwindow.server.handlers import ForVisitor, Served
from pwindow.server.hosts import is_visit
from pwindow.server.password import without_token
from pwindow.server.visitors import NoPlace, Seat, Visit

COME_AGAIN = 30  # s after which a visitor for whom there was no place may try again


class PageList(Served, TornadoVoilaTreeHandler):
    """The list of the pages."""


class Page(Served, TornadoVoilaHandler):
    """A page, run in a kernel of its own."""

    _visit: Visit | None = None
    _serving: asyncio.Future[None] | None = None

    @property
    def kernel_manager(self) -> Any:
        manager = super().kernel_manager
        return manager if self._visit is None else Seat(manager, self._visit, self.settings["visitors"].turn)

    def head(self, path: str) -> None:
        self._check_name(path)
        self.set_header("Content-Type", "text/html")

    async def get(self, path: str) -> None:
        self._check_name(path)
        if not is_visit(self.request.headers, self.request.host):
            raise ForVisitor(403, "Another site requested this page. Open it in a browser tab of its own.")
        if self.identity_provider.auth_enabled and "token" in self.request.query_arguments:
            self.redirect(without_token(self.request.path, self.request.query))
            return
        try:
            async with self.settings["visitors"].arrival() as self._visit:
                await self._serve(path)
        except NoPlace:
            self._say_busy()

    async def _serve(self, path: str) -> None:
        self.set_cookie_for_leaving()
        self._serving = asyncio.ensure_future(TornadoVoilaHandler.get(self, path))
        await asyncio.wait([self._serving])
        if not self._serving.cancelled():
            self._serving.result()

    def on_connection_close(self) -> None:
        """Stop making a page for a visitor who does not wait for it."""
        if self._serving is not None:
            self._serving.cancel()

    def set_cookie_for_leaving(self) -> None:
        """Give the browser what the page needs to end its kernel when it is left."""
        self.xsrf_token  # noqa: B018 - looking at it sets it

    def _check_name(self, path: str) -> None:
        folder = Path(self.settings["voila"].root_dir)
        if path not in {page.name for page in folder.glob("*.ipynb")}:
            raise HTTPError(404)

    def _say_busy(self) -> None:
        self.set_status(503)
        self.set_header("Retry-After", str(COME_AGAIN))
        self.write(
            self.render_template("busy.html", seconds=COME_AGAIN, most=self.settings["voila"].most_visitors)
        )
