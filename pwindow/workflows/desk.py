"""An archive as a person works with it on a page: add, decide, refit, compare, confirm."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.product import read_product
from pwindow.study import MakeReadies, read_study
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.trials.archive import STANDINGS, USED, Archive, Comparison, Standing
from pwindow.wording import METRIC, Units
from pwindow.workflows.adding import NewTrial, add_trial, held_today, hold_again
from pwindow.workflows.compare import SideBySide, compare, windows_side_by_side
from pwindow.workflows.confirm import Confirmation, confirm
from pwindow.workflows.kept import KeptFit, fit_today, kept_fit, refit

__all__ = ["Compared", "Comparison", "Decided", "Desk", "Standing"]
Tell = Callable[[str], None]


@dataclass(frozen=True)
class Compared:
    """A fit beside an earlier one; alone where there is none.

    Attributes
    ----------
    before : KeptFit or None
    after : KeptFit
    tables : mapping
        As of `pwindow.workflows.compare`; empty where they were not compared.
    windows : SideBySide or None
        None where they were not compared, or the later one was made for no product.
    """

    before: KeptFit | None
    after: KeptFit
    tables: Mapping[str, pd.DataFrame]
    windows: SideBySide | None


@dataclass(frozen=True)
class Decided:
    """What was decided about the trial of a name, and what that means."""

    name: str
    standing: Standing
    meaning: str


@dataclass(frozen=True)
class Desk:
    """An archive, and the products and the study that the server was started with.

    A `temporary` archive is deleted when the server stops.
    """

    archive: Archive
    given_products: Sequence[InputFile] = ()
    given_study: InputFile | None = None
    temporary: bool = False

    def trials(self) -> pd.DataFrame:
        """What is kept, as `Archive.trials`, and whether fits use it: ``used``."""
        kept = self.archive.trials()
        return kept.assign(used=kept["standing"].isin(USED))

    def units(self) -> Units:
        """What the first trial has its settings in; metric where there is none."""
        numbers = self.archive.trials().index
        return self.archive.trial([int(numbers[0])]).units if len(numbers) else METRIC

    def fits(self) -> pd.DataFrame:
        """The fits that were kept, as `Archive.fits`."""
        return self.archive.fits()

    def history(self, number: int) -> pd.DataFrame:
        """All that was found and decided about a trial, as `Archive.history`."""
        return self.archive.history(number)

    def decide(self, number: int, standing: Standing, reason: str) -> Decided:
        """Decide about a trial; where no fit is kept yet, that of the trials in use is kept first.

        Parameters
        ----------
        number : int
            Of the trial.
        standing : Standing
        reason : str

        Raises
        ------
        UnusableInput
            If the decision needs a reason and has none.
        """
        if standing is not Standing.SET_ASIDE and reason.strip():
            self._keep_fit_before()
        self.archive.decide(number, standing, reason)
        return Decided(self.archive.trials()["name"][number], standing, STANDINGS[standing])

    def products(self) -> dict[str, InputFile]:
        """Products to choose from, by name: those given, and of those in the archive the last of each name."""
        files = [*self.archive.declarations("product"), *self.given_products]
        return {read_product(file).name: file for file in files}

    def usual_products(self) -> tuple[str, ...]:
        """Products that are judged unless others are chosen: those given, else those of the last fit."""
        if self.given_products:
            return tuple(read_product(file).name for file in self.given_products)
        names, last = tuple(self.products()), self._last()
        return names if last is None else tuple(name for name in names if name in last.answer["products"])

    def study(self) -> InputFile | None:
        """The study given, else that of the last fit."""
        last = self._last()
        if self.given_study is not None or last is None or last.recipe["study"] is None:
            return self.given_study
        return self.archive.declaration(last.recipe["study"])

    def add(self, file: InputFile, tell: Tell) -> NewTrial | str:
        """Keep a trial, compared with the fit of the others; or a product, and then give its name.

        Parameters
        ----------
        file : InputFile
        tell : callable
            Called with each step before it is taken, here and in all that follows; what it raises leaves the archive
            as it was.

        Raises
        ------
        UnusableInput
            If the file cannot be used; the archive is as it was.
        """
        if not file.name.lower().endswith(".toml"):
            new = add_trial(self.archive, file, make_readies=self._make_readies(), tell=tell)
            if not new.added.known and new.agreement is not None:
                self._keep_fit_before()
            return new
        if b"[requirements" not in file.content:
            read_study(file)
            raise UnusableInput(
                f"{file.name} is a study; start the server with it: `pwindow serve --study {file.name} …`, or record "
                "measured volumes with `pwindow rolls`"
            )
        product = read_product(file)
        self.archive.keep_declaration("product", file)
        return product.name

    def _keep_fit_before(self) -> None:
        """Keep the fit of the trials in use, where none is kept yet: the next one is compared with it."""
        names = self.usual_products()
        if not names or not self.fits().empty or not self.trials()["used"].any():
            return
        with suppress(UnusableInput):  # a refit that cannot be made says why when it is asked for
            refit(self.archive, self._named(names), self.study())

    def notes(self, number: int) -> tuple[str, ...]:
        """What was noticed when a trial was read."""
        return self.archive.trial([number]).notes

    def hold(self, number: int, tell: Tell) -> Agreement:
        """Compare a trial with the fit of the others that are used, and keep the result."""
        found = hold_again(self.archive, number, self._make_readies(), tell)
        self._keep_fit_before()
        return found

    def held_today(self, number: int) -> bool:
        """Whether a trial was last compared with the fit of the others that are used now."""
        return held_today(self.archive, number, self._make_readies())

    def confirm(self, file: InputFile, tell: Tell) -> tuple[KeptFit, Confirmation]:
        """Keep the prints of a run, and compare them with the predictions of the last fit."""
        last = self._last()
        if last is None:
            raise UnusableInput("there is no fit to confirm yet; refit first")
        return last, confirm(self.archive, last, file, tell)

    def refit(self, names: Sequence[str], tell: Tell) -> Compared:
        """Fit the trials that are used, judge the products named, and put it beside the fit before, without tables."""
        return self._beside_earlier(refit(self.archive, self._named(names), self.study(), tell=tell))

    def last_refit(self) -> Compared | None:
        """The last fit beside the one before, as `refit` gave it when it was made; None where there is no fit."""
        last = self._last()
        return None if last is None else self._beside_earlier(last)

    def _beside_earlier(self, after: KeptFit) -> Compared:
        fits = self.archive.fits()
        earlier = fits[(fits["fingerprint"] != after.fingerprint) & (fits.index < after.number)]
        last = kept_fit(self.archive, str(earlier.index[-1])) if len(earlier) else None
        return Compared(last, after, {}, None)

    def fit_today(self, names: Sequence[str]) -> int | None:
        """Number of the last fit of the trials that are used now, for the products named; None where there is none."""
        return fit_today(self.archive, self._named(names), self.study())

    def _named(self, names: Sequence[str]) -> list[InputFile]:
        products = self.products()
        return [products[name] for name in names]

    def compare(self, before: int, after: int, tell: Tell) -> Compared:
        """Two kept fits side by side.

        Parameters
        ----------
        before, after : int
            Numbers of the fits.
        tell : callable
            Called with each step before it is taken.

        Raises
        ------
        UnusableInput
            If both are the same fit.
        """
        if before == after:
            raise UnusableInput("choose two different fits")
        first, second = (kept_fit(self.archive, str(at)) for at in (before, after))
        tables = compare(self.archive, first, second, tell)
        judged = bool(second.recipe["products"])
        shown = windows_side_by_side(self.archive, first, second, tell) if judged else None
        return Compared(first, second, tables, shown)

    def _make_readies(self) -> MakeReadies | None:
        study = self.study()
        return None if study is None else read_study(study).make_readies

    def _last(self) -> KeptFit | None:
        numbers = self.archive.fits().index
        return kept_fit(self.archive, str(numbers[-1])) if len(numbers) else None
