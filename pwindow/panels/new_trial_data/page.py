"""The page "new trial data": add a trial, see whether it agrees, decide about it, refit, compare, confirm."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from functools import partial
from typing import Any

import ipywidgets as widgets

from pwindow.errors import SeveralSheets, UnitProblem, UnusableInput
from pwindow.inputs import InputFile
from pwindow.panels.new_trial_data import view as words
from pwindow.panels.new_trial_data.model import Listed, Situation, Step
from pwindow.panels.new_trial_data.results import Results
from pwindow.panels.new_trial_data.steps import StepPlace
from pwindow.panels.shared.address import Address
from pwindow.panels.shared.fields import Refusal
from pwindow.panels.shared.frame import Frame, made
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.sheets import SheetChoice
from pwindow.panels.shared.units_menu import UnitsMenu
from pwindow.panels.shared.work import Tell, Work
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.wording import chosen_units
from pwindow.workflows.adding import NewTrial
from pwindow.workflows.confirm import Confirmation
from pwindow.workflows.desk import Compared, Desk, Standing
from pwindow.workflows.given import (
    archive_is_temporary,
    given_archive,
    given_beside_archive,
    given_declarations,
)
from pwindow.workflows.kept import KeptFit

_NARROW = {"description_width": "60px"}
_TITLE = "New trial data"
_DECISIONS = (
    ("Same process", Standing.SAME_PROCESS, "Use it in fits as more prints of the same process"),
    ("Changed process", Standing.CHANGED_PROCESS, "Use it in fits; predictions describe the changed process"),
    ("Set aside", Standing.SET_ASIDE, "Do not use it in fits; it stays in the archive"),
)
_TRIALS = ".csv,.txt,.tsv,.xlsx,.parquet"


class NewTrialData:
    """The page; `widget` is what to display.

    Parameters
    ----------
    desk : Desk
    beside : sequence of str
        Names of trial files that the other pages show instead of the archive.
    """

    def __init__(self, desk: Desk, beside: Sequence[str] = ()):
        self.desk, self.beside, self.results = desk, tuple(beside), Results()
        self.frame = Frame(_TITLE, self.results.colour)
        self.problem, self.line = self.frame.problem, self.frame.facts
        self.work = Work(self.frame.guard, self._show_steps)
        self.units_menu = UnitsMenu(self._take_units, self.frame.guard)
        self.table, self.history = (widgets.HTML(layout=full_width()) for _ in range(2))
        self._last: Step | None = None
        self._asked: Step | None = None
        self._fits: tuple = ()
        self._showing = False
        self.steps = self._make_steps()
        self._show_products(desk.usual_products())
        self._show()
        self._show_kept()
        self.widget = self._arrange()

    # what there is to see --------------------------------------------------------------------------

    def _make_steps(self) -> dict[Step, StepPlace]:
        make = {
            Step.ADD: self._make_add,
            Step.AGREE: self._make_agree,
            Step.DECIDE: self._make_decide,
            Step.REFIT: self._make_refit,
            Step.COMPARE: self._make_compare,
            Step.CONFIRM: self._make_confirm,
        }
        return {step: StepPlace(step, make[step](), self.work.spot(), self._way_to(step)) for step in Step}

    def _way_to(self, step: Step) -> widgets.Button:
        tooltip = f"Do step {step:d} now instead"
        button = self.frame.button(f"Go to step {step:d}", tooltip, partial(self._go_to, step))
        button.layout = widgets.Layout()
        return button.add_class("pw-step-go")

    def _make_add(self) -> list[widgets.Widget]:
        self.upload = self._upload(
            "Add a trial or product file",
            f"{_TRIALS},.toml",
            "A trial (CSV, XLSX, Parquet) is stored unchanged and awaits your decision; a product is a TOML file",
            self._add,
        )
        self.sheets = SheetChoice(self.frame.guard, self._add)
        return [self.upload, self.sheets.box]

    def _make_agree(self) -> list[widgets.Widget]:
        self.trial = _choice("Trial")
        self.trial.observe(self.frame.guard(self._choose), "value")
        self.hold = self.frame.button(
            "Compare with the other trials", "Compare it with the fit of the trials in use", self._hold
        )
        return [self.trial, self.hold]

    def _make_decide(self) -> list[widgets.Widget]:
        self.reason = widgets.Text(
            description="Reason", layout=full_width(), style=_NARROW, placeholder="in a few words"
        )
        self.decisions = [
            self.frame.button(text, tooltip, partial(self._decide, standing))
            for text, standing, tooltip in _DECISIONS
        ]
        said = [widgets.HTML(words.what_it_does(tooltip)) for _, _, tooltip in _DECISIONS]
        self.no_reason = Refusal()
        self.reason.observe(lambda _change: self.no_reason.say(""), "value")
        return [self.reason, self.no_reason, *(part for pair in zip(self.decisions, said) for part in pair)]

    def _make_refit(self) -> list[widgets.Widget]:
        self.products = widgets.VBox(layout=full_width())
        self.refit = self.frame.button(
            "Refit", "Fit the trials in use, judge the selected products, and store the fit", self._refit
        )
        return [self.products, self.refit]

    def _make_compare(self) -> list[widgets.Widget]:
        self.before, self.after = _choice("Fit"), _choice("with fit")
        self.compare = self.frame.button("Compare", "Two fits side by side", self._compare)
        return [self.before, self.after, self.compare]

    def _make_confirm(self) -> list[widgets.Widget]:
        self.run = self._upload(
            "Load confirmation prints",
            _TRIALS,
            "A trial file with the prints of a run, to compare with the predictions of the last fit",
            self._confirm,
        )
        self.run_sheets = SheetChoice(self.frame.guard, self._confirm)
        return [self.run, self.run_sheets.box]

    def _upload(
        self, text: str, accept: str, tooltip: str, take: Callable[[list[InputFile]], None]
    ) -> widgets.FileUpload:
        upload = widgets.FileUpload(description=text, accept=accept, layout=full_width(), tooltip=tooltip)
        self.frame.take_files(upload, take)
        return upload

    def _arrange(self) -> widgets.Widget:
        steps = [place.box for place in self.steps.values()]
        left = widgets.VBox([self.units_menu.widget, *steps]).add_class("pw-controls")
        kept = widgets.HTML(words.what_is_kept(), layout=full_width())
        right = widgets.VBox([*self.results.parts, self.table, self.history, kept]).add_class("pw-results")
        body = widgets.HBox([left, right]).add_class("pw-body")
        told = [words.temporary_note()] * self.desk.temporary + [words.shown_elsewhere(self.beside)] * bool(
            self.beside
        )
        notes = [widgets.HTML(one, layout=full_width()) for one in told]
        return self.frame.around(*notes, body)

    def open_at(self, query: str | None) -> None:
        """Take the colours of the page's address; what else it says is for other pages."""
        address = Address.read(query)[0]
        self.frame.open_at(address, self._take_units(address.units))
        if address.data is not None:
            self.frame.say(words.loaded_elsewhere())
        self.results.colour(self.frame.palette)

    def _take_units(self, name: str | None) -> tuple[str, ...]:
        """Show numbers as the address asks, else as in the first trial; gives why not where they cannot be had."""
        of_file = self.desk.units()
        why: tuple[str, ...] = ()
        try:
            shown, self.frame.units = chosen_units(name or "", of_file), name
        except UnitProblem as problem:
            shown, self.frame.units = of_file, None
            why = (f"units={name}: {problem}; ignored",)
        self.units_menu.offer(of_file, shown, self.frame.units)
        self.results.in_units(shown)
        return why

    # what is done ----------------------------------------------------------------------------------

    def _start(self, step: Step, first: str, do: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        self.work.start(self.steps[step].spot, first, do, then)

    def _go_to(self, step: Step) -> None:
        self._asked = step
        self._show()

    def _add(self, files: Sequence[InputFile]) -> None:
        self.sheets.close()
        do = _or_sheets(partial(self.desk.add, files[0]))
        self._start(Step.ADD, f"reading {files[0].name}", do, partial(self._added, files))

    def _added(self, files: Sequence[InputFile], new: NewTrial | str | SeveralSheets) -> None:
        if isinstance(new, SeveralSheets):
            self.sheets.offer(files, new)
            return
        if isinstance(new, str):
            self._show_products({*self._chosen_products(), new})
            self._show(done=Step.ADD)
            self.results.show(lambda _units: words.product_card(new))
            return
        number = new.added.trial
        self._show(number, done=Step.ADD)
        standing, notes = self.listed.trials["standing"][number], words.read_notes(self.desk.notes(number))
        self._take_units(self.frame.units)  # those of the file where it is the first
        found = words.kept_agreement(new.added.name, self.desk.history(number)) if new.added.known else ""
        self.results.show(lambda units: words.added_card(new, standing, units) + found + notes, new.agreement)

    def _hold(self) -> None:
        hold = partial(self.desk.hold, self._chosen())
        self._start(Step.AGREE, "fitting the trials in use", hold, self._held)

    def _held(self, found: Agreement) -> None:
        self._show(done=Step.AGREE)
        self.results.show(partial(words.agreement_card, found), found)

    def _decide(self, standing: Standing) -> None:
        number = self._chosen()
        if not self.reason.value.strip():
            self.no_reason.say("A decision needs a reason: enter a few words.")
            return
        decided = self.desk.decide(number, standing, self.reason.value)
        self.reason.value = ""
        self._show(done=Step.DECIDE)
        self.results.show(lambda _units: words.decision_card(decided))

    def _refit(self) -> None:
        refit = partial(self.desk.refit, self._chosen_products())
        self._start(Step.REFIT, "fitting the surfaces", refit, self._refitted)

    def _refitted(self, found: Compared) -> None:
        self._show_compared(found, Step.REFIT)
        if found.before is not None:
            self.before.value, self.after.value = found.before.number, found.after.number

    def _compare(self) -> None:
        if self.before.value is None:
            raise UnusableInput("there is no fit yet; refit first")
        compare = partial(self.desk.compare, self.before.value, self.after.value)
        self._start(Step.COMPARE, "comparing", compare, partial(self._show_compared, done=Step.COMPARE))

    def _confirm(self, files: Sequence[InputFile]) -> None:
        self.run_sheets.close()
        do = _or_sheets(partial(self.desk.confirm, files[0]))
        self._start(Step.CONFIRM, f"reading {files[0].name}", do, partial(self._confirmed, files))

    def _confirmed(
        self, files: Sequence[InputFile], found: tuple[KeptFit, Confirmation] | SeveralSheets
    ) -> None:
        if isinstance(found, SeveralSheets):
            self.run_sheets.offer(files, found)
            return
        fit, confirmation = found
        number = confirmation.added.trial
        self._show(number, done=Step.CONFIRM)
        notes = words.read_notes(self.desk.notes(number))
        self.results.show(
            lambda units: words.confirmed_card(fit, confirmation, units) + notes, confirmation.agreement
        )

    # what is shown of it ---------------------------------------------------------------------------

    def _show_compared(self, found: Compared, done: Step) -> None:
        self._show(done=done)
        self.results.show_compared(found)

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

    def _show(self, chosen: int | None = None, done: Step | None = None) -> None:
        """Show the archive as it is now, others may have added to it; and what is next, after what was `done`."""
        self.listed = Listed.of(self.desk)
        address = words.TEMPORARY if self.desk.temporary else self.desk.archive.address
        self.line.value = words.archive_line(address, self.listed)
        self.table.value = words.trial_table(self.listed.trials)
        if done is not None:
            self._last, self._asked = done, None
        about = self.listed.about(chosen or self._still_chosen(done))
        self._offer_trials(about)
        self._show_fits()
        self._look_at(about)

    def _offer_trials(self, chosen: int | None) -> None:
        self._showing = True
        try:
            self.trial.options = self.listed.trial_choices
            self.trial.value = chosen
        finally:
            self._showing = False

    def _still_chosen(self, done: Step | None) -> int | None:
        """The trial chosen before, as long as nothing was decided: then another may be waiting."""
        waits = self.trial.value in self.listed.awaiting or not self.listed.awaiting
        return self.trial.value if waits or done is None else None

    def _show_fits(self) -> None:
        """Offer the fits; where there are more than before, the last two are compared."""
        fits = tuple(self.listed.fit_choices)
        if fits == self._fits:
            return
        self._fits = fits
        for choice, last in zip((self.before, self.after), self.listed.last_fits):
            choice.options = fits
            choice.value = last

    def _choose(self, change: Mapping[str, Any]) -> None:
        """Look at another trial, in the step that is being taken."""
        if not self._showing:
            self._asked = self._current
            self._look_at(change["new"])

    def _look_at(self, number: int | None) -> None:
        """Show what is known of a trial, and what is next as far as it depends on it."""
        self.situation = Situation.of(self.desk, self.listed, number, self._chosen_products(), self._last)
        self.history.value = "" if number is None else self._history_of(number)
        self._show_steps()

    def _history_of(self, number: int) -> str:
        return words.history_card(number, self.listed.trials["name"][number], self.desk.history(number))

    def _show_steps(self) -> None:
        """Of all steps one can be taken: the next, unless another was asked for; none while work is done."""
        current, busy = self._current, self.work.busy
        guide = words.guide(current, self.situation, self.listed, self.trial.value)
        for place in self.steps.values():
            place.show(self.situation, current, guide, busy=busy)
        self.trial.disabled = busy or current not in (Step.AGREE, Step.DECIDE)

    @property
    def _current(self) -> Step:
        return self.situation.next if self._asked is None else self._asked

    def _show_kept(self) -> None:
        """What came of the last step before the page was opened, and the step that is next after it.

        What was found of the trial that awaits a decision; else the last fit beside the one before.
        """
        number, fitted = self.trial.value, self.desk.last_refit()
        if number is not None and self.situation.awaits:
            name = self.listed.trials["name"][number]
            kept = words.kept_agreement(name, self.desk.history(number))
            self.results.show(lambda _units: kept)
        elif fitted is not None:
            self.results.show_compared(fitted)
            if self.situation.fit is not None:
                self._show(done=Step.REFIT)


def _or_sheets(do: Callable[[Tell], Any]) -> Callable[[Tell], Any]:
    """Work on a file that gives the question back where a workbook has several sheets."""

    def done(tell: Tell) -> Any:
        try:
            return do(tell)
        except SeveralSheets as problem:
            return problem

    return done


def _choice(title: str) -> widgets.Dropdown:
    return widgets.Dropdown(description=title, layout=full_width(), style=_NARROW)


def new_trial_data(query: str | None = None) -> widgets.Widget:
    """The page on the archive of the server, at the query of its address; says why where there is none."""

    def make() -> widgets.Widget:
        desk = Desk(given_archive(), *given_declarations(), temporary=archive_is_temporary())
        page = NewTrialData(desk, given_beside_archive())
        page.open_at(query)
        return page.widget

    return made(_TITLE, make)
