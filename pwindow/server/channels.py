"""The connection between a page and its kernel."""

from __future__ import annotations

import re

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from tornado.web import HTTPError
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler

from pwindow.server.frames import V1, MalformedFrame, check_frame
from pwindow.server.handlers import Served

SESSION = re.compile(r"[\w-]{1,64}")
MOST_SOCKETS = 4  # of one page, which needs one, and a second while it finds that the first is lost


class CheckedConnection(ZMQChannelsWebsocketConnection):
    """Parses only frames that are well formed, and closes on others."""

    def handle_incoming_message(self, incoming_msg: bytes | str) -> None:
        try:
            check_frame(incoming_msg)
        except MalformedFrame as problem:
            self.websocket_handler.close(problem.code, str(problem))
        else:
            super().handle_incoming_message(incoming_msg)  # type: ignore[arg-type]  # v1 frames are bytes


class Channels(Served, VoilaKernelWebsocketHandler):
    """Connects pages, which speak the v1 protocol, with kernels that have a visitor."""

    async def get(self, kernel_id: str) -> None:
        visitors = self.settings["visitors"]
        visit = visitors.of(kernel_id)
        if visit is None:
            raise HTTPError(404)
        if V1 not in self._offered() or not SESSION.fullmatch(self.get_argument("session_id", "")):
            raise HTTPError(400)
        if visit.sockets >= MOST_SOCKETS:
            raise HTTPError(429)
        with visitors.connection(visit):
            await VoilaKernelWebsocketHandler.get(self, kernel_id)

    def _offered(self) -> list[str]:
        named = self.request.headers.get("Sec-WebSocket-Protocol", "")
        return [name.strip() for name in named.split(",")]
