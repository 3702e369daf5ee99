"""The page "traces": scans, what was measured on each, and what is decided about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import ipywidgets as widgets

from pwindow.charts.scan_picture import HEIGHT, scan_figure
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.decisions import Verdict, decision_on, read_stretches, stretch_words
from pwindow.metrology.foot import FOOT_RULES
from pwindow.metrology.instruments import INSTRUMENTS, instrument_as
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.controls import offer
from pwindow.panels.shared.fields import Refusal
from pwindow.panels.shared.frame import Frame, heading, made
from pwindow.panels.shared.guard import unforeseen
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.work import Work
from pwindow.panels.traces import view
from pwindow.workflows.scan_kinds import KINDS, Scan
from pwindow.workflows.scanned import ScanSet, given_scans, prepared_scans

_TITLE = "Traces"
_FILES = ".csv,.txt,.tsv,.x3p,.sdf,.xlsx,.parquet,.toml"
_SOON = 40  # scans that are measured as the page opens; more are measured when asked for
_NARROW = {"description_width": "86px"}
_SHOWN = 8  # of the list of scans at a time
_GROUND = {"print": "Film, µm", "plate": "Surface, µm"}


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
        self.kind = widgets.Dropdown(
            description="Show",
            tooltip="What was scanned; a scan whose file does not say is shown as either",
            layout=full_width(),
            style=_NARROW,
        )
        self.instrument = widgets.Dropdown(
            description="Instrument",
            tooltip="How far heights may be off; scans are measured again when it changes",
            options=list(INSTRUMENTS),
            value=self.scans.instrument.name,
            layout=full_width(),
            style=_NARROW,
        )
        self.foot = widgets.Dropdown(
            description="Foot at",
            tooltip="Where the foot of a line lies; scans are measured again when it changes",
            options=[(rule.words, rule) for rule in FOOT_RULES.values()],
            value=self.scans.rule,
            layout=widgets.Layout(width="100%"),  # its own: it hides itself
            style=_NARROW,
        )
        for menu in (self.kind, self.instrument, self.foot):
            menu.observe(guard(lambda _change: self._measure_as()), "value")
        self.scan = widgets.Select(description="Scan", rows=_SHOWN, layout=full_width(), style=_NARROW)
        self.scan.observe(guard(lambda _change: self._choose()), "value")
        # told once typed: a click on a button may overtake what is told letter by letter
        look = {"continuous_update": False, "layout": full_width(), "style": _NARROW}
        self.reason = widgets.Text(description="Reason", placeholder="to exclude it", **look)
        self.film = widgets.Text(placeholder="found on the scan", **look)
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
            "Level the profile on the stretches given; on those that are found where none is given",
            self._level,
        )
        self.undo = button("Undo the decision", "As if nothing had been decided about this scan", self._undo)
        self.upload = widgets.FileUpload(
            description="Load scans, lists or decisions",
            accept=_FILES,
            multiple=True,
            layout=full_width(),
            tooltip="Profiles (CSV), topographies (X3P, SDF, CSV grid), a run list (one row per print), a scan list (one row "
            "per scan), decisions (TOML)",
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
                self.kind,
                self.scan,
                self.instrument,
                self.foot,
                heading("Decision"),
                self.reason,
                self.accept,
                self.exclude,
                self.undo,
                self.refused,
                heading("Levelling"),
                self.film,
                self.level,
                heading("Results"),
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
        self.frame.say(view.warnings(self.scans.warnings()))

    # what there is to see --------------------------------------------------------------------------

    @property
    def chosen(self) -> Scan:
        """The scan that is looked at; raises UnusableInput where there is none."""
        if self.scan.value is None:
            raise UnusableInput("there is no scan yet; load some")
        return next(scan for scan in self.scans.scans if scan.name == self.scan.value)

    def _show_all(self) -> None:
        """Show other scans or other decisions, and the scan that is looked at."""
        self._offer()
        if self.scan.value is not None:
            self.scans.outcome(self.chosen)
        self._show_table()  # before the card: who reads there what was decided finds it in the rows
        self._choose()
        if len(self.scans.scans) <= _SOON and not self.scans.measured:
            self._measure_all()

    def _offer(self) -> None:
        """Offer the scans that there are; the one that is looked at stays where it can."""
        chosen, names = self.scan.value, [scan.name for scan in self.scans.scans]
        labels = [view.scan_label(self.scans, scan) for scan in self.scans.scans]
        self._showing = True
        try:
            offer(self.kind, view.offered(self.scans), self.scans.kind.name)
            self.film.description = _GROUND[self.scans.kind.name]
            self.scan.options = list(zip(labels, names))
            self.scan.value = chosen if chosen in names else next(iter(names), None)
        finally:
            self._showing = False

    def _choose(self) -> None:
        """Look at the chosen scan."""
        if self._showing:
            return
        self._begin(None)
        self.refused.say("")
        if self.scan.value is None:
            self.card.value, self.features.value = view.no_scans(self.scans), ""
            self.place.show(None)
            self._show_buttons()
            return
        scan = self.chosen
        outcome, decision = self.scans.outcome(scan), self.scans.decisions.on(scan)
        self.reason.value = "" if decision is None else decision.reason
        self.film.value = "" if decision is None else ", ".join(map(stretch_words, decision.film))
        self.card.value = view.scan_card(self.scans.kind, scan, outcome, decision)
        self.features.value = view.feature_list(outcome)
        self.place.show(lambda palette: scan_figure(scan, outcome, palette))
        self._show_buttons()

    def _show_table(self) -> None:
        """Show all scans and what can be saved of them."""
        found = self.scans
        self.table.value = view.scan_table(found) if found.scans else ""
        rows, why = self._rows() if found.scans and found.measured else (None, "")
        self.links.value = view.handed_over(
            found.kind, rows, why, found.decisions.text() if len(found.decisions) else None
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
        for control in (self.upload, self.measure, self.kind, self.instrument, self.foot):
            control.disabled = busy
        self.foot.layout.display = None if self.scans.kind.footed else "none"
        self.measure.layout.display = "none" if self.scans.measured else None

    # what is done ----------------------------------------------------------------------------------

    def _measure_as(self) -> None:
        """Measure what the menus say, with the instrument that they say."""
        if not self._showing:
            self._take(
                replace(
                    self.scans,
                    kind=KINDS[self.kind.value],
                    instrument=instrument_as(self.scans.stated, self.instrument.value),
                    rule=self.foot.value,
                )
            )

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
        self.place.beside(view.pointing(self.scans.kind, along))

    def _measure_all(self) -> None:
        self.work.start(self.spot, "measuring", self.scans.measure_all, lambda _done: self._show_table())


def get_ready() -> None:
    """Measure, draw and say once what the page opens with, so that it does so at once.

    What fails is told by the page, which fails in the same way.
    """
    try:
        _rehearse(prepared_scans())
    except UnusableInput:
        return
    except Exception as problem:  # logged; the other pages are made ready in the same process
        unforeseen(problem)


def _rehearse(found: ScanSet) -> None:
    """Say and draw what the page opens with: templates are compiled by it, and drawing code is loaded."""
    if found.scans:
        scan = found.scans[0]
        outcome = found.outcome(scan)
        view.scan_card(found.kind, scan, outcome, None)
        view.feature_list(outcome)
        view.scan_table(found)
        scan_figure(scan, outcome)


def traces(query: str | None = None) -> widgets.Widget:
    """The page on the scans that the server was started with, at the query of its address."""

    def make() -> widgets.Widget:
        page = Traces(given_scans())
        page.open_at(query)
        return page.widget

    return made(_TITLE, make)
