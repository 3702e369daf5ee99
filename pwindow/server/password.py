"""A password that all visitors share, where the server is started with one."""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import Awaitable
from typing import Any
from urllib.parse import parse_qsl, urlencode

from jupyter_server.auth.decorator import allow_unauthenticated
from jupyter_server.auth.identity import IdentityProvider, User
from jupyter_server.auth.login import LoginFormHandler
from tornado.web import RequestHandler
from traitlets import default

from pwindow.server.handlers import Served

VISITOR = User("visitor")
PAUSE = 1.0  # s after each wrong password, one after the other


class SharedPassword(IdentityProvider):
    """Knows visitors by the password, asked for or in the link, and then by a signed cookie.

    Without a password everybody is a visitor.
    """

    @default("cookie_options")
    def _cookie_options(self) -> dict[str, Any]:
        return {"samesite": "Lax"}

    @property
    def auth_enabled(self) -> bool:
        return bool(self.token)

    def get_user(self, handler: RequestHandler) -> User | None | Awaitable[User | None]:
        return super().get_user(handler) if self.auth_enabled else VISITOR

    async def get_user_token(self, handler: RequestHandler) -> User | None:
        return self._whose(self.get_token(handler) or "")

    def process_login_form(self, handler: RequestHandler) -> User | None:
        return self._whose(handler.get_body_argument("password", ""))

    def is_token_authenticated(self, handler: RequestHandler) -> bool:
        """A visitor with the password in the link is checked as any other."""
        return False

    def _whose(self, given: str) -> User | None:
        return VISITOR if hmac.compare_digest(given.encode(), self.token.encode()) else None


class Login(Served, LoginFormHandler):
    """Asks for the password."""

    _pause = asyncio.Lock()

    @allow_unauthenticated
    async def post(self) -> None:
        if self.identity_provider.process_login_form(self) is None:
            async with self._pause:
                await asyncio.sleep(PAUSE)
        super().post()


def without_token(path: str, query: str) -> str:
    """Give an address without the password, which then stays out of histories and of the page.

    Examples
    --------
    >>> without_token("/voila/render/x.ipynb", "speed=60+m%2Fmin&token=abc")
    '/voila/render/x.ipynb?speed=60+m%2Fmin'
    """
    kept = [pair for pair in parse_qsl(query, keep_blank_values=True) if pair[0] != "token"]
    return f"{path}?{urlencode(kept)}" if kept else path
