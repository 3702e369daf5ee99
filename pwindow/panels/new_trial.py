"""The page "new trial data": keep a trial, see whether it agrees, decide about it, fit anew."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import plotly.graph_objects as go

from pwindow.charts import agreement_figure, before_after_figure
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels import words
from pwindow.panels.guard import guarded
from pwindow.panels.state import given_archive, given_declarations
from pwindow.surfaces.agreement import add_trial, hold_against
from pwindow.surfaces.surfaces import fit
from pwindow.trials.archive import Archive
from pwindow.window.refits import kept_fit, refit, windows_side_by_side

_FULL = widgets.Layout(width="100%")
_TITLE = "New trial data"


class NewTrialData:
    """The page; `widget` is what to display."""

    def __init__(self, archive: Archive, products: Sequence[InputFile], study: InputFile | None):
        self.archive, self.products, self.study = archive, products, study
        self.problem, self.line, self.table, self.told, self.compared, self.busy = (
            widgets.HTML(layout=_FULL) for _ in range(6)
        )
        self.agreement, self.windows = widgets.VBox(layout=_FULL), widgets.VBox(layout=_FULL)
        guard = guarded(self._tell)
        self.upload = widgets.FileUpload(
            description="Add a trial file…",
            accept=".csv,.txt,.tsv,.xlsx,.parquet",
            layout=_FULL,
            tooltip="CSV, XLSX or Parquet; it is kept as it came, and waits for your decision",
        )
        self.upload.observe(guard(self._add), "value")
        self.trial = widgets.Dropdown(description="Trial", layout=_FULL, style={"description_width": "60px"})
        self.reason = widgets.Text(
            description="Reason",
            layout=_FULL,
            style={"description_width": "60px"},
            placeholder="in a few words",
        )
        self.decisions = [
            self._button(text, tooltip, guard(lambda _button, standing=standing: self._decide(standing)))
            for text, standing, tooltip in (
                ("Same process", "same process", "Fits use it as more prints of the same process"),
                ("Changed process", "changed process", "Predictions are for how the process is since"),
                ("Set aside", "set aside", "Fits do not use it; it stays in the archive"),
            )
        ]
        self.compare = self._button(
            "Hold it against the others", "Against the fit of the trials that are used", guard(self._hold)
        )
        self.refit = self._button(
            "Fit anew", "Fit the trials that are used, and compare with the last fit", guard(self._refit)
        )
        self._show()
        self.widget = self._arrange()

    @staticmethod
    def _button(text: str, tooltip: str, act) -> widgets.Button:
        button = widgets.Button(description=text, tooltip=tooltip, layout=_FULL)
        button.on_click(act)
        return button

    def _arrange(self) -> widgets.Widget:
        left = widgets.VBox(
            [
                _heading("1 · Add"),
                self.upload,
                _heading("2 · Decide"),
                self.trial,
                self.compare,
                self.reason,
                *self.decisions,
                _heading("3 · Fit"),
                self.refit,
                self.busy,
            ]
        )
        right = widgets.VBox([self.told, self.agreement, self.compared, self.windows, self.table])
        left.add_class("pw-controls")
        right.add_class("pw-results")
        body = widgets.HBox([left, right])
        body.add_class("pw-body")
        title = widgets.HTML(f"<h1 class='pw-title'>{_TITLE}</h1>")
        page = widgets.VBox([title, self.line, self.problem, body, widgets.HTML(words.CAUTION)])
        page.add_class("pw-page")
        return page

    def _tell(self, reasons: list[str]) -> None:
        self.problem.value = words.problem_banner(reasons) if reasons else ""

    def _working(self, what: str) -> None:
        self.busy.value = f"<p role='status'>{what}</p>" if what else ""

    def _add(self, change) -> None:
        if not change["new"]:
            return
        item = change["new"][0]
        self._working("Reading, keeping and comparing…")
        try:
            new = add_trial(self.archive, InputFile(item["name"], bytes(item["content"])))
        finally:
            self._working("")
            self.upload.value = ()
        self._clear()
        self._show(new.added.trial)
        self.told.value = words.added_card(new, self.archive.trials().loc[new.added.trial, "standing"])
        self._draw(self.agreement, None if new.agreement is None else agreement_figure(new.agreement))

    def _hold(self, _button) -> None:
        number = self._chosen()
        others = [at for at in self.archive.trial().numbers if at != number]
        if not others:
            raise UnusableInput("no other trial is used in fits: there is nothing to hold this one against")
        self._working("Comparing…")
        try:
            found = hold_against(fit(self.archive.trial(others)), self.archive.trial([number]))
        finally:
            self._working("")
        self._clear()
        self.told.value = words.agreement_card(found)
        self._draw(self.agreement, agreement_figure(found))

    def _decide(self, standing: str) -> None:
        number = self._chosen()
        self.archive.decide(number, standing, self.reason.value)
        self.reason.value = ""
        self._clear()
        self._show(number)
        self.told.value = words.decision_card(self.archive.trials().loc[number])

    def _refit(self, _button) -> None:
        before = self.archive.fits()
        self._working("Fitting, and judging the products…")
        try:
            now = refit(self.archive, self.products, self.study)
            earlier = before[before["fingerprint"] != now.fingerprint]
            last = kept_fit(self.archive, str(earlier.index[-1])) if len(earlier) else None
            shown = None if last is None else windows_side_by_side(self.archive, last, now)
        finally:
            self._working("")
        self._clear()
        self._show()
        self.compared.value = words.refit_card(last, now)
        self._draw(self.windows, None if shown is None else before_after_figure(shown))

    def _clear(self) -> None:
        """What was told before is not about what was done last."""
        self.told.value = self.compared.value = ""
        self._draw(self.agreement, None)
        self._draw(self.windows, None)

    def _chosen(self) -> int:
        if self.trial.value is None:
            raise UnusableInput("the archive has no trial yet; add one")
        return self.trial.value

    def _show(self, chosen: int | None = None) -> None:
        trials, fits = self.archive.trials(), self.archive.fits()
        self.line.value = words.archive_line(self.archive.address, trials, fits)
        self.table.value = words.trial_table(trials)
        chosen = self.trial.value if chosen is None else chosen
        self.trial.options = [(f"{number} · {name}", number) for number, name in trials["name"].items()]
        if len(trials):
            self.trial.value = int(trials.index[-1]) if chosen is None else chosen

    @staticmethod
    def _draw(place: widgets.VBox, figure: go.Figure | None) -> None:
        before = place.children
        place.children = [] if figure is None else [go.FigureWidget(figure)]
        for child in before:
            child.close()


def _heading(text: str) -> widgets.HTML:
    return widgets.HTML(f"<h2>{text}</h2>")


def new_trial_data() -> widgets.Widget:
    """The page on the archive that the server was started with; says why where it has none."""
    try:
        return NewTrialData(given_archive(), *given_declarations()).widget
    except UnusableInput as problem:
        return widgets.HTML(
            f"<h1 class='pw-title'>{_TITLE}</h1>" + words.problem_banner(problem.reasons, kept=False)
        )
