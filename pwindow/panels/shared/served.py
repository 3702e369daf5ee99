"""A page served by the project's server, and the same page in a notebook."""

from __future__ import annotations

import ipywidgets as widgets
from markupsafe import Markup

from pwindow.environment import figures_served as served
from pwindow.markup import part
from pwindow.panels.shared.layout import full_width
from pwindow.shipped import shipped

_STYLE = "templates/voila/templates/pwindow/static"
__all__ = ["height_in_place", "served", "style"]


def height_in_place(height: int) -> int | None:
    """Height of a figure, px; None on a served page, whose style gives it one that fits the window."""
    return None if served() else height


def style() -> list[widgets.HTML]:
    """What a page brings along to look as it does: nothing where the served page has it."""
    if served():
        return []
    files = (shipped("dashboards") / _STYLE / name for name in ("notebook.css", "page.css"))
    text = "\n".join(file.read_text(encoding="utf-8") for file in files)
    return [widgets.HTML(part(__package__, "frame", "style", text=Markup(text)), layout=full_width())]
