"""The page "trade-offs": explain a set-up, and what another would cost."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import ipywidgets as widgets

from pwindow.charts.along_speed import along_speed_figure, along_speed_names, select_along_speed
from pwindow.charts.frontier import HEIGHT, frontier_figure
from pwindow.charts.palette import Palette
from pwindow.errors import UnusableInput
from pwindow.panels.shared import words
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.fields import NumberField, typed_quantity
from pwindow.panels.shared.frame import heading
from pwindow.panels.shared.inquiry import Inquiry
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.question import Question
from pwindow.panels.shared.question_page import QuestionPage
from pwindow.panels.shared.session import Session
from pwindow.panels.shared.visit import Visit
from pwindow.panels.trade_offs import view
from pwindow.panels.trade_offs.model import (
    OWN,
    Own,
    Section,
    TradeOffs,
    open_all,
    own_query,
    pinned,
    with_roll,
    without_rolls,
)
from pwindow.product import Product
from pwindow.review.provenance import Origin
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, SILVER, SILVER_OF_AREA
from pwindow.wording import METRIC, Units
from pwindow.workflows.evidence import Evidence, NothingToJudge

_WIDE = {"description_width": "112px"}
_TITLE = "Trade-offs"
_HEIGHT = 560
_DOCUMENTS = ("the report", "the run sheet")
"""In the order of the buttons that make them."""


class TradeOffsPage(QuestionPage):
    """The page; `widget` is what to display."""

    own = OWN

    def __init__(self, evidence: Evidence):
        super().__init__(_TITLE)
        guard = self.frame.guard
        self.quantity = widgets.Dropdown(description="Show", style=_WIDE, layout=full_width())
        self.quantity.observe(guard(self._choose_quantity), "value")
        self.section = widgets.ToggleButtons(options=[one.value for one in Section])
        self.section.observe(guard(self._choose_section), "value")
        self.pin = self.frame.button(
            "Pin this set-up", "Compare it with others, and use it in the report", self._pin
        )
        self.unpin = self.frame.button("Clear pins", "Keep only the selected set-up", self._unpin)
        self._volume_unit = METRIC.volume
        self.volume = NumberField("Volume", METRIC.volume.name, 0.0, guard, style=_WIDE, read=typed_quantity)
        self.planned = widgets.HTML(layout=full_width())
        self.plan = self.frame.button("Add roll", "Add it as a planned roll, marked as such", self._plan)
        self.forget = self.frame.button("Remove planned rolls", "Go back to the inventory", self._forget)
        self.report = self.frame.button(
            "Make the report", "For a design review, on the first pinned set-up", self._make_report
        )
        self.run_sheet = self.frame.button(
            "Make the run sheet", "For the press, for the first pinned set-up", self._make_run_sheet
        )
        self.steps, self.limits, self.beside, self.plates, self.notes, self.document = (
            widgets.HTML(layout=full_width()) for _ in range(6)
        )
        self.silver = widgets.HTML(layout=widgets.Layout(width="100%"))
        self.limiting = widgets.HTML(layout=full_width())
        self.along = Place(self.frame.palette, _HEIGHT, "along-the-speed")
        self.frontier = Place(self.frame.palette, HEIGHT, "best-trade-offs")
        self.busy = widgets.HTML(layout=full_width())
        self.sections = {
            Section.ALONG: widgets.VBox([self.quantity, self.along, self.limiting]),
            Section.STEPS: widgets.VBox([self.steps]),
            Section.LIMITS: widgets.VBox([self.limits]),
            Section.BEST: widgets.VBox([self.frontier]),
            Section.BESIDE: widgets.VBox([self.beside]),
            Section.PLATES: widgets.VBox([self.plates]),
        }
        self.rest = (*self.sections.values(), self.silver, self.notes)
        self.pins: tuple[Setup, ...] = ()
        self._drawn: tuple | None = None
        self._best_of: tuple | None = None  # what the best trade-offs were drawn of
        self._limits_of: tuple | None = None  # what moved limits were worked out of
        self._saves: dict[str, str] = {}  # what saves the documents that were made
        self._offering = False
        self.trade_offs: TradeOffs | None = None
        self._arrange()
        self._start(Inquiry.on(Session(), evidence))

    @property
    def offers(self) -> TradeOffs:
        """What the page shows; raises NothingToJudge where it waits for a trial or a product."""
        if self.trade_offs is None:
            raise NothingToJudge("there is no trial yet, or none that can judge a product here")
        return self.trade_offs

    def _arrange(self) -> None:
        self.quantity.add_class("pw-quantity")
        self.busy.add_class("pw-busy-room")
        self._choices = [
            heading("Set-up"),
            *self.controls.box,
            self.pin,
            self.unpin,
            heading("Requirements"),
            self.editor.box,
            self.changed.box,
            self.units_menu.widget,
            heading("Try a roll you do not have"),
            self.volume.field,
            self.volume.note,
            self.plan,
            self.planned,
            self.forget,
        ]
        documents = widgets.HBox([self.report, self.run_sheet, self.document]).add_class("pw-documents")
        self.section.add_class("pw-sections")
        self._answers = [documents, self.section, self.busy, *self.rest]
        self._show_section()

    def _lay_out(self) -> None:
        shown = self.question is not None
        self.left.children = self._choices if shown else []
        self.right.children = [self.answer, *(self._answers if shown else [])]

    def _start(self, inquiry: Inquiry) -> None:
        self.pins, self.trade_offs = (), None
        if inquiry.question is not None:
            volumes = inquiry.question.window.surfaces.trial.prints["cell_volume"]
            self.volume.show(round(self._volume_unit.of(float(volumes.median())), 1))
        super()._start(inquiry)

    def _open_question(self, address: Address, query: str | None) -> Sequence[str]:
        own = Own.read(query)
        opened = open_all(address, own, self.asked)
        if opened.pins or self._differs(opened):
            self.pins = opened.pins
            self._ask(opened.question, opened.setup)
        if own.shown in dict(self._quantities(opened.setup)).values():
            self.quantity.value = own.shown
        if own.section is not None and own.section.value in self.section.options:
            self.section.value = own.section.value
        return opened.left_out

    def _colour(self, palette: Palette) -> None:
        self.along.colour(palette)
        self.frontier.colour(palette)

    def _clear_pictures(self) -> None:
        self.along.show(None)
        self.frontier.show(None)
        self._drawn = self._best_of = None

    def _choose_quantity(self, _change: object) -> None:
        if not self._offering:
            self._show_silver()
            self._draw_along(self._setup())
            self._tell_address(self._setup(), self._own())

    def _choose_section(self, _change: object) -> None:
        self._show_section()
        if not self._offering and self.question is not None:
            self._tell_address(self._setup(), self._own())

    def _show_section(self) -> None:
        """Show one section; what takes time is drawn when it is first seen."""
        for section, part in self.sections.items():
            part.layout.display = None if section == self.section.value else "none"
        self._show_silver()
        if self.trade_offs is None:
            return
        if self.section.value == Section.BEST:
            self._draw_frontier()
        if self.section.value == Section.LIMITS:
            self._show_limits(self._setup())

    def _show_silver(self) -> None:
        """Say what readers of silver must know, where there is silver to read."""
        read = self.section.value in (Section.BEST, Section.BESIDE)
        drawn = self.section.value == Section.ALONG and self.quantity.value in (SILVER, SILVER_OF_AREA)
        self.silver.layout.display = None if read or drawn else "none"

    def _draw_frontier(self) -> None:
        offers = self.offers
        if self._best_of != (offers, self.units):
            self._best_of, units = (offers, self.units), self.units
            self.frontier.show(
                lambda palette: frontier_figure(offers.window, offers.frontier, palette, units)
            )
            self.frontier.beside(view.numbers("best-trade-offs", offers.frontier))

    def _show_limits(self, setup: Setup) -> None:
        """Show what moved limits give; says so before it is worked out."""
        offers, shown = self.offers, ""
        wanted = (offers, self.units, setup.plate, setup.pressure, setup.roll.id)
        if self._limits_of == wanted:
            return
        working = words.working("working out the speeds at other limits")
        self.limits.value = "".join([working, self.limits.value])
        try:
            shown = "".join(
                [
                    words.shortfall_list(offers.question.shortfall, self.units),
                    view.limit_table(offers.limits(setup), offers.window, self.units),
                ]
            )
            self._limits_of = wanted
        finally:
            self.limits.value = shown

    def _show_volume(self) -> None:
        """Ask for the volume of a roll in the unit of the page."""
        unit, before = self.units.volume, self._volume_unit
        if unit != before:
            self._volume_unit = unit
            self.volume.show(float(unit.number(before.kept_of(self.volume.value))), unit.name)

    def _pin(self) -> None:
        self.pins = pinned(self.pins, self._setup())
        self._show_setup(self._setup())

    def _unpin(self) -> None:
        self.pins = ()
        self._show_setup(self._setup())

    def _make_report(self) -> None:
        self._make(_DOCUMENTS[0], "report.html", self.offers.report)

    def _make_run_sheet(self) -> None:
        self._make(_DOCUMENTS[1], "run-sheet.html", self.offers.run_sheet)

    def _make(self, title: str, name: str, make: Callable[[Setup, Origin, Units, Product], str]) -> None:
        """Make a document of the first pinned set-up, else of the selected one."""
        self.document.value = "".join([words.working(f"making {title}"), self._saved()])
        try:
            setup, declared = self.pins[0] if self.pins else self._setup(), self.inquiry.declared_product
            html = make(setup, self._origin(), self.units, declared)
            self._saves[title] = view.document_link(title, name, html)
        finally:
            self.document.value = self._saved()

    def _saved(self) -> str:
        """What saves the documents that were made, in the order of the buttons that make them."""
        return "".join(self._saves[title] for title in _DOCUMENTS if title in self._saves)

    def _origin(self) -> Origin:
        """How a document of this page is made again: by its address, or from the files that were loaded."""
        if self.session.names:
            return Origin(loaded=self.session.names)
        return Origin(address=f"trade-offs.ipynb?{self._query(self._setup())}&{self._own()}")

    def _plan(self) -> None:
        setup, self.planned.value = self._setup(), ""
        try:
            question, roll = with_roll(self.asked, self._volume_unit.kept_of(self.volume.needed()))
        except UnusableInput as problem:
            self.planned.value = words.refused(str(problem))
            return
        self._ask(question, setup)
        bands = question.bands[question.bands["roll"] == roll.id]
        self.planned.value = view.added(roll, bands, question.window, self.units)

    def _forget(self) -> None:
        setup = self._setup()
        self.planned.value = ""
        self.pins = tuple(pin for pin in self.pins if not pin.roll.planned)
        question = without_rolls(self.asked)
        self._ask(question, question.start() if setup.roll.planned else setup)

    def _ask(self, question: Question, setup: Setup, *, limits: bool = True) -> None:
        if self.trade_offs is None or self.trade_offs.question is not question:
            self.trade_offs = TradeOffs(question)
        self._show_volume()
        before = len(self.pins)
        self.pins = tuple(pin for pin in self.pins if pin.plate in question.window.plates)
        super()._ask(question, setup, limits=limits)
        if len(self.pins) < before:
            self.document.value = view.pins_lost(before - len(self.pins))

    def _show_answers(self, setup: Setup) -> None:
        self._offer(setup)
        self._drawn, offers = None, self.offers
        with self._working():
            self._show_setup(setup)
            self._show_section()
            self.silver.value = "".join(map(words.note, offers.notes))
            notes = map(words.note, offers.window.notes)
            self.notes.value = "".join([*notes, words.trial_notes(self.evidence)])

    @contextmanager
    def _working(self) -> Iterator[None]:
        """Say that everything below the answer is of the previous question, and show it so."""
        for part in self.rest:
            part.add_class("pw-old")
        self.busy.value = words.working("updating the charts and tables below")
        try:
            yield
        finally:
            for part in self.rest:
                part.remove_class("pw-old")
            self.busy.value = ""

    def _offer(self, setup: Setup) -> None:
        """Offer the quantities that can be drawn; the one that is drawn stays where it can."""
        before, offered = self.quantity.value, self._quantities(setup)
        self._offering = True
        try:
            self.quantity.options = offered
            self.quantity.value = before if before in dict(offered).values() else CONFORMANCE
        finally:
            self._offering = False

    def _quantities(self, setup: Setup) -> list[tuple[str, str]]:
        names = along_speed_names(self.asked.window, setup.plate)
        return [(label, name) for name, label in names.items()]

    def _show_setup(self, setup: Setup) -> None:
        """Show what depends on the selected set-up."""
        offers, window = self.offers, self.asked.window
        steps, self.document.value, self._saves = offers.steps(setup), "", {}
        self.answer.value = view.chosen_card(window, setup, steps, self.units)
        self._draw_along(setup)
        self.steps.value = view.step_table(steps, window.product.assurance, self.units)
        if self.section.value == Section.LIMITS:
            self._show_limits(setup)
        self._offer_sections()
        setups = [*self.pins, *([] if setup in self.pins else [setup])]
        self.beside.value = view.beside_table(
            window, setups, offers.beside(setups), self.units, len(self.pins)
        )
        try:
            self.plates.value = view.plate_table(offers.plates(setup), window.level, self.units)
        except UnusableInput as problem:
            self.plates.value = words.note(f"Plates side by side: {problem}")
        self._tell_address(setup, self._own())

    def _offer_sections(self) -> None:
        """Set-ups side by side are there as soon as one is pinned."""
        offered = [one.value for one in Section if self.pins or one != Section.BESIDE]
        if list(self.section.options) == offered:
            return
        before, self._offering = self.section.value, True
        try:
            self.section.options = offered
            self.section.value = before if before in offered else Section.ALONG.value
        finally:
            self._offering = False
        self._show_section()

    def _own(self) -> str:
        """What of the address is this page's alone."""
        return own_query(self.pins, self.quantity.value, Section(self.section.value))

    def _draw_along(self, setup: Setup) -> None:
        """Draw along the speed, where what it shows has changed."""
        offers, name = self.offers, self.quantity.value
        pins, units = self.pins, self.units
        shown = (setup.plate, setup.pressure, setup.roll.id, name, pins, units)
        table = offers.along(setup.plate, setup.pressure)
        if shown == self._drawn and self.along.figure is not None:
            with self.along.figure.batch_update():
                select_along_speed(self.along.figure, offers.window, table, name, setup, units)
            return
        self._drawn = shown
        self.along.beside(view.numbers("along-the-speed", table))
        self.limiting.value = view.limiting_table(table, self.units)
        self.along.show(
            lambda palette: along_speed_figure(
                offers.window,
                table,
                name,
                setup.plate,
                setup.pressure,
                palette,
                selected=self._setup(),
                pins=pins,
                units=units,
            )
        )


trade_offs = Visit(_TITLE, TradeOffsPage)
