"""The page "plates": which plate to order for a product."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from pwindow.charts.merging import drawable, merging_figure
from pwindow.charts.order_map import HEIGHT, order_figure
from pwindow.charts.palette import Palette, palette_named
from pwindow.errors import UnitProblem
from pwindow.inputs import InputFile
from pwindow.panels.plates import view
from pwindow.panels.plates.model import Answer, Wanted, demo_files, find, known, opened, units_of
from pwindow.panels.shared import words
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.controls import WIDE, ChangedRequirements, RequirementEditor, offer
from pwindow.panels.shared.fields import SlidingNumber
from pwindow.panels.shared.file_loading import FileLoading, replaces
from pwindow.panels.shared.frame import Frame, heading
from pwindow.panels.shared.in_use import InUse
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.served import height_in_place
from pwindow.panels.shared.session import Session
from pwindow.panels.shared.units_menu import UnitsMenu
from pwindow.panels.shared.visit import Visit
from pwindow.panels.shared.work import Work
from pwindow.product import Product
from pwindow.wording import PERCENT, Units
from pwindow.workflows.evidence import UPLOADED, Evidence

_TITLE = "Plates"
_LEVELS = (0.5, 0.99)
"""Ends of the assurance slider, but for products that ask for more."""


class PlatesPage:
    """The page; `widget` is what to display.

    Parameters
    ----------
    evidence : Evidence

    Attributes
    ----------
    wanted : Wanted
        What the page stands on now.
    answer : Answer or None
        What it shows; None while it is worked out for the first time.
    """

    def __init__(self, evidence: Evidence):
        self.frame = Frame(_TITLE, self._colour)
        self.work = Work(self.frame.guard, self._go_on)
        self.answer: Answer | None = None
        self._sought: Wanted | None = None  # what the work is or was about
        self._answered: Wanted | None = None  # what the answer is about
        self._showing = False
        self._make_controls()
        self.order, self.untold, self.details, self.bridging, self.notes = (
            widgets.HTML(layout=full_width()) for _ in range(5)
        )
        self.place = Place(self.frame.palette, name="plates-to-order")
        self.merging = Place(self.frame.palette, name="merging-of-lines")
        self.place.add_class("pw-orders")
        self.left = widgets.VBox().add_class("pw-controls")
        self.right = widgets.VBox().add_class("pw-results")
        self.results = (self.order, self.place, self.details, self.bridging, self.merging)
        self.widget = self.frame.around(widgets.HBox([self.left, self.right]).add_class("pw-body"))
        self._start(Wanted.on(Session(), evidence))

    def _make_controls(self) -> None:
        guard = self.frame.guard
        self.in_use = InUse()
        self.spot = self.work.spot()
        self.spot.text.add_class("pw-busy-room")  # nothing moves when work begins
        self.product = widgets.Dropdown(description="Product", style=WIDE, layout=full_width())
        self.product.observe(guard(lambda change: self._choose_product(change["new"])), "value")
        self.level = SlidingNumber("Assurance", guard, self._choose_level, continuous_update=False)
        self.editor = RequirementEditor(self._change_limits, guard)
        self.changed = ChangedRequirements(self._undo_changes, guard)
        self.units_menu = UnitsMenu(self._choose_units, guard)
        self.loading = FileLoading(
            self.frame,
            self._load,
            "trial, plate or product files",
            "A trial and its plates (CSV, XLSX, Parquet), a product or a study (TOML), or several together",
        )
        self.demo = self.frame.button(
            "Open the demo trial of plates",
            "A trial of two plate processes with several plate widths and gaps; only you see it",
            lambda: self.loading.load(demo_files()),
        )

    @property
    def evidence(self) -> Evidence:
        return self.wanted.evidence

    @property
    def units(self) -> Units:
        """What the page shows numbers in."""
        return units_of(self.wanted, self.frame.units)

    def open_at(self, query: str | None) -> None:
        """Show what the query of the page's address asks for, as far as it can be shown."""
        address, left_out = Address.read(query)
        self.frame.palette = palette_named(address.colours)
        self._colour(self.frame.palette)
        asked = Address(colours=address.colours)
        if address != asked:
            wanted, missing = opened(address, self.evidence)
            left_out = (*left_out, *missing)
            self.frame.units = None
            self._start(wanted)
        left_out = (*left_out, *self._take_units(address.units))
        self._tell_address()
        self.frame.open_at(address, left_out)

    # what is chosen --------------------------------------------------------------------------------

    def _choose_product(self, name: str) -> None:
        if self._showing:
            return
        try:
            wanted = self.wanted.choosing(name)
        finally:
            self._show_controls()
        self._start(wanted)

    def _choose_level(self) -> None:
        self._start(self.wanted.asking(self.wanted.asked.with_assurance(round(self.level.value, 4))))

    def _change_limits(self, product: Product) -> None:
        self._start(self.wanted.asking(product), limits=False)

    def _undo_changes(self) -> None:
        self._start(self.wanted.asking(self.wanted.declared_product))

    def _choose_units(self, name: str | None) -> None:
        self._take_units(name)
        self._tell_address()

    def _take_units(self, name: str | None) -> tuple[str, ...]:
        """Show numbers in other units; gives why not where the trial does not have them."""
        before, why = self.frame.units, self._set_units(name)
        if self.wanted.product is not None and self.frame.units != before:
            self._show_controls()
            self._show_answer()
        return why

    def _set_units(self, name: str | None) -> tuple[str, ...]:
        try:
            units_of(self.wanted, name)
        except UnitProblem as problem:
            self.frame.units = None
            return (f"units={name}: {problem}; ignored",)
        self.frame.units = name
        return ()

    def _load(self, files: Sequence[InputFile]) -> None:
        before = self.evidence
        wanted, name = self.wanted.loading(files)
        self.frame.units = None
        self._start(wanted)
        if replaces(before, self.evidence):
            self.frame.say(words.replaced(before, self.evidence))
        if name is not None and (why := wanted.passed_over(name)):
            self.frame.say(words.passed_over(name, why, wanted.asked.name))

    # what is shown ---------------------------------------------------------------------------------

    def _start(self, wanted: Wanted, *, limits: bool = True) -> None:
        """Stand on something else: find its plates, or say what is missing; without `limits` what is typed stays."""
        self.wanted = wanted
        self.frame.stand_on(wanted.evidence, wanted.product)
        self._lay_out()
        if wanted.product is None:
            self.place.show(None)
            self.order.remove_class("pw-old")
            self.order.value = words.waiting_card(
                wanted.evidence, wanted.why, wanted.session.data, here=True, plates=False
            )
        else:
            self._show_controls(limits=limits)
            self._show_what_is_told()
            self._go_on()
        self._tell_address()

    def _lay_out(self) -> None:
        """Put in their places all widgets, or those that help on where there is no product."""
        wanted = self.wanted
        choices = [
            heading("Product"),
            self.product,
            self.level.box,
            heading("Requirements"),
            self.editor.box,
            self.changed.box,
            self.units_menu.widget,
        ]
        offered = wanted.evidence.surfaces is None or bool(wanted.untold)
        loading = [*self.loading.box, *([self.demo] if offered else [])]
        first, *others = self.results
        results = [self.spot.text, first, self.untold, *others, self.notes]
        shown = wanted.product is not None
        self.left.children = [*(choices if shown else []), *loading]
        self.right.children = results if shown else [self.order]

    def _show_controls(self, *, limits: bool = True) -> None:
        wanted, product, units = self.wanted, self.wanted.asked, self.units
        self._showing = True
        try:
            offer(self.product, [(name, name) for name in wanted.evidence.products], product.name)
        finally:
            self._showing = False
        level = product.assurance.level
        self.level.show(PERCENT, _LEVELS[0], max(_LEVELS[1], level), level, 0.01)
        if limits:
            self.editor.show(product, units)
        self.changed.show(wanted.declared_product, product, units)
        self.units_menu.offer(wanted.surfaces.trial.units, units, self.frame.units)

    def _show_what_is_told(self) -> None:
        self.untold.value = view.untold(self.wanted, demo=True)
        self.notes.value = words.trial_notes(self.evidence)

    def _go_on(self) -> None:
        """Find the plates of what is wanted now, unless there is work already; then say whether results are old."""
        wanted, answer = self.wanted, known(self.wanted)
        if wanted.product is None:
            return
        if answer is not None:
            self._take(wanted, answer)
        elif not self.work.busy and self._sought is not wanted:
            self._sought = wanted
            self.work.start(
                self.spot,
                "finding the plates to order",
                lambda _tell: find(wanted),
                lambda found: self._take(wanted, found),
            )
        self._mark_old()

    def _take(self, wanted: Wanted, answer: Answer) -> None:
        """Show an answer, unless something else is wanted by now."""
        if wanted is self.wanted and self._answered is not wanted:
            self.answer, self._answered = answer, wanted
            self._show_answer()

    def _mark_old(self) -> None:
        """Show results pale that are about something else; none is left where its work failed."""
        old = self._answered is not self.wanted
        if old and not self.work.busy:
            self.order.value = self.details.value = self.bridging.value = ""
            self.place.show(None)
            self.merging.show(None)
        for part in self.results:
            (part.add_class if old else part.remove_class)("pw-old")

    def _show_answer(self) -> None:
        answer, wanted, units = self.answer, self.wanted, self.units
        if answer is None or self._answered is not wanted:
            return
        self.order.value = view.answer_card(wanted, answer, units)
        parts = [
            view.details(answer, units),
            view.effects(answer.effects, units),
            view.reference(answer.reference, units),
        ]
        self.details.value = "".join(parts)
        self._draw(answer, units)
        self._draw_merging(answer, units)

    def _draw(self, answer: Answer, units: Units) -> None:
        wanted, content = self.wanted, answer.content(self.wanted, units)
        if content is None or not content.drawable:
            self.place.show(None)
            return
        self.place.beside(view.downloads(content.found, wanted.surfaces.trial.pressure_key))
        self.place.show(lambda palette: order_figure(content, palette, height_in_place(HEIGHT)))

    def _draw_merging(self, answer: Answer, units: Units) -> None:
        found = answer.merging
        self.bridging.value = view.merging(answer, units)
        if found is None or not drawable(found):
            self.merging.show(None)
        else:
            self.merging.show(lambda palette: merging_figure(found, palette, units))

    def _colour(self, palette: Palette) -> None:
        self.place.colour(palette)
        self.merging.colour(palette)

    def _tell_address(self) -> None:
        self.frame.put_address(self.wanted.query_address())
        if self.evidence.source != UPLOADED and self.in_use.moved_on():
            self.frame.outdated()


plates = Visit(_TITLE, PlatesPage)
