"""The page "set-up speed": choose a set-up before a run."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import ipywidgets as widgets
import plotly.graph_objects as go

from pwindow.charts import update_figure, window_figure
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels import words
from pwindow.panels.controls import RequirementEditor, SetupControls
from pwindow.panels.guard import guarded
from pwindow.panels.state import (
    Evidence,
    ask,
    first_judgeable,
    given_evidence,
    loaded_evidence,
    reshaped,
)
from pwindow.product import Product

_FULL = widgets.Layout(width="100%")
_FORMS = {"second order": "all", "second order, free to bend": "bending"}


class SetUpSpeed:
    """The page; `widget` is what to display."""

    def __init__(self, evidence: Evidence):
        self.problem = widgets.HTML(layout=_FULL)
        guard = guarded(self._tell)
        self.controls = SetupControls(
            guard(self._choose_product), guard(self._choose_level), guard(self._choose_setup)
        )
        self.editor = RequirementEditor(guard(self._change_limits))
        self.upload = widgets.FileUpload(
            description="Load trial or product files…",
            multiple=True,
            accept=".csv,.txt,.tsv,.xlsx,.parquet,.toml",
            layout=_FULL,
            tooltip="A trial (CSV, XLSX, Parquet), a product or a study (TOML), or several together",
        )
        self.upload.observe(guard(self._load), "value")
        self.form = widgets.Dropdown(
            description="Surfaces", options=_FORMS, style={"description_width": "112px"}, layout=_FULL
        )
        self.form.observe(guard(self._reshape), "value")
        self.back = widgets.Button(description="Look at the recommended set-up", layout=_FULL)
        self.back.on_click(guard(lambda _button: self._show(self.question.start())))
        self.busy = widgets.HTML()
        self.evidence_line, self.answer, self.setup, self.neighbours, self.bands, self.downloads = (
            widgets.HTML(layout=_FULL) for _ in range(6)
        )
        self.figure: go.FigureWidget | None = None
        self.evidence = evidence
        self.question = first_judgeable(evidence, None)
        self._show(self.question.start())
        self.widget = self._arrange()

    def _arrange(self) -> widgets.Widget:
        left = widgets.VBox(
            [
                _heading("Set-up"),
                *self.controls.box,
                self.back,
                _heading("Requirements"),
                self.editor.box,
                _heading("Fit"),
                self.form,
                _heading("Your own data"),
                self.upload,
                self.busy,
            ]
        )
        details = widgets.HBox([self.setup, self.neighbours])
        right = widgets.VBox([self.answer, self.figure, self.downloads, details, self.bands])
        for box, name in ((left, "pw-controls"), (right, "pw-results"), (details, "pw-details")):
            box.add_class(name)
        body = widgets.HBox([left, right])
        body.add_class("pw-body")
        title = widgets.HTML("<h1 class='pw-title'>Set-up speed</h1>")
        page = widgets.VBox([title, self.evidence_line, self.problem, body, widgets.HTML(words.CAUTION)])
        page.add_class("pw-page")
        return page

    def _tell(self, reasons: list[str]) -> None:
        self.problem.value = words.problem_banner(reasons) if reasons else ""

    def _choose_product(self, name: str) -> None:
        try:
            question = ask(self.evidence, self.evidence.products[name])
        except UnusableInput:
            self.controls.show(self.evidence, self.question, self.controls.setup(self.question))
            raise
        self.question = question
        self._show(question.start())

    def _choose_level(self, level: float) -> None:
        setup = self.controls.setup(self.question)
        self._replace_product(self.question.product.with_assurance(round(level, 4)))
        self._show(setup)

    def _change_limits(self, edited) -> None:
        setup = self.controls.setup(self.question)
        self._replace_product(edited())
        self._show(setup, limits=False)

    def _replace_product(self, product: Product) -> None:
        evidence = replace(self.evidence, products={**self.evidence.products, product.name: product})
        self.question = ask(evidence, product)
        self.evidence = evidence

    def _choose_setup(self) -> None:
        self._show_setup(self.controls.setup(self.question))

    def _reshape(self, change) -> None:
        setup = self.controls.setup(self.question)
        self.busy.value = "<p role='status'>Fitting…</p>"
        try:
            evidence = reshaped(self.evidence, change["new"])
            question = ask(evidence, self.question.product)
        finally:
            self.busy.value = ""
        self.evidence, self.question = evidence, question
        self._show(setup)

    def _load(self, change) -> None:
        if not change["new"]:
            return
        files = [InputFile(item["name"], bytes(item["content"])) for item in change["new"]]
        self.busy.value = "<p role='status'>Reading and fitting…</p>"
        try:
            evidence, added = loaded_evidence(files, self.evidence)
            question = first_judgeable(evidence, added or self.question.product.name)
            setup = question.start()
        finally:
            self.busy.value = ""
            self.upload.value = ()
        self.evidence, self.question = evidence, question
        self._show(setup)

    def _show(self, setup, limits: bool = True) -> None:
        """Show everything for the question as it is now."""
        self.controls.show(self.evidence, self.question, setup)
        if limits:
            self.editor.show(self.question.product)
        self.evidence_line.value = words.evidence_line(self.evidence.surfaces)
        self.answer.value = (
            words.answer_card(self.question)
            + words.window_notes(self.question)
            + words.finding_list(self.evidence.findings)
        )
        self.bands.value = words.band_table(self.question)
        self.downloads.value = words.downloads(self.question)
        self._show_setup(setup)

    def _show_setup(self, setup) -> None:
        """Show what depends on the set-up looked at; the picture first."""
        content = self.question.content(setup)
        if self.figure is None:
            self.figure = go.FigureWidget(window_figure(content))
            self.figure._config = {"displaylogo": False, "responsive": True, "displayModeBar": True}
        else:
            with self.figure.batch_update():
                update_figure(self.figure, content)
        self.setup.value = words.setup_card(self.question, setup)
        self.neighbours.value = words.neighbour_card(self.question, setup)


def _heading(text: str) -> widgets.HTML:
    return widgets.HTML(f"<h2>{text}</h2>")


def get_ready() -> None:
    """Do what takes time and needs no visitor: imports and the fit. What fails is told by the page."""
    import plotly.basewidget  # noqa: F401

    with suppress(UnusableInput):
        _ = given_evidence().findings


def set_up_speed() -> widgets.Widget:
    """The page on the evidence that the server was started with; says why where it has none."""
    try:
        return SetUpSpeed(given_evidence()).widget
    except UnusableInput as problem:
        return widgets.HTML(
            "<h1 class='pw-title'>Set-up speed</h1>" + words.problem_banner(problem.reasons, kept=False)
        )
