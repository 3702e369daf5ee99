"""The application: Voila's way of making pages, behind routes that are all our own."""

from __future__ import annotations

import mimetypes
import os
import secrets
import tempfile
from typing import Any

import tornado.web
from jupyter_server.services.kernels.handlers import KernelHandler
from jupyter_server.utils import url_path_join
from tornado.httputil import HTTPServerRequest
from tornado.ioloop import PeriodicCallback
from traitlets import Integer, default
from voila.app import Voila
from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler

from pwindow.server.channels import Channels, CheckedConnection
from pwindow.server.files import PageFile, TemplateFile, WidgetFile
from pwindow.server.handlers import ForeignName, Served, Unknown
from pwindow.server.headers import on_every_answer
from pwindow.server.hosts import is_own, own_names
from pwindow.server.pages import Page, PageList
from pwindow.server.password import Login, SharedPassword
from pwindow.server.visitors import Visitors
from pwindow.server.waiting import Waiting

KERNEL = r"(?P<kernel_id>\w+-\w+-\w+-\w+-\w+)"
WAITING_BASE = "VOILA_WS_BASE_URL"
"""Names, to a kernel that is kept ready, the part of the address before the route it waits on."""


class KernelModel(Served, KernelHandler):
    """Says whether a kernel lives; pages end theirs by the route of leaving."""

    delete = tornado.web.RequestHandler.delete


class Leaving(Served, VoilaShutdownKernelHandler):
    """Ends the kernel of a page that is left."""


class Application(tornado.web.Application):
    """Answers to this computer's own names only, on every route."""

    def find_handler(self, request: HTTPServerRequest, **options: Any) -> Any:
        if not is_own(request.host_name, self.settings["own_names"]):
            return self.get_handler_delegate(request, ForeignName)
        return super().find_handler(request, **options)


class PageServer(Voila):
    """Serves the pages of a folder.

    What Voila does for notebooks in general (starting kernels by request, listing and giving files, themes, trees) is
    not there: `init_handlers` is the whole list of routes.
    """

    most_visitors = Integer(12, config=True, help="Pages that may be open at the same time.")
    claim_limit = Integer(180, config=True, help="Time in s in which a page must connect to its kernel.")
    gone_limit = Integer(120, config=True, help="Time in s for which a closed page's kernel is kept.")
    look_interval = Integer(5, config=True, help="Time in s between two looks for kernels to end.")

    @default("identity_provider_class")
    def _identity_provider_class(self) -> type:
        return SharedPassword

    @default("kernel_websocket_connection_class")
    def _kernel_websocket_connection_class(self) -> type:
        return CheckedConnection

    def start(self) -> None:
        """Serve until a signal ends it."""
        for kind, ending in (("text/javascript", ".js"), ("text/css", ".css")):
            mimetypes.add_type(
                kind, ending
            )  # what a system has on record may be another, and is then not run
        self.connection_dir = tempfile.mkdtemp(prefix="voila_", dir=self.connection_dir_root)
        self.app = Application(**{**self.init_settings(), **self.tornado_settings})
        self.app.add_transform(on_every_answer(self.tornado_settings.get("headers", {})))
        self.app.add_handlers(".*$", self.init_handlers())
        PeriodicCallback(self.app.settings["visitors"].end_abandoned, 1000 * self.look_interval).start()
        self.listen()

    def init_settings(self) -> dict[str, Any]:
        """Voila's settings and our own."""
        self._secret = secrets.token_urlsafe(32)
        os.environ[WAITING_BASE] = f"/{self._secret}/"  # kernels inherit it, and are started from here on
        settings = super().init_settings()
        return {
            **settings,
            "jinja2_env": settings["voila_jinja2_env"],  # errors look like pages wherever they come from
            "visitors": Visitors(self.kernel_manager, self.most_visitors, self.claim_limit, self.gone_limit),
            "own_names": own_names(self.ip),
            "default_handler_class": Unknown,
            "xsrf_cookie_kwargs": {"samesite": "Lax"},
        }

    def init_handlers(self) -> list[tuple[Any, ...]]:
        """All routes there are."""
        of_voila = {"voila_configuration": self.voila_configuration}
        making = {"template_paths": self.template_paths, "config": self.config}
        routes: list[tuple[Any, ...]] = [
            ("/", PageList, of_voila),
            ("/login", Login),
            ("/voila/render/(.*)", Page, {**of_voila, **making}),
            ("/voila/templates/(.*)", TemplateFile),
            ("/voila/static/(.*)", PageFile, {"paths": self.static_paths}),
            (
                "/voila/labextensions/(.*)",
                WidgetFile,
                {"path": self.labextensions_path, "no_cache_paths": ["/"]},
            ),
            (f"/voila/api/shutdown/{KERNEL}", Leaving),
            (f"/api/kernels/{KERNEL}", KernelModel),
            (f"/api/kernels/{KERNEL}/channels", Channels),
            (f"/(?P<secret>[^/]+)/voila/query/{KERNEL}", Waiting, {"expected": self._secret}),
        ]
        return [(url_path_join(self.server_url, path), *rest) for path, *rest in routes]
