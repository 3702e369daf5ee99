"""The page "set-up speed": choose a set-up before a run."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import plotly.graph_objects as go

from pwindow.charts.palette import palette_named
from pwindow.charts.window_map import HEIGHT
from pwindow.charts.window_picture import same_form, update_figure, window_figure
from pwindow.errors import SeveralSheets, UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels.set_up_speed import view
from pwindow.panels.shared import words
from pwindow.panels.shared.address import FORMS, UNRECORDED, Address, address_of, open_at
from pwindow.panels.shared.controls import RequirementEditor, SetupControls
from pwindow.panels.shared.frame import Frame, evidence_facts, heading
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.question import Question, ask, first_judgeable, kept_setup, question_of
from pwindow.panels.shared.session import Session
from pwindow.panels.shared.sheets import SheetChoice
from pwindow.panels.shared.visit import Visit
from pwindow.product import Product
from pwindow.surfaces import Form
from pwindow.window.setup import Setup
from pwindow.workflows.evidence import Evidence, NothingToJudge, replaced_product, reshaped, why_not

_FORMS = dict(zip(("second order", "second order, free to bend"), FORMS))
_READIES = dict(zip(("not recorded", "each print mounted anew", "one for each roll and plate"), UNRECORDED))
_TITLE = "Set-up speed"


class SetUpSpeed:
    """The page; `widget` is what to display."""

    def __init__(self, evidence: Evidence):
        self.frame = Frame(_TITLE, lambda palette: self.place.colour(palette))
        guard = self.frame.guard
        self.controls = SetupControls(
            guard(self._choose_product), guard(self._choose_level), guard(self._choose_setup), guard
        )
        self.editor = RequirementEditor(self._change_limits, guard)
        self.upload = widgets.FileUpload(
            description="Load trial or product files…",
            multiple=True,
            accept=".csv,.txt,.tsv,.xlsx,.parquet,.toml",
            layout=full_width(),
            tooltip="A trial (CSV, XLSX, Parquet), a product or a study (TOML), or several together",
        )
        self.frame.take_files(self.upload, self._load)
        self.sheets = SheetChoice(guard, self._load)
        self.form = widgets.Dropdown(
            description="Surfaces", options=_FORMS, style={"description_width": "112px"}, layout=full_width()
        )
        self.form.observe(self._choose_fit, "value")
        self.readies = widgets.Dropdown(
            description="Make-readies",
            options=_READIES,
            style={"description_width": "112px"},
            layout=widgets.Layout(width="100%", display="none"),
        )
        self.readies.observe(self._choose_fit, "value")
        self.back = widgets.Button(description="Look at the recommended set-up", layout=full_width())
        self.back.on_click(guard(lambda _button: self._show(self.asked.start())))
        self._showing_fit = False
        self.busy = widgets.HTML()
        self.answer, self.shortfall, self.setup, self.neighbours, self.bands = (
            widgets.HTML(layout=full_width()) for _ in range(5)
        )
        self.place = Place(self.frame.palette, HEIGHT, "set-up-speed")
        self.evidence = evidence
        self.question: Question | None = None
        self._left, self._right = widgets.VBox(), widgets.VBox()
        self._details = widgets.HBox([self.setup, self.neighbours])
        self.widget = self._arrange()
        self._start(Session(), evidence)

    def _arrange(self) -> widgets.Widget:
        named = (self._left, "pw-controls"), (self._right, "pw-results"), (self._details, "pw-details")
        for box, name in named:
            box.add_class(name)
        self.answer.add_class("pw-answer-room")
        body = widgets.HBox([self._left, self._right])
        body.add_class("pw-body")
        return self.frame.around(body)

    def _lay_out(self) -> None:
        """What stands on the page: all of it, or the way to load what is missing."""
        asked = [
            heading("Set-up"),
            *self.controls.box,
            self.back,
            heading("Requirements"),
            self.editor.box,
            heading("Fit"),
            self.form,
            self.readies,
        ]
        load = [heading("Your own data"), self.upload, self.busy, self.sheets.box]
        shown = self.question is not None
        self._left.children = [*(asked if shown else []), *load]
        answers = [self.place, self.shortfall, self._details, self.bands]
        self._right.children = [self.answer, *(answers if shown else [])]

    @property
    def figure(self) -> go.FigureWidget | None:
        return self.place.figure

    @property
    def asked(self) -> Question:
        """The question that the page shows; raises NothingToJudge where it waits for a trial or a product."""
        if self.question is None:
            raise NothingToJudge("there is no trial yet, or none that can judge a product here")
        return self.question

    def open_at(self, query: str | None) -> None:
        """Show what the query of the page's address asks for, as far as it can be shown."""
        address, told = Address.read(query)
        session, evidence, missing = Session.opened(address.data, self.evidence)
        self.frame.palette = palette_named(address.colours)
        self.place.colour(self.frame.palette)
        if evidence is not self.evidence:
            self._start(session, evidence, address.product)
        opened = None if self.question is None else open_at(address, self.evidence, self.question)
        if opened is not None and (opened.question is not self.question or opened.setup != self._setup()):
            self.evidence, self.question = opened.question.evidence, opened.question
            self.place.show(None)  # repainting reaches pages that are open, and this one is not yet
            self._show(opened.setup)
        self.frame.open_at(address, (*told, *missing, *(() if opened is None else opened.told)))

    def _start(self, session: Session, evidence: Evidence, wanted: str | None = None) -> None:
        """Stand on other evidence: at the recommended set-up, or the closest."""
        self.session, self.evidence, self.declared = session, evidence, dict(evidence.products)
        try:
            self._stand_on(evidence, first_judgeable(evidence, wanted))
        except NothingToJudge as problem:
            self._wait(problem)

    def _stand_on(self, evidence: Evidence, question: Question) -> None:
        waited = self.question is None
        self.evidence, self.question = evidence, question
        if waited:
            self._lay_out()
        self._show(question.start())

    def _wait(self, problem: NothingToJudge) -> None:
        """Say what is missing; nothing else can be shown."""
        self.question = None
        self.place.show(None)
        self.frame.facts.value = evidence_facts(self.evidence)
        self.answer.value = words.waiting_card(self.evidence, problem.why, self.session.data, here=True)
        self._lay_out()
        self.frame.put_address(Address(data=self.session.data))

    def _setup(self) -> Setup:
        return self.controls.setup(self.asked)

    def _choose_product(self, name: str) -> None:
        try:
            question = question_of(self.evidence, name)
        except UnusableInput:
            self.controls.show(self.evidence, self.asked, self._setup())
            raise
        self.question = question
        self._show(question.start())

    def _choose_level(self, level: float) -> None:
        self._replace_product(self.asked.product.with_assurance(round(level, 4)))

    def _change_limits(self, edited: Product) -> None:
        self._replace_product(edited, limits=False)

    def _replace_product(self, product: Product, *, limits: bool = True) -> None:
        evidence = replaced_product(self.evidence, product)
        self._ask_again(evidence, ask(evidence, product), limits=limits)

    def _ask_again(self, evidence: Evidence, question: Question, *, limits: bool = True) -> None:
        """Another question on the same trial: a set-up that the visitor chose stays, else the page follows."""
        setup = kept_setup(self.asked, question, self._setup())
        self.evidence, self.question = evidence, question
        self._show(setup, limits=limits)

    def _choose_setup(self) -> None:
        self._show_setup(self._setup())

    def _choose_fit(self, _change: object) -> None:
        if self._showing_fit:
            return
        terms = self.form.value
        unrecorded = None if self.evidence.unrecorded is None else self.readies.value
        if (terms, unrecorded) != (self.evidence.terms, self.evidence.unrecorded):
            self.frame.guard(self._reshape)(terms, unrecorded)

    def _reshape(self, terms: Form, unrecorded: str | None) -> None:
        self.busy.value = words.working("fitting")
        try:
            evidence = reshaped(self.evidence, terms, unrecorded)
            question = ask(evidence, self.asked.product)
        except UnusableInput:
            self._show_fit()
            raise
        finally:
            self.busy.value = ""
        self._ask_again(evidence, question)

    def _show_fit(self) -> None:
        """How the evidence was fitted, as far as the page offers it; make-readies where they are not recorded."""
        self._showing_fit = True
        try:
            if self.evidence.terms in _FORMS.values():
                self.form.value = self.evidence.terms
            self.readies.layout.display = "none" if self.evidence.unrecorded is None else None
            self.readies.value = self.evidence.unrecorded or ""
        finally:
            self._showing_fit = False

    def _load(self, files: Sequence[InputFile]) -> None:
        self.sheets.close()
        self.busy.value = words.working("reading and fitting")
        try:
            session, evidence, added = self.session.load(files, self.evidence)
        except SeveralSheets as problem:
            self.sheets.offer(files, problem)
            return
        finally:
            self.busy.value = ""
        products = self.evidence.products
        self.declared |= {
            name: found for name, found in evidence.products.items() if found is not products.get(name)
        }
        wanted = added or (None if self.question is None else self.question.product.name)
        self.session, self.evidence = session, evidence
        try:
            self._stand_on(evidence, first_judgeable(evidence, wanted))
        except NothingToJudge as problem:
            self._wait(problem)
        if self.question is not None and wanted not in (None, self.question.product.name):
            why = why_not(evidence, wanted)
            self.frame.say(view.passed_over(wanted, why, self.question.product.name))

    def _show(self, setup: Setup, *, limits: bool = True) -> None:
        """Show everything for the question as it is now, the picture first."""
        self.controls.show(self.evidence, self.asked, setup)
        self._show_fit()
        self._show_setup(setup)
        if limits:
            self.editor.show(self.asked.product)
        self.frame.facts.value = evidence_facts(self.evidence, self.asked.product)
        self.answer.value = (
            view.answer_card(self.asked)
            + view.window_notes(self.asked)
            + view.finding_list(self.evidence.findings)
            + words.trial_notes(self.evidence)
        )
        self.shortfall.value = view.shortfall_list(self.asked)
        self.bands.value = view.band_table(self.asked)
        self.place.beside(view.downloads(self.asked))

    def _show_setup(self, setup: Setup) -> None:
        """Show what depends on the set-up looked at, the picture first."""
        content = self.asked.content(setup)
        if self.figure is None or not same_form(self.figure, content):
            self.place.show(lambda palette: window_figure(self.asked.content(self._setup()), palette))
        else:
            with self.figure.batch_update():
                update_figure(self.figure, content, self.frame.palette)
        self.setup.value = view.setup_card(self.asked, setup)
        self.neighbours.value = view.neighbour_card(self.asked, setup)
        declared, self.session = self.declared[self.asked.product.name], self.session.stayed()
        self.frame.put_address(address_of(self.asked, setup, declared, self.session.data))


set_up_speed = Visit(_TITLE, SetUpSpeed)
