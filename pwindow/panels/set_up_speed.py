"""The page "set-up speed": choose a set-up before a run."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets
import plotly.graph_objects as go

from pwindow.charts import same_form, update_figure, window_figure
from pwindow.charts.window_map import HEIGHT
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels import words
from pwindow.panels.address import Address, address_of, open_at
from pwindow.panels.controls import RequirementEditor, SetupControls
from pwindow.panels.frame import Frame, clock, facts, heading
from pwindow.panels.pictures import Place
from pwindow.panels.state import (
    Evidence,
    Setup,
    ask,
    first_judgeable,
    loaded_evidence,
    replaced_product,
    reshaped,
    why_not,
)
from pwindow.panels.visit import Visit
from pwindow.product import Product
from pwindow.trials.summary import make_readies
from pwindow.wording import counted

_FULL = widgets.Layout(width="100%")
_FORMS = {"second order": "all", "second order, free to bend": "bending"}
_TITLE = "Set-up speed"


class SetUpSpeed:
    """The page; `widget` is what to display."""

    def __init__(self, evidence: Evidence):
        self.frame = Frame(_TITLE, lambda palette: self.place.colour(palette))
        guard = self.frame.guard
        self.controls = SetupControls(
            guard(self._choose_product), guard(self._choose_level), guard(self._choose_setup)
        )
        self.editor = RequirementEditor(self._change_limits, guard)
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
        self.answer, self.shortfall, self.setup, self.neighbours, self.bands = (
            widgets.HTML(layout=_FULL) for _ in range(5)
        )
        self.place = Place(self.frame.palette, HEIGHT, "set-up-speed")
        self.evidence, self.declared = evidence, dict(evidence.products)
        self.question = first_judgeable(evidence, None)
        self._show(self.question.start())
        self.widget = self._arrange()

    def _arrange(self) -> widgets.Widget:
        left = widgets.VBox(
            [
                heading("Set-up"),
                *self.controls.box,
                self.back,
                heading("Requirements"),
                self.editor.box,
                heading("Fit"),
                self.form,
                heading("Your own data"),
                self.upload,
                self.busy,
            ]
        )
        details = widgets.HBox([self.setup, self.neighbours])
        right = widgets.VBox([self.answer, self.place, self.shortfall, details, self.bands])
        for box, name in ((left, "pw-controls"), (right, "pw-results"), (details, "pw-details")):
            box.add_class(name)
        self.answer.add_class("pw-answer-room")
        body = widgets.HBox([left, right])
        body.add_class("pw-body")
        return self.frame.around(body)

    @property
    def figure(self) -> go.FigureWidget | None:
        return self.place.figure

    def open_at(self, query: str | None) -> None:
        """Show what the query of the page's address asks for, as far as it can be shown."""
        address, told = Address.read(query)
        opened = open_at(address, self.evidence, self.question)
        self.frame.open_at(address, (*told, *opened.told))
        self.place.colour(self.frame.palette)
        if opened.question.product != self.question.product or opened.setup != self._setup():
            self.evidence, self.question = opened.question.evidence, opened.question
            self.place.show(None)  # repainting reaches pages that are open, and this one is not yet
            self._show(opened.setup)

    def _setup(self) -> Setup:
        return self.controls.setup(self.question)

    def _choose_product(self, name: str) -> None:
        try:
            question = ask(self.evidence, self.evidence.products[name])
        except UnusableInput:
            self.controls.show(self.evidence, self.question, self._setup())
            raise
        self.question = question
        self._show(question.start())

    def _choose_level(self, level: float) -> None:
        setup = self._setup()
        self._replace_product(self.question.product.with_assurance(round(level, 4)))
        self._show(setup)

    def _change_limits(self, edited) -> None:
        setup = self._setup()
        self._replace_product(edited())
        self._show(setup, limits=False)

    def _replace_product(self, product: Product) -> None:
        evidence = replaced_product(self.evidence, product)
        self.question = ask(evidence, product)
        self.evidence = evidence

    def _choose_setup(self) -> None:
        self._show_setup(self._setup())

    def _reshape(self, change) -> None:
        setup = self._setup()
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
            wanted = added or self.question.product.name
            question = first_judgeable(evidence, wanted)
            setup = question.start()
        finally:
            self.busy.value = ""
            self.upload.value = ()
        if question.product.name != wanted:
            self.busy.value = words.passed_over(wanted, why_not(evidence, wanted), question.product.name)
        products = self.evidence.products
        self.declared |= {
            name: found for name, found in evidence.products.items() if found is not products.get(name)
        }
        self.evidence, self.question = evidence, question
        self._show(setup)

    def _show(self, setup: Setup, limits: bool = True) -> None:
        """Show everything for the question as it is now, the picture first."""
        self.controls.show(self.evidence, self.question, setup)
        self._show_setup(setup)
        if limits:
            self.editor.show(self.question.product)
        self.frame.facts.value = evidence_facts(self.evidence, self.question.product)
        self.answer.value = (
            words.answer_card(self.question)
            + words.window_notes(self.question)
            + words.finding_list(self.evidence.findings)
        )
        self.shortfall.value = words.shortfall_list(self.question)
        self.bands.value = words.band_table(self.question)
        self.place.beside(words.downloads(self.question))

    def _show_setup(self, setup: Setup) -> None:
        """Show what depends on the set-up looked at, the picture first."""
        content = self.question.content(setup)
        if self.figure is None or not same_form(self.figure, content):
            self.place.show(lambda palette: window_figure(self.question.content(self._setup()), palette))
        else:
            with self.figure.batch_update():
                update_figure(self.figure, content, self.frame.palette)
        self.setup.value = words.setup_card(self.question, setup)
        self.neighbours.value = words.neighbour_card(self.question, setup)
        declared = self.declared[self.question.product.name]
        self.frame.put_address(address_of(self.question, setup, declared))


def evidence_facts(evidence: Evidence, product: Product) -> str:
    """Which trials, which fit, which product, and when that was read."""
    surfaces, trial = evidence.surfaces, evidence.surfaces.trial
    readies = make_readies(trial)
    mounted = (
        "make-readies not recorded"
        if readies is None
        else f"in {counted(readies, 'make-ready', 'make-readies')}"
    )
    fitted = ", ".join(surface.kind.label for surface in surfaces.by_name.values())
    return facts(
        (
            "Trials",
            f"{escape(', '.join(trial.files))}: <b>{len(trial.prints)} prints</b>, {mounted}",
        ),
        (
            "Fit",
            f"second-order surfaces{', free to bend,' if surfaces.bends else ''} of {fitted}, <code>{surfaces.fingerprint}</code>",
        ),
        ("Product", escape(product.name)),
        ("Read and fitted", f"{clock(evidence.made)}, from {evidence.source}"),
    )


set_up_speed = Visit(_TITLE, SetUpSpeed)
