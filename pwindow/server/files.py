"""Files that pages fetch: styles, scripts, and the code of widgets."""

from __future__ import annotations

from jupyter_server.base.handlers import FileFindHandler
from tornado.web import HTTPError, StaticFileHandler
from voila.static_file_handler import MultiStaticFileHandler, TemplateStaticFileHandler

from pwindow.server.handlers import Served


class _File(Served, StaticFileHandler):
    """A file for whoever may see the pages; what is not there, or not inside its folder, is unknown."""

    get = StaticFileHandler.get
    head = StaticFileHandler.head

    def validate_absolute_path(self, root: str, absolute_path: str) -> str | None:
        try:
            return super().validate_absolute_path(root, absolute_path)
        except HTTPError as error:
            raise HTTPError(404) from error


class TemplateFile(_File, TemplateStaticFileHandler):
    """A file of the pages' template, or of the templates below it."""

    def parse_url_path(self, path: str) -> str:
        template = self.settings["voila"].voila_configuration.template
        if not path.startswith(f"{template}/static/") or ".." in path.split("/"):
            raise HTTPError(404)
        return super().parse_url_path(path)


class PageFile(_File, MultiStaticFileHandler):
    """A file of the pages' own code."""


class WidgetFile(_File, FileFindHandler):
    """A file of the widgets' code."""
