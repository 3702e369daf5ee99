"""Pages that wait for their visitor."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Protocol

import ipywidgets as widgets

from pwindow.panels.shared.frame import made
from pwindow.workflows.evidence import Evidence
from pwindow.workflows.given import given_evidence


class Page(Protocol):
    """What `Visit` asks of a page."""

    widget: widgets.Widget

    @property
    def evidence(self) -> Evidence: ...

    def open_at(self, query: str | None) -> None: ...


class Visit:
    """A page on the evidence that the server was started with; calling it opens the page.

    Parameters
    ----------
    title : str
    make : callable
        Makes the page on some evidence.
    """

    def __init__(self, title: str, make: Callable[[Evidence], Page]):
        self._title, self._make = title, make
        self._waiting: Page | None = None

    def get_ready(self) -> None:
        """Make the page before its visitor comes: a kernel serves one.

        What fails is told when the page is asked for.
        """
        with suppress(Exception):
            self._waiting = self._make(given_evidence())

    def __call__(self, query: str | None = None) -> widgets.Widget:
        """The page at the query of its address; says why where it cannot be made."""
        return made(self._title, lambda: self._opened(query))

    def _opened(self, query: str | None) -> widgets.Widget:
        evidence = given_evidence()
        page = self._waiting
        if page is None or page.evidence is not evidence:
            page = self._make(evidence)
        page.open_at(query)
        return page.widget
