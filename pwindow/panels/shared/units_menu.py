"""The menu of the units that a page shows numbers in."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import ipywidgets as widgets

from pwindow.panels.shared.controls import WIDE, offer
from pwindow.panels.shared.layout import full_width
from pwindow.wording import Units, offered_units


class UnitsMenu:
    """The menu; `widget` is what to display.

    Parameters
    ----------
    choose : callable
        Is given what the visitor chooses, as of `Address`; None for the units of the trial file.
    guard : callable
        Wraps handlers.
    """

    def __init__(self, choose: Callable[[str | None], object], guard: Callable):
        self.widget = widgets.Dropdown(description="Units", style=WIDE, layout=full_width())
        self._choose, self._offering = choose, False
        self.widget.observe(guard(self._chosen), "value")

    def offer(self, of_file: Units, shown: Units, name: str | None) -> None:
        """Offer what can be shown.

        Parameters
        ----------
        of_file : Units
            The trial file's.
        shown : Units
            Those that numbers are shown in now.
        name : str or None
            What they were asked for as.
        """
        offered = offered_units(of_file)
        named = (each for each, units in offered.items() if units == shown)
        chosen = next(named, name or "")
        menu = [(", ".join(units.names), each) for each, units in offered.items()]
        if chosen not in offered:
            menu.append((", ".join(shown.names), chosen))
        self._offering = True
        try:
            offer(self.widget, menu, chosen)
        finally:
            self._offering = False

    def _chosen(self, change: Mapping) -> None:
        if not self._offering:
            self._choose(change["new"] or None)
