"""What all handlers share, and the answers to requests that are for none of them."""

from __future__ import annotations

from typing import Any

from jupyter_server.base.handlers import JupyterHandler
from tornado.web import HTTPError, RequestHandler


class ForVisitor(HTTPError):
    """An error whose message is for the visitor to read."""

    for_visitor = True


class Served(JupyterHandler):
    """A handler that says first whether it has such a method, then whether the visitor may use it."""

    async def prepare(self, **options: Any) -> None:
        method = (self.request.method or "").lower()
        if getattr(type(self), method, None) is getattr(RequestHandler, method, None):
            raise HTTPError(405)
        await super().prepare(**options)

    def write_error(self, status_code: int, **options: Any) -> None:
        if not hasattr(self, "_jupyter_current_user"):  # refused before anybody was looked for
            self.as_nobody()
        super().write_error(status_code, **options)

    def as_nobody(self) -> None:
        """Go on without looking who it is."""
        self.current_user = self._jupyter_current_user = None


class Unknown(Served):
    """Any address that is none of ours."""

    async def prepare(self, **options: Any) -> None:
        raise HTTPError(404)


class ForeignName(Served):
    """Any request that calls this computer by a name it does not have."""

    async def prepare(self, **options: Any) -> None:
        message = "This server does not answer to the name in that address. Use this computer's own name or its IP address."
        raise ForVisitor(403, message)
