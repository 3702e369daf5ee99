"""The page "set-up speed": choose a set-up before a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import ipywidgets as widgets
import plotly.graph_objects as go

from pwindow.charts.map_content import MapContent, spot_chosen
from pwindow.charts.palette import Palette
from pwindow.charts.window_map import HEIGHT
from pwindow.charts.window_picture import same_form, update_figure, window_figure
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels.set_up_speed import view
from pwindow.panels.set_up_speed.model import MAKE_READIES, SURFACES, Fitted, fitted_as, with_files
from pwindow.panels.shared import words
from pwindow.panels.shared.address import Address, open_at
from pwindow.panels.shared.controls import WIDE
from pwindow.panels.shared.file_loading import FileLoading, replaces
from pwindow.panels.shared.frame import heading
from pwindow.panels.shared.inquiry import Inquiry
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.question_page import QuestionPage
from pwindow.panels.shared.served import height_in_place, served
from pwindow.panels.shared.session import Session
from pwindow.panels.shared.visit import Visit
from pwindow.window.setup import Setup
from pwindow.workflows.evidence import Evidence

_TITLE = "Set-up speed"


class SetUpSpeed(QuestionPage):
    """The page; `widget` is what to display."""

    takes_files = True

    def __init__(self, evidence: Evidence):
        super().__init__(_TITLE)
        self.loading = FileLoading(
            self.frame,
            self._load,
            "trial or product files",
            "A trial (CSV, XLSX, Parquet), a product or a study (TOML), or several together",
        )
        self.upload, self.sheets, self.busy = self.loading.upload, self.loading.sheets, self.loading.busy
        self.form = widgets.Dropdown(
            description="Surfaces", options=SURFACES, style=WIDE, layout=full_width()
        )
        self.readies = widgets.Dropdown(
            description="Make-readies",
            options=MAKE_READIES,
            style=WIDE,
            layout=widgets.Layout(width="100%", display="none"),
        )
        self._showing_fit = False
        for choice in (self.form, self.readies):
            choice.observe(self._choose_fit, "value")
        self.back = widgets.Button(description="Go to the recommended set-up", layout=full_width())
        self.back.on_click(self.frame.guard(lambda _button: self._ask(self.asked, self.asked.start())))
        self.steady = widgets.Button(
            description="Go to the most reliable speed", layout=widgets.Layout(width="100%")
        )
        self.steady.on_click(self.frame.guard(lambda _button: self._go_to_most_reliable()))
        self.at_once = widgets.Checkbox(
            description="Outline the joint region",
            tooltip="Stay inside where the set-up is to be moved during the run: there all set-ups together reach the "
            "assurance with the confidence asked for",
            indent=False,
            layout=widgets.Layout(width="100%"),
        )
        self.at_once.observe(self.frame.guard(lambda _change: self._draw(self._setup())), "value")
        self.shortfall, self.setup, self.neighbours, self.bands, self.untried = (
            widgets.HTML(layout=full_width()) for _ in range(5)
        )
        self.place = Place(
            self.frame.palette, name="set-up-speed", clicked=self.frame.guard(self._choose_spot)
        )
        self._arrange()
        self._start(Inquiry.on(Session(), evidence))

    def _arrange(self) -> None:
        self._choices = [
            heading("Set-up"),
            *self.controls.box,
            self.at_once,
            self.back,
            self.steady,
            heading("Requirements"),
            self.editor.box,
            self.changed.box,
            self.units_menu.widget,
            heading("Fit"),
            self.form,
            self.readies,
        ]
        self.place.add_class("pw-map")
        self._answers = [
            widgets.VBox([self.answer, self.shortfall, self.setup]).add_class("pw-card"),
            self.place,
            widgets.VBox([self.neighbours, self.bands, self.untried]).add_class("pw-more"),
        ]
        self.right.add_class("pw-three")

    def _lay_out(self) -> None:
        shown = self.question is not None
        self.left.children = [*(self._choices if shown else []), *self.loading.box]
        self.right.children = self._answers if shown else [self.answer]

    @property
    def figure(self) -> go.FigureWidget | None:
        return self.place.figure

    def _colour(self, palette: Palette) -> None:
        self.place.colour(palette)

    def _open_question(self, address: Address, query: str | None) -> Sequence[str]:
        opened = open_at(address, self.evidence, self.asked)
        if self._differs(opened):
            self._clear_pictures()
            self._ask(opened.question, opened.setup)
        return opened.left_out

    def _clear_pictures(self) -> None:
        self.place.show(None)

    def _wait(self) -> None:
        self._clear_pictures()
        super()._wait()

    def _choose_fit(self, _change: object) -> None:
        if self._showing_fit:
            return
        shown = Fitted.of(self.evidence)
        chosen = Fitted(self.form.value, None if shown.unrecorded is None else self.readies.value)
        if chosen != shown:
            self.frame.guard(self._refit)(chosen)

    def _refit(self, chosen: Fitted) -> None:
        self.busy.value = words.working("fitting")
        try:
            question = fitted_as(self.inquiry, chosen)
        except UnusableInput:
            self._show_fit()
            raise
        finally:
            self.busy.value = ""
        self._ask_again(question)

    def _show_fit(self) -> None:
        """How the evidence was fitted, as far as the page offers it; make-readies where they are not recorded."""
        shown, self._showing_fit = Fitted.of(self.evidence), True
        try:
            if shown.terms in SURFACES.values():
                self.form.value = shown.terms
            self.readies.layout.display = "none" if shown.unrecorded is None else None
            self.readies.value = shown.unrecorded or ""
        finally:
            self._showing_fit = False

    def _load(self, files: Sequence[InputFile]) -> None:
        loaded = with_files(self.inquiry, files)
        before = self.evidence
        self._start(loaded.inquiry)
        if replaces(before, self.evidence):
            self.frame.say(words.replaced(before, self.evidence))
        if loaded.passed_over is not None:
            self.frame.say(words.passed_over(*loaded.passed_over, self.asked.product.name))

    def _go_to_most_reliable(self) -> None:
        """The recommended set-up at the most reliable speed of its band."""
        best = self.asked.recommended
        if best is not None:
            self._ask(self.asked, replace(best.setup, speed=best.band.safest))

    def _choose_spot(self, x: float, y: float) -> None:
        """Select the speed and the roll next to a spot of the picture."""
        setup = self._setup()
        self._ask(self.asked, spot_chosen(self._content(setup), setup, x, y))

    def _show_answers(self, setup: Setup) -> None:
        question = self.asked
        self.steady.layout.display = "none" if question.recommended is None else None
        goal = "closest" if question.recommended is None else "recommended"
        self.back.description = f"Go to the {goal} set-up"
        self.at_once.layout.display = "none" if question.window.confidence is None else None
        self._show_fit()
        self._show_setup(setup)
        self.answer.value = (
            view.answer_card(question, self.units)
            + view.window_notes(question)
            + view.finding_list(self.evidence.findings(self.units))
            + words.trial_notes(self.evidence)
        )
        self.shortfall.value = words.shortfall_list(question.shortfall, self.units)
        self.bands.value = view.band_table(question, self.units)
        self.place.beside(view.downloads(question))

    def _show_setup(self, setup: Setup) -> None:
        self._draw(setup)
        documents = f"trade-offs.ipynb?{self._query(setup)}" if served() else ""
        self.setup.value = view.setup_card(self.asked, setup, self.units, documents)
        self.neighbours.value = view.neighbour_card(self.asked, setup, self.units)
        self.untried.value = view.untried_list(self.asked, setup, self.units)
        self._tell_address(setup)

    def _content(self, setup: Setup) -> MapContent:
        return self.asked.content(setup, self.units, at_once=self.at_once.value)

    def _draw(self, setup: Setup) -> None:
        """Repaint the picture, or draw it where it has another form."""
        content = self._content(setup)
        if self.figure is None or not same_form(self.figure, content):
            self.place.show(
                lambda palette: window_figure(self._content(self._setup()), palette, height_in_place(HEIGHT))
            )
        else:
            with self.figure.batch_update():
                update_figure(self.figure, content, self.frame.palette)


set_up_speed = Visit(_TITLE, SetUpSpeed)
