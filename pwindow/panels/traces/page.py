"""The page "traces": scans, what was measured on each, and what is decided about them."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from pwindow.charts.scan_picture import HEIGHT, scan_figure
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.decisions import Verdict, decision_on, read_stretches, stretch_words
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.fields import Refusal
from pwindow.panels.shared.frame import Frame, heading, made
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.work import Work
from pwindow.panels.traces import view
from pwindow.workflows.scanned import Scan, ScanSet, given_scans

_TITLE = "Traces"
_FILES = ".csv,.txt,.tsv,.x3p,.sdf,.xlsx,.parquet,.toml"
_SOON = 40  # scans that are measured as the page opens; more are measured when asked for
_NARROW = {"description_width": "60px"}
_SHOWN = 9  # of the list of scans at a time


class Traces:
    """The page; `widget` is what to display.

    Parameters
    ----------
    scans : ScanSet
    """

    def __init__(self, scans: ScanSet):
        self.scans = scans
        self.place = Place(height=HEIGHT, name="scan", clicked=self._point_out)
        self.frame = Frame(_TITLE, self.place.colour)
        self.work = Work(self.frame.guard, self._show_buttons)
        self.card, self.features, self.table, self.links = (
            widgets.HTML(layout=full_width()) for _ in range(4)
        )
        self._begun: float | None = None
        self._showing = False
        self._make_controls()
        self.widget = self._arrange()
        self._show_all()

    def _make_controls(self) -> None:
        guard, button = self.frame.guard, self.frame.button
        self.scan = widgets.Select(description="Scan", rows=_SHOWN, layout=full_width(), style=_NARROW)
        self.scan.observe(guard(lambda _change: self._choose()), "value")
        # told once typed: a click on a button may overtake what is told letter by letter
        look = {"continuous_update": False, "layout": full_width(), "style": _NARROW}
        self.reason = widgets.Text(description="Reason", placeholder="to exclude it", **look)
        self.film = widgets.Text(description="Film, µm", placeholder="found on the scan", **look)
        self.refused = Refusal()
        for text in (self.reason, self.film):
            text.observe(lambda _change: self.refused.say(""), "value")
        self.accept = button("Accept", "The scan is as it should be", lambda: self._judge(Verdict.ACCEPTED))
        self.exclude = button(
            "Exclude",
            "Leave the scan out of the rows, for the reason given",
            lambda: self._judge(Verdict.EXCLUDED),
        )
        self.level = button(
            "Level on these stretches",
            "Level the profile on the stretches of bare film given; on those that are found where none is given",
            self._level,
        )
        self.undo = button("Undo the decision", "As if nothing had been decided about this scan", self._undo)
        self.upload = widgets.FileUpload(
            description="Load scans, run list or decisions",
            accept=_FILES,
            multiple=True,
            layout=full_width(),
            tooltip="Profiles (CSV), topographies (X3P, SDF, CSV grid), a run list (one row per print), decisions (TOML)",
        )
        self.frame.take_files(self.upload, self._load)
        self.measure = button(
            "Measure all scans", "Measure those that were not looked at yet", self._measure_all
        )
        self.measure.layout = widgets.Layout(width="100%")  # its own: it hides itself
        self.spot = self.work.spot()

    def _arrange(self) -> widgets.Widget:
        left = widgets.VBox(
            [
                self.scan,
                heading("Decision"),
                self.reason,
                self.accept,
                self.exclude,
                self.undo,
                self.refused,
                heading("Levelling"),
                self.film,
                self.level,
                heading("Rows of a trial file"),
                self.measure,
                self.spot.box,
                self.links,
                heading("Your own data"),
                self.upload,
            ]
        ).add_class("pw-controls")
        right = widgets.VBox([self.card, self.place, self.features, self.table]).add_class("pw-results")
        return self.frame.around(widgets.HBox([left, right]).add_class("pw-body"))

    def open_at(self, query: str | None) -> None:
        """Take the colours of the page's address; what else it says is for other pages."""
        self.frame.open_at(Address.read(query)[0], ())
        self.place.colour(self.frame.palette)

    # what there is to see --------------------------------------------------------------------------

    @property
    def chosen(self) -> Scan:
        """The scan that is looked at; raises UnusableInput where there is none."""
        if self.scan.value is None:
            raise UnusableInput("there is no scan yet; load some")
        return self.scans.scans[self.scan.value]

    def _show_all(self) -> None:
        """Show other scans or other decisions, and the scan that is looked at."""
        at = self.scan.value
        labels = [view.scan_label(self.scans, scan) for scan in self.scans.scans]
        self._showing = True
        try:
            self.scan.options = [(label, number) for number, label in enumerate(labels)]
            self.scan.value = (at if at is not None and at < len(labels) else 0) if labels else None
        finally:
            self._showing = False
        if len(self.scans.scans) <= _SOON:
            self.scans.measure_all(lambda _step: None)
        self._show_table()  # before the card: who reads there what was decided finds it in the rows
        self._choose()

    def _choose(self) -> None:
        """Look at the chosen scan."""
        if self._showing:
            return
        self._begin(None)
        self.refused.say("")
        if self.scan.value is None:
            self.card.value, self.features.value = view.no_scans(), ""
            self.place.show(None)
            self._show_buttons()
            return
        scan = self.chosen
        outcome, decision = self.scans.outcome(scan), self.scans.decisions.on(scan)
        self.reason.value = "" if decision is None else decision.reason
        self.film.value = "" if decision is None else ", ".join(map(stretch_words, decision.film))
        self.card.value = view.scan_card(scan, outcome, decision)
        self.features.value = view.feature_table(outcome)
        self.place.show(lambda palette: scan_figure(scan, outcome, palette))
        self._show_buttons()

    def _show_table(self) -> None:
        """Show all scans and what can be saved of them."""
        found = self.scans
        self.table.value = view.scan_table(found) if found.scans else ""
        rows, why = self._rows() if found.scans and found.measured else (None, "")
        self.links.value = view.handed_over(
            rows, why, found.decisions.text() if len(found.decisions) else None
        )
        self.frame.say(view.warnings(found.warnings()))
        self._show_buttons()

    def _rows(self) -> tuple[str | None, str]:
        """Rows of a trial file, or why there are none."""
        try:
            return self.scans.rows(), ""
        except UnusableInput as problem:
            return None, f"no rows yet: {problem}"

    def _show_buttons(self) -> None:
        none, busy = self.scan.value is None, self.work.busy
        decided = not none and self.scans.decisions.on(self.chosen) is not None
        for control in (self.accept, self.exclude, self.level, self.reason, self.film):
            control.disabled = none or busy
        self.undo.disabled = busy or not decided
        self.upload.disabled = busy
        self.measure.disabled = busy
        self.measure.layout.display = "none" if self.scans.measured else None

    # what is done ----------------------------------------------------------------------------------

    def _judge(self, verdict: Verdict) -> None:
        self._decide(verdict, self.reason.value if verdict is Verdict.EXCLUDED else "")

    def _level(self) -> None:
        before = self.scans.decisions.on(self.chosen)
        self._decide(*((None, "") if before is None else (before.verdict, before.reason)))

    def _decide(self, verdict: Verdict | None, reason: str) -> None:
        """Take a decision about the scan that is looked at; what cannot be decided is said at its fields."""
        try:
            decision = decision_on(self.chosen, verdict, reason, read_stretches(self.film.value))
        except UnusableInput as problem:
            self.refused.say(str(problem))
            return
        self._take(self.scans.deciding(decision))

    def _undo(self) -> None:
        self._take(self.scans.undoing(self.chosen))

    def _load(self, files: Sequence[InputFile]) -> None:
        self._take(self.scans.with_files(files))

    def _take(self, scans: ScanSet) -> None:
        self.scans = scans
        self._show_all()

    def _point_out(self, along: float, _height: float) -> None:
        """Two clicks in the picture add a stretch of bare film to those typed."""
        if self._begun is None:
            self._begin(along)
            return
        if (
            along == self._begun
        ):  # the second of a double click, or before the picture has seen the mouse move
            return
        low, high = sorted((self._begun, along))
        self._begin(None)
        self.film.value = ", ".join(filter(None, [self.film.value, f"{low:.5g} to {high:.5g} µm"]))

    def _begin(self, along: float | None) -> None:
        self._begun = along
        self.place.beside(view.pointing(along))

    def _measure_all(self) -> None:
        self.work.start(self.spot, "measuring", self.scans.measure_all, lambda _done: self._show_table())


def traces(query: str | None = None) -> widgets.Widget:
    """The page on the scans that the server was started with, at the query of its address."""

    def make() -> widgets.Widget:
        page = Traces(given_scans())
        page.open_at(query)
        return page.widget

    return made(_TITLE, make)
