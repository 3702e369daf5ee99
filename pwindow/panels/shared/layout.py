"""Layouts that widgets share."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import ipywidgets as widgets


@cache
def full_width() -> widgets.Layout:
    """All of the width there is; shared by all that take it, so a widget that hides itself has a layout of its own.

    Made when it is first asked for, in the process of the page: a widget that is made as modules load may belong to
    none, and a page that asks for it waits for ever.
    """
    layout = widgets.Layout(width="100%")
    layout.observe(_refuse)
    return layout


def _refuse(change: Mapping) -> None:
    raise RuntimeError(
        f"{change['name']} of the layout that all widgets share was set: give the widget a layout of its own"
    )
