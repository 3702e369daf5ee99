"""The page "trade-offs": explain a set-up, and what another would cost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import ipywidgets as widgets

from pwindow.charts.along_speed import along_speed_figure, along_speed_names
from pwindow.charts.frontier import HEIGHT, frontier_figure
from pwindow.charts.palette import Palette, palette_named
from pwindow.errors import UnusableInput
from pwindow.panels.shared import words as shared_words
from pwindow.panels.shared.address import Address, address_of, open_at
from pwindow.panels.shared.controls import RequirementEditor, SetupControls
from pwindow.panels.shared.fields import NumberField
from pwindow.panels.shared.frame import Frame, evidence_facts, heading
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.question import Question, ask, first_judgeable, kept_setup, question_of
from pwindow.panels.shared.session import Session
from pwindow.panels.shared.visit import Visit
from pwindow.panels.shared.words import working
from pwindow.panels.trade_offs import view as words
from pwindow.panels.trade_offs.model import (
    OWN,
    Own,
    TradeOffs,
    own_query,
    pinned,
    setup_of,
    with_roll,
    without_planned,
)
from pwindow.product import Product
from pwindow.review.provenance import Origin
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE
from pwindow.workflows.evidence import Evidence, NothingToJudge, replaced_product

_WIDE = {"description_width": "112px"}
_TITLE = "Trade-offs"
_HEIGHT = 560


class TradeOffsPage:
    """The page; `widget` is what to display."""

    def __init__(self, evidence: Evidence):
        self.frame = Frame(_TITLE, self._colour)
        guard = self._guard = self.frame.guard
        self.controls = SetupControls(
            guard(self._choose_product), guard(self._choose_level), guard(self._choose_setup), guard
        )
        self.editor = RequirementEditor(self._change_limits, guard)
        self.quantity = widgets.Dropdown(description="Show", style=_WIDE, layout=full_width())
        self.quantity.observe(guard(self._choose_quantity), "value")
        self.pin = self.frame.button(
            "Pin this set-up", "Keep it beside the others, and in the report", self._pin
        )
        self.unpin = self.frame.button("Take the pins away", "Only the set-up looked at stays", self._unpin)
        self.volume = NumberField("Volume", "cm³/m²", 0.0, guard, style=_WIDE)
        self.planned = widgets.HTML(layout=full_width())
        self.plan = self.frame.button(
            "What if we had this roll?", "Adds a planned roll, marked as such", self._plan
        )
        self.forget = self.frame.button("Without planned rolls", "Back to the inventory", self._forget)
        self.report = self.frame.button(
            "Make the report", "For a design review; of the first pinned set-up", self._make_report
        )
        self.run_sheet = self.frame.button(
            "Make the run sheet", "For the press; of the first pinned set-up", self._make_run_sheet
        )
        self.answer, self.steps, self.beside, self.plates, self.notes, self.document = (
            widgets.HTML(layout=full_width()) for _ in range(6)
        )
        self.pinches = widgets.HTML(layout=full_width())
        self.along = Place(self.frame.palette, _HEIGHT, "along-the-speed")
        self.frontier = Place(self.frame.palette, HEIGHT, "set-ups-that-no-other-beats")
        self.busy = widgets.HTML(layout=full_width())
        self.rest = (
            self.along, self.steps, self.pinches, self.frontier, self.beside, self.plates, self.notes,
        )  # fmt: skip
        self.pins: tuple[Setup, ...] = ()
        self._drawn: tuple | None = None
        self._saves: dict[str, str] = {}  # what saves the documents that were made, the last one first
        self._offering = False
        self.trade_offs: TradeOffs | None = None
        self._left, self._right = widgets.VBox(), widgets.VBox()
        self.widget = self._arrange()
        self._start(Session(), evidence)

    @property
    def question(self) -> Question | None:
        return None if self.trade_offs is None else self.trade_offs.question

    @property
    def offers(self) -> TradeOffs:
        """What the page shows; raises NothingToJudge where it waits for a trial or a product."""
        if self.trade_offs is None:
            raise NothingToJudge("there is no trial yet, or none that can judge a product here")
        return self.trade_offs

    @property
    def asked(self) -> Question:
        return self.offers.question

    def _arrange(self) -> widgets.Widget:
        named = (self._left, "pw-controls"), (self._right, "pw-results"), (self.quantity, "pw-quantity")
        for box, name in named:
            box.add_class(name)
        self.answer.add_class("pw-answer-room")
        self.busy.add_class("pw-busy-room")
        body = widgets.HBox([self._left, self._right])
        body.add_class("pw-body")
        return self.frame.around(body)

    def _lay_out(self) -> None:
        """What stands on the page: all of it, or what is missing."""
        if self.question is None:
            self._left.children, self._right.children = [], [self.answer]
            return
        self._left.children = [
            heading("Set-up"),
            *self.controls.box,
            self.pin,
            self.unpin,
            self.report,
            self.run_sheet,
            self.document,
            heading("Requirements"),
            self.editor.box,
            heading("A roll to buy"),
            self.volume.field,
            self.volume.note,
            self.plan,
            self.planned,
            self.forget,
        ]
        self._right.children = [self.answer, self.busy, self.quantity, *self.rest]

    def _start(self, session: Session, evidence: Evidence, wanted: str | None = None) -> None:
        """Stand on some evidence: at the recommended set-up, or the closest."""
        self.session, self.evidence, self.declared = session, evidence, dict(evidence.products)
        self.pins, self.trade_offs = (), None
        try:
            self.trade_offs = TradeOffs(first_judgeable(evidence, wanted))
        except NothingToJudge as problem:
            self.answer.value = shared_words.waiting_card(evidence, problem.why, session.data, here=False)
            self.frame.facts.value = evidence_facts(evidence)
            self.frame.put_address(Address(data=session.data))
        self._lay_out()
        if self.question is not None:
            volumes = self.question.window.surfaces.trial.prints["cell_volume"]
            self.volume.show(round(float(volumes.median()), 1))
            self._show(self.question.start())

    def open_at(self, query: str | None) -> None:
        """Show what the query of the page's address asks for, as far as it can be shown."""
        address, told = Address.read(query, OWN)
        session, evidence, missing = Session.opened(address.data, self.evidence)
        self.frame.palette = palette_named(address.colours)
        self._colour(self.frame.palette)
        if evidence is not self.evidence:
            self._start(session, evidence, address.product)
        opened = () if self.question is None else self._open_question(address, Own.read(query))
        self.frame.open_at(address, (*told, *missing, *opened))

    def _open_question(self, address: Address, own: Own) -> list[str]:
        """Show the question and the set-up of an address; gives what of it could not be used."""
        told: list[str] = []
        evidence, question = self.evidence, self.asked
        for text in own.planned:
            try:
                evidence, question, _ = with_roll(evidence, question, _volume(text))
            except UnusableInput as problem:
                told.append(f"planned={text[:40]}: {problem}; left out")
        opened = open_at(address, evidence, question)
        pins = []
        for pin in own.pins:
            try:
                pins.append(setup_of(opened.question.window, pin))
            except UnusableInput as problem:
                told.append(str(problem))
        if pins or opened.question is not self.question or opened.setup != self._setup():
            self.pins, self.evidence = tuple(pins), opened.question.evidence
            self.trade_offs = TradeOffs(opened.question)
            self._show(opened.setup)
        if own.shown in dict(self._quantities(opened.setup)).values():
            self.quantity.value = own.shown
        return [*told, *opened.told]

    def _colour(self, palette: Palette) -> None:
        self.along.colour(palette)
        self.frontier.colour(palette)

    def _setup(self) -> Setup:
        return self.controls.setup(self.asked)

    def _choose_product(self, name: str) -> None:
        try:
            question = question_of(self.evidence, name)
        except UnusableInput:
            self.controls.show(self.evidence, self.asked, self._setup())
            raise
        self._ask(question, question.start())

    def _choose_level(self, level: float) -> None:
        self._replace_product(self.asked.product.with_assurance(round(level, 4)))

    def _change_limits(self, edited: Product) -> None:
        self._replace_product(edited, limits=False)

    def _replace_product(self, product: Product, *, limits: bool = True) -> None:
        evidence = replaced_product(self.evidence, product)
        question = ask(evidence, product)
        setup, self.evidence = kept_setup(self.asked, question, self._setup()), evidence
        self._ask(question, setup, limits=limits)

    def _choose_setup(self) -> None:
        self._show_setup(self._setup())

    def _choose_quantity(self, _change: object) -> None:
        if not self._offering:
            self._draw_along(self._setup())
            self._put_address(self._setup())

    def _pin(self) -> None:
        self.pins = pinned(self.pins, self._setup())
        self._show_setup(self._setup())

    def _unpin(self) -> None:
        self.pins = ()
        self._show_setup(self._setup())

    def _make_report(self) -> None:
        self._make("the report", "review.html", self.offers.report)

    def _make_run_sheet(self) -> None:
        self._make("the run sheet", "run-sheet.html", self.offers.run_sheet)

    def _make(self, title: str, name: str, make: Callable[[Setup, Origin], str]) -> None:
        """Make a document of the first pinned set-up, else of the one looked at."""
        self.document.value = "".join([working(f"making {title}"), *self._saves.values()])
        try:
            html = make(self.pins[0] if self.pins else self._setup(), self._origin())
            self._saves.pop(title, None)
            self._saves = {title: words.document_link(title, name, html), **self._saves}
        finally:
            self.document.value = "".join(self._saves.values())

    def _origin(self) -> Origin:
        """How a document of this page is made again: by its address, or from the files that were loaded."""
        if self.session.names:
            return Origin(loaded=self.session.names)
        shared, own = self._address(self._setup())
        return Origin(address=f"trade-offs.ipynb?{shared.query()}&{own}")

    def _plan(self) -> None:
        setup, self.planned.value = self._setup(), ""
        try:
            self.evidence, question, roll = with_roll(self.evidence, self.asked, self.volume.needed())
        except UnusableInput as problem:
            self.planned.value = shared_words.refused(str(problem))
            return
        self._ask(question, setup)
        self.planned.value = words.added(roll)

    def _forget(self) -> None:
        setup = self._setup()
        self.planned.value = ""
        self.pins = tuple(pin for pin in self.pins if not pin.roll.planned)
        self.evidence, question = without_planned(self.evidence, self.asked)
        self._ask(question, question.start() if setup.roll.planned else setup)

    def _ask(self, question: Question, setup: Setup, *, limits: bool = True) -> None:
        self.trade_offs = TradeOffs(question)
        before = len(self.pins)
        self.pins = tuple(pin for pin in self.pins if pin.plate in question.window.plates)
        self._show(setup, limits=limits)
        if len(self.pins) < before:
            self.document.value = words.pins_lost(before - len(self.pins))

    def _show(self, setup: Setup, *, limits: bool = True) -> None:
        """Show everything for the question as it is now; what decides first."""
        self.controls.show(self.evidence, self.asked, setup)
        self.frame.facts.value = evidence_facts(self.evidence, self.asked.product)
        if limits:
            self.editor.show(self.asked.product)
        self._offer(setup)
        self._drawn, offers = None, self.offers
        with self._working():
            self._show_setup(setup)
            self.frontier.show(lambda palette: frontier_figure(offers.window, offers.frontier, palette))
            self.frontier.beside(words.numbers("set-ups-that-no-other-beats", offers.frontier))
            notes = map(shared_words.note, (*offers.window.notes, *offers.notes))
            self.notes.value = "".join([*notes, shared_words.trial_notes(self.evidence)])

    @contextmanager
    def _working(self) -> Iterator[None]:
        """Say that what stands below the answer is of the question before, and show it so."""
        for part in self.rest:
            part.add_class("pw-old")
        self.busy.value = working("working out what is below")
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
        """Show what depends on the set-up looked at."""
        offers, window = self.offers, self.asked.window
        steps, self.document.value, self._saves = offers.steps(setup), "", {}
        self.answer.value = words.chosen_card(window, setup, steps)
        self._draw_along(setup)
        self.steps.value = words.step_table(steps, window.level)
        setups = [*self.pins, *([] if setup in self.pins else [setup])]
        self.beside.value = words.beside_table(window, setups, offers.beside(setups))
        try:
            self.plates.value = words.plate_table(offers.plates(setup), window.level)
        except UnusableInput as problem:
            self.plates.value = shared_words.note(f"Plates side by side: {problem}")
        self._put_address(setup)

    def _put_address(self, setup: Setup) -> None:
        self.session = self.session.stayed()
        self.frame.put_address(*self._address(setup))

    def _address(self, setup: Setup) -> tuple[Address, str]:
        """What of the address is shared with other pages, and what is this page's own."""
        declared = self.declared[self.asked.product.name]
        shared = address_of(self.asked, setup, declared, self.session.data)
        return shared, own_query(self.pins, self.asked.window.rolls, self.quantity.value)

    def _draw_along(self, setup: Setup) -> None:
        """Draw along the speed, where what it shows has changed."""
        offers, name = self.offers, self.quantity.value
        shown = (setup.plate, setup.pressure, name)
        if shown == self._drawn:
            return
        self._drawn = shown
        table = offers.along(setup.plate, setup.pressure)
        self.along.beside(words.numbers("along-the-speed", table))
        self.pinches.value = words.pinch_table(table)
        self.along.show(
            lambda palette: along_speed_figure(
                offers.window, table, name, setup.plate, setup.pressure, palette
            )
        )


def _volume(text: str) -> float:
    try:
        return float(text)
    except ValueError as problem:
        raise UnusableInput("not a number") from problem


trade_offs = Visit(_TITLE, TradeOffsPage)
