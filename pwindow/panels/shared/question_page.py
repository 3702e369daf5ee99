"""What pages on a question do alike: the question changes, all is shown again, and the address tells it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Sequence
from dataclasses import replace

import ipywidgets as widgets

from pwindow.charts.palette import Palette, palette_named
from pwindow.errors import UnitProblem, UnusableInput
from pwindow.panels.shared.address import Address, Opened
from pwindow.panels.shared.controls import ChangedRequirements, RequirementEditor, SetupControls
from pwindow.panels.shared.frame import Frame
from pwindow.panels.shared.in_use import InUse
from pwindow.panels.shared.inquiry import Inquiry
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.question import Question, kept_setup, question_of
from pwindow.panels.shared.session import Session
from pwindow.panels.shared.units_menu import UnitsMenu
from pwindow.panels.shared.words import waiting_card
from pwindow.product import Product
from pwindow.window.setup import Setup
from pwindow.wording import METRIC, Units, chosen_units
from pwindow.workflows.evidence import UPLOADED, Evidence


class QuestionPage(ABC):
    """A page on a question. A page of its own makes its widgets, says where they stand, and starts.

    Parameters
    ----------
    title : str

    Attributes
    ----------
    widget : Widget
        What to display.
    inquiry : Inquiry
        What the page stands on now.
    left, right : VBox
        Where controls and results stand.
    own : collection of str
        Names of the address that are this page's alone.
    takes_files : bool
        Whether files are loaded on this very page.
    """

    own: Collection[str] = ()
    takes_files = False
    inquiry: Inquiry

    def __init__(self, title: str):
        self.frame = Frame(title, self._colour)
        guard = self.frame.guard
        self.controls = SetupControls(
            guard(self._choose_product),
            guard(self._choose_level),
            guard(self._choose_confidence),
            guard(self._show_chosen),
            guard,
        )
        self.editor = RequirementEditor(self._change_limits, guard)
        self.changed = ChangedRequirements(self._undo_changes, guard)
        self.in_use = InUse()
        self.units_menu = UnitsMenu(self._take_units, guard)
        self.answer = widgets.HTML(layout=full_width())
        self.answer.add_class("pw-answer-room")
        self.left, self.right = widgets.VBox(), widgets.VBox()
        self.left.add_class("pw-controls")
        self.right.add_class("pw-results")
        body = widgets.HBox([self.left, self.right])
        body.add_class("pw-body")
        self.widget = self.frame.around(body)

    @abstractmethod
    def _lay_out(self) -> None:
        """Put in their places all widgets of the page, or those that help on where there is no question."""

    @abstractmethod
    def _colour(self, palette: Palette) -> None:
        """Draw figures in other colours."""

    @abstractmethod
    def _clear_pictures(self) -> None:
        """Have pictures drawn again: repainting reaches pages that are open, and one at its address is not yet."""

    @abstractmethod
    def _open_question(self, address: Address, query: str | None) -> Sequence[str]:
        """Show the question and the set-up of an address; gives what of it could not be used."""

    @abstractmethod
    def _show_answers(self, setup: Setup) -> None:
        """Show all that the question has to say, at a set-up."""

    @abstractmethod
    def _show_setup(self, setup: Setup) -> None:
        """Show what depends on the set-up looked at, and tell the address."""

    @property
    def evidence(self) -> Evidence:
        return self.inquiry.evidence

    @property
    def question(self) -> Question | None:
        return self.inquiry.question

    @property
    def asked(self) -> Question:
        """The question that the page shows; raises NothingToJudge where it waits for a trial or a product."""
        return self.inquiry.asked

    @property
    def session(self) -> Session:
        return self.inquiry.session

    def open_at(self, query: str | None) -> None:
        """Show what the query of the page's address asks for, as far as it can be shown."""
        address, left_out = Address.read(query, self.own)
        session, evidence, missing = Session.opened(address.data, self.evidence)
        self.frame.palette = palette_named(address.colours)
        self._colour(self.frame.palette)
        if evidence is not self.evidence:
            self._start(Inquiry.on(session, evidence, wanted=address.product))
        unread = self._take_units(address.units)
        opened = () if self.question is None else self._open_question(address, query)
        self.frame.open_at(address, (*left_out, *missing, *unread, *opened))

    @property
    def units(self) -> Units:
        """What the page shows numbers in."""
        return self._units_named(self.frame.units)

    def _units_named(self, name: str | None) -> Units:
        """Units as of `Address`; raises UnitProblem where the trial does not have them."""
        surfaces = self.evidence.surfaces
        return METRIC if surfaces is None else chosen_units(name or "", surfaces.trial.units)

    def _take_units(self, name: str | None) -> tuple[str, ...]:
        """Show numbers in other units; gives why not where the trial does not have them."""
        before, why = self.frame.units, self._set_units(name)
        if self.question is not None and self.frame.units != before:
            self._clear_pictures()
            self._ask(self.asked, self._setup())
        return why

    def _set_units(self, name: str | None) -> tuple[str, ...]:
        try:
            self._units_named(name)
        except UnitProblem as problem:
            self.frame.units = None
            return (f"units={name}: {problem}; ignored",)
        self.frame.units = name
        return ()

    def _differs(self, opened: Opened) -> bool:
        """Whether an address asks for something else than what is shown."""
        return opened.question is not self.question or opened.setup != self._setup()

    def _start(self, inquiry: Inquiry) -> None:
        """Stand on other evidence: at the recommended set-up, or the closest; or say what is missing."""
        self.inquiry = inquiry
        self._set_units(self.frame.units)  # a trial in N/mm is not shown in psi
        if inquiry.question is None:
            self._wait()
        self._lay_out()
        if inquiry.question is not None:
            self._ask(inquiry.question, inquiry.question.start())

    def _wait(self) -> None:
        """Say what is missing; nothing else can be shown."""
        evidence, data = self.evidence, self.session.data
        self.frame.stand_on(evidence)
        self.answer.value = waiting_card(evidence, self.inquiry.why, data, here=self.takes_files)
        self.frame.put_address(self.inquiry.address())

    def _setup(self) -> Setup:
        """The set-up looked at."""
        return self.controls.setup(self.asked)

    def _choose_product(self, name: str) -> None:
        try:
            question = question_of(self.evidence, name)
        except UnusableInput:
            self.controls.show(self.evidence, self.asked, self._setup(), self.units)
            raise
        self._ask(question, question.start())

    def _choose_level(self, level: float) -> None:
        self._ask_again(self.inquiry.asked_with(self.asked.product.with_assurance(round(level, 4))))

    def _choose_confidence(self, confidence: float | None) -> None:
        self._ask_again(self.inquiry.asked_with(self.asked.product.with_confidence(confidence)))

    def _change_limits(self, edited: Product) -> None:
        self._ask_again(self.inquiry.asked_with(edited), limits=False)

    def _undo_changes(self) -> None:
        self._ask_again(self.inquiry.asked_with(self.inquiry.declared_product))

    def _ask_again(self, question: Question, *, limits: bool = True) -> None:
        """Another question on the same trial: a set-up that the visitor chose stays, else the page follows."""
        self._ask(question, kept_setup(self.asked, question, self._setup()), limits=limits)

    def _ask(self, question: Question, setup: Setup, *, limits: bool = True) -> None:
        """Show everything for a question; without `limits` what is typed as limits stays as it is."""
        self.inquiry = self.inquiry.asking(question)
        self.controls.show(self.evidence, question, setup, self.units)
        of_file = question.window.surfaces.trial.units
        self.units_menu.offer(of_file, self.units, self.frame.units)
        self.frame.stand_on(self.evidence, question.product)
        if limits:
            self.editor.show(question.product, self.units)
        self.changed.show(self.inquiry.declared_product, question.product, self.units)
        self._show_answers(setup)

    def _query(self, setup: Setup) -> str:
        """What of the address other pages are given too, at a set-up."""
        return replace(self.inquiry.address(setup), units=self.frame.units).query()

    def _show_chosen(self) -> None:
        self._show_setup(self._setup())

    def _tell_address(self, setup: Setup, own: str = "") -> None:
        """Have the browser show what opens at a set-up, with more of the query for this page alone."""
        self.inquiry = self.inquiry.stayed()
        self.frame.put_address(self.inquiry.address(setup), own)
        if self.evidence.source != UPLOADED and self.in_use.moved_on():
            self.frame.outdated()
