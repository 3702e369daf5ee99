"""The page "new trial data": keep a trial, see whether it agrees, decide about it, refit."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from typing import Any

import ipywidgets as widgets

from pwindow.charts.agreement import agreement_figure
from pwindow.charts.before_after import before_after_figure
from pwindow.charts.palette import Palette
from pwindow.errors import SeveralSheets, UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels.new_trial_data import view as words
from pwindow.panels.new_trial_data.model import Listed
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.frame import Frame, heading, made
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.pictures import Place
from pwindow.panels.shared.sheets import SheetChoice
from pwindow.panels.shared.words import working
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.workflows.desk import Compared, Desk, Standing
from pwindow.workflows.given import archive_is_temporary, given_archive, given_declarations

_NARROW = {"description_width": "60px"}
_TITLE = "New trial data"
_DECISIONS = (
    ("Same process", Standing.SAME_PROCESS, "Use it in fits as more prints of the same process"),
    ("Changed process", Standing.CHANGED_PROCESS, "Use it in fits; predictions describe the changed process"),
    ("Set aside", Standing.SET_ASIDE, "Do not use it in fits; it stays in the archive"),
)


class NewTrialData:
    """The page; `widget` is what to display."""

    def __init__(self, desk: Desk):
        self.desk = desk
        self.frame = Frame(_TITLE, self._colour)
        self.problem, self.line, self._guard = self.frame.problem, self.frame.facts, self.frame.guard
        self.table, self.outcome, self.compared, self.why, self.history, self.busy = (
            widgets.HTML(layout=full_width()) for _ in range(6)
        )
        self.agreement, self.windows, guard = Place(), Place(), self._guard
        self.upload = widgets.FileUpload(
            description="Add a trial or product file",
            accept=".csv,.txt,.tsv,.xlsx,.parquet,.toml",
            layout=full_width(),
            tooltip="A trial (CSV, XLSX, Parquet) is stored unchanged and awaits your decision; a product is a TOML file",
        )
        self.frame.take_files(self.upload, self._add)
        self.sheets = SheetChoice(guard, self._add)
        self.run = widgets.FileUpload(
            description="Load confirmation prints",
            accept=".csv,.txt,.tsv,.xlsx,.parquet",
            layout=full_width(),
            tooltip="A trial file with the prints of a run, to compare with the predictions of the last fit",
        )
        self.frame.take_files(self.run, self._confirm)
        self.run_sheets = SheetChoice(guard, self._confirm)
        self.trial = _choice("Trial")
        self.trial.observe(guard(self._choose), "value")
        self.reason = widgets.Text(
            description="Reason", layout=full_width(), style=_NARROW, placeholder="in a few words"
        )
        self.decisions = [
            self.frame.button(text, tooltip, partial(self._decide, standing))
            for text, standing, tooltip in _DECISIONS
        ]
        self.hold = self.frame.button(
            "Compare with the other trials", "Compare it with the fit of the trials in use", self._hold
        )
        self.products = widgets.VBox(layout=full_width())
        self.refit = self.frame.button(
            "Refit", "Fit the trials in use, and compare with the previous fit", self._refit
        )
        self.before, self.after = _choice("Fit"), _choice("with fit")
        self.compare = self.frame.button("Compare", "Two fits side by side", self._compare)
        self._show()
        self._show_products(desk.usual_products())
        self.widget = self._arrange()

    def _arrange(self) -> widgets.Widget:
        left = widgets.VBox(
            [
                heading("1 · Add"),
                self.upload,
                self.busy,
                self.sheets.box,
                heading("2 · Decide"),
                self.trial,
                self.hold,
                self.reason,
                *self.decisions,
                heading("3 · Fit"),
                self.products,
                self.refit,
                heading("4 · Run and confirm"),
                self.run,
                self.run_sheets.box,
                heading("Earlier fits"),
                self.before,
                self.after,
                self.compare,
            ]
        )
        right = widgets.VBox(
            [self.outcome, self.agreement, self.compared, self.windows, self.why, self.table, self.history]
        )
        left.add_class("pw-controls")
        right.add_class("pw-results")
        body = widgets.HBox([left, right])
        body.add_class("pw-body")
        notes = [widgets.HTML(words.temporary_note(), layout=full_width())] if self.desk.temporary else []
        return self.frame.around(*notes, body)

    def open_at(self, query: str | None) -> None:
        """Take the colours of the page's address; what else it says is for other pages."""
        address = Address.read(query)[0]
        self.frame.open_at(address, ())
        if address.data is not None:
            self.frame.say(words.loaded_elsewhere())
        self._colour(self.frame.palette)

    def _colour(self, palette: Palette) -> None:
        self.agreement.colour(palette)
        self.windows.colour(palette)

    @contextmanager
    def _working(self, what: str) -> Iterator[None]:
        self._step(what)
        try:
            yield
        finally:
            self.busy.value = ""

    def _step(self, what: str) -> None:
        self.busy.value = working(what)

    def _add(self, files: Sequence[InputFile]) -> None:
        self.sheets.close()
        try:
            with self._working("reading, storing and comparing"):
                new = self.desk.add(files[0])
        except SeveralSheets as problem:
            self.sheets.offer(files, problem)
            return
        self._clear()
        if isinstance(new, str):
            self._show_products({*self._chosen_products(), new})
            self.outcome.value = words.product_card(new)
            return
        self._show(new.added.trial)
        self.outcome.value = words.added_card(
            new, self.desk.trials()["standing"][new.added.trial]
        ) + words.read_notes(self.desk.notes(new.added.trial))
        self._show_agreement(new.agreement)

    def _confirm(self, files: Sequence[InputFile]) -> None:
        self.run_sheets.close()
        try:
            with self._working("reading, and comparing with the predictions"):
                fit, found = self.desk.confirm(files[0])
        except SeveralSheets as problem:
            self.run_sheets.offer(files, problem)
            return
        self._clear()
        self._show(found.added.trial)
        self.outcome.value = words.confirmed_card(fit, found) + words.read_notes(
            self.desk.notes(found.added.trial)
        )
        self._show_agreement(found.agreement)

    def _hold(self) -> None:
        with self._working("fitting the others, and comparing"):
            found = self.desk.hold(self._chosen())
        self._clear()
        self._show()
        self.outcome.value = words.agreement_card(found)
        self._show_agreement(found)

    def _decide(self, standing: Standing) -> None:
        number = self._chosen()
        decided = self.desk.decide(number, standing, self.reason.value)
        self.reason.value = ""
        self._clear()
        self._show(number)
        self.outcome.value = words.decision_card(decided)

    def _refit(self) -> None:
        with self._working("fitting the surfaces"):
            found = self.desk.refit(self._chosen_products(), self._step)
        self._show_compared(found)

    def _compare(self) -> None:
        if self.before.value is None:
            raise UnusableInput("there is no fit yet; refit first")
        with self._working("comparing"):
            found = self.desk.compare(self.before.value, self.after.value, self._step)
        self._show_compared(found)

    def _show_compared(self, found: Compared) -> None:
        self._clear()
        self._show()
        self.compared.value, self.why.value = words.compared_card(found), words.compared_tables(found)
        windows = found.windows
        if windows is not None:
            self.windows.show(lambda palette: before_after_figure(windows, palette))

    def _clear(self) -> None:
        """What was shown before is not about what was done last."""
        self.outcome.value = self.compared.value = self.why.value = ""
        self.agreement.show(None)
        self.windows.show(None)

    def _chosen(self) -> int:
        if self.trial.value is None:
            raise UnusableInput("the archive has no trials yet; add one")
        return self.trial.value

    def _chosen_products(self) -> list[str]:
        boxes = [box for box in self.products.children if isinstance(box, widgets.Checkbox)]
        return [box.description for box in boxes if box.value]

    def _show_products(self, chosen: Collection[str]) -> None:
        before = self.products.children
        boxes = [
            widgets.Checkbox(value=name in chosen, description=name, indent=False, layout=full_width())
            for name in self.desk.products()
        ]
        self.products.children = boxes or [widgets.HTML(words.no_product())]
        for box in before:
            box.close()

    def _show(self, chosen: int | None = None) -> None:
        """Show the archive as it is now; others may have added to it."""
        self.listed = Listed.of(self.desk)
        address = words.TEMPORARY if self.desk.temporary else self.desk.archive.address
        self.line.value = words.archive_line(address, self.listed)
        self.table.value = words.trial_table(self.listed.trials)
        chosen = chosen or self.trial.value or self.listed.last_trial
        self.trial.options = self.listed.trial_choices
        self.trial.value = chosen
        self._show_history(chosen)
        for choice, last in zip((self.before, self.after), self.listed.last_fits):
            choice.options = self.listed.fit_choices
            choice.value = last

    def _choose(self, change: Mapping[str, Any]) -> None:
        self._show_history(change["new"])

    def _show_history(self, number: int | None) -> None:
        self.history.value = (
            ""
            if number is None
            else words.history_card(self.listed.trials["name"][number], self.desk.history(number))
        )

    def _show_agreement(self, found: Agreement | None) -> None:
        if found is not None:
            self.agreement.show((lambda palette: agreement_figure(found, palette)) if found.by_name else None)


def _choice(title: str) -> widgets.Dropdown:
    return widgets.Dropdown(description=title, layout=full_width(), style=_NARROW)


def new_trial_data(query: str | None = None) -> widgets.Widget:
    """The page on the archive of the server, at the query of its address; says why where there is none."""

    def make() -> widgets.Widget:
        desk = Desk(given_archive(), *given_declarations(), temporary=archive_is_temporary())
        page = NewTrialData(desk)
        page.open_at(query)
        return page.widget

    return made(_TITLE, make)
