"""Where kernels that are kept ready wait for their visitor."""

from __future__ import annotations

import hmac
from typing import Any

from tornado.web import HTTPError
from voila.request_info_handler import RequestInfoSocketHandler

from pwindow.server.handlers import Served


class Waiting(Served, RequestInfoSocketHandler):
    """Tells a kernel of its visitor; only kernels know the secret in its address.

    The registries `_waiters` and `_cache` are those of the base, which the pages' handler writes to.
    """

    def initialize(self, expected: str) -> None:
        self._expected = expected

    async def prepare(self, **options: Any) -> None:
        self.as_nobody()
        if not hmac.compare_digest(self.path_kwargs["secret"].encode(), self._expected.encode()):
            raise HTTPError(404)

    async def get(self, secret: str, kernel_id: str) -> None:
        self._kernel_id = kernel_id
        await RequestInfoSocketHandler.get(self, kernel_id)

    def open(self, kernel_id: str) -> None:
        super().open(kernel_id)
        self._cache.pop(kernel_id, None)

    def on_close(self) -> None:
        if self._waiters.get(self._kernel_id) is self:
            del self._waiters[self._kernel_id]
