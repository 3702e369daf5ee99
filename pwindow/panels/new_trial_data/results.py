"""What the page of new trial data shows of what was done last."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import ipywidgets as widgets
from markupsafe import Markup

from pwindow.charts.agreement import agreement_figure
from pwindow.charts.before_after import before_after_figure
from pwindow.charts.palette import Palette
from pwindow.panels.new_trial_data import view
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.wording import METRIC, Units
from pwindow.workflows.desk import Compared


class Results:
    """Cards, pictures and tables of what was done last; what was shown before goes.

    Attributes
    ----------
    outcome, compared, why : HTML
        What came of it; two fits beside each other; and why they differ.
    agreement, windows : Place
        Measured against predicted; the windows of two fits.
    units : Units
        That numbers are shown in.
    """

    def __init__(self) -> None:
        self.outcome, self.compared, self.why = (widgets.HTML(layout=full_width()) for _ in range(3))
        self.units = METRIC
        self._again: Callable[[], None] = self._clear
        self.agreement, self.windows = Place(name="agreement"), Place(name="before-and-after")

    @property
    def parts(self) -> list[widgets.Widget]:
        """In the order they are read in."""
        return [self.outcome, self.agreement, self.compared, self.windows, self.why]

    def colour(self, palette: Palette) -> None:
        """Draw the pictures in other colours."""
        self.agreement.colour(palette)
        self.windows.colour(palette)

    def in_units(self, units: Units) -> None:
        """Show what is shown in other units."""
        if units != self.units:
            self.units = units
            self._again()

    def show(self, card: Callable[[Units], str | Markup], found: Agreement | None = None) -> None:
        """Show what came of something, and the picture of an agreement where there is one.

        Parameters
        ----------
        card : callable
            Gives what came of it in the units that numbers are shown in.
        found : Agreement, optional
        """
        self._again = partial(self.show, card, found)
        self._clear()
        units = self.units
        self.outcome.value = card(units)
        if found is not None and found.by_name:
            self.agreement.show(lambda palette: agreement_figure(found, palette, units))

    def show_compared(self, found: Compared) -> None:
        """Show a fit beside an earlier one."""
        self._again = partial(self.show_compared, found)
        self._clear()
        units = self.units
        self.compared.value, self.why.value = (
            view.compared_card(found, units),
            view.compared_tables(found, units),
        )
        windows = found.windows
        if windows is not None:
            self.windows.show(lambda palette: before_after_figure(windows, palette, units))

    def _clear(self) -> None:
        self.outcome.value = self.compared.value = self.why.value = ""
        self.agreement.show(None)
        self.windows.show(None)
