"""Layouts that widgets share."""

from __future__ import annotations

from functools import cache

import ipywidgets as widgets


@cache
def full_width() -> widgets.Layout:
    """All of the width there is; shared by all that take it, so a widget that hides itself has a layout of its own.

    Made when it is first asked for, in the process of the page: a widget that is made as modules load may belong to
    none, and a page that asks for it waits for ever.
    """
    return widgets.Layout(width="100%")
