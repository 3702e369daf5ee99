"""What the page of new trial data knows of an archive, and what can be done next, without any widget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import pandas as pd

from pwindow.workflows.desk import Desk, Standing


class Step(IntEnum):
    """The steps of the page, in their order."""

    ADD = 1
    AGREE = 2
    DECIDE = 3
    REFIT = 4
    COMPARE = 5
    CONFIRM = 6


@dataclass(frozen=True)
class Listed:
    """An archive as it was when the page last looked: others may add to it.

    Attributes
    ----------
    trials, fits : DataFrame
        As of `Desk`.
    """

    trials: pd.DataFrame
    fits: pd.DataFrame

    @classmethod
    def of(cls, desk: Desk) -> Listed:
        return cls(desk.trials(), desk.fits())

    @property
    def trial_choices(self) -> list[tuple[str, int]]:
        """Words and number of each trial."""
        return [(self.title_of(number), int(number)) for number in self.trials.index]

    def title_of(self, number: int) -> str:
        """Number and name of a trial.

        Parameters
        ----------
        number : int
        """
        return f"{number} · {self.trials['name'][number]}"

    @property
    def awaiting(self) -> list[int]:
        """Numbers of the trials that await a decision."""
        standings = self.trials["standing"]
        return [int(number) for number in self.trials.index[standings == Standing.UNDECIDED]]

    def about(self, chosen: int | None) -> int | None:
        """The trial to look at: the one chosen, else the first that awaits a decision, else the last."""
        if chosen is not None or self.trials.empty:
            return chosen
        return (self.awaiting or [int(self.trials.index[-1])])[0]

    @property
    def fit_choices(self) -> list[tuple[str, int]]:
        """Words and number of each fit."""
        made = self.fits["made"]
        return [(f"{number} · {made[number]:%Y-%m-%d %H:%M}", int(number)) for number in self.fits.index]

    @property
    def last_fits(self) -> tuple[int | None, int | None]:
        """The two that are compared unless others are chosen; one twice where there is one only."""
        numbers = [int(number) for number in self.fits.index[-2:]]
        return (numbers[0], numbers[-1]) if numbers else (None, None)


@dataclass(frozen=True, kw_only=True)
class Situation:
    """What stands in an archive, as far as it decides what is to be done.

    Attributes
    ----------
    trials : int
        How many there are.
    used : int
        How many fits use.
    others : int
        How many of these are not the trial looked at.
    awaits : bool
        Whether the trial looked at awaits a decision.
    held : bool
        Whether it was compared with the fit of the others as they are now.
    products : int
        How many there are to judge.
    fits : int
        How many there are.
    fit : int or None
        Number of the one that stands on the archive as it is now; None where a refit is due.
    last : Step or None
        What was done last on this page.
    """

    trials: int
    used: int
    others: int
    awaits: bool
    held: bool
    products: int
    fits: int
    fit: int | None
    last: Step | None = None

    @classmethod
    def of(
        cls, desk: Desk, listed: Listed, about: int | None, products: Sequence[str], last: Step | None
    ) -> Situation:
        """The situation of an archive.

        Parameters
        ----------
        desk : Desk
        listed : Listed
        about : int or None
            The trial looked at.
        products : sequence of str
            Those that are judged.
        last : Step or None
        """
        used = listed.trials.index[listed.trials["used"].astype(bool)]
        others = len(used) - (about in used)
        awaits = about in listed.awaiting
        return cls(
            trials=len(listed.trials),
            used=len(used),
            others=others,
            awaits=awaits,
            held=awaits and others > 0 and about is not None and desk.held_today(about),
            products=len(desk.products()),
            fits=len(listed.fits),
            fit=desk.fit_today(products),
            last=last,
        )

    @property
    def next(self) -> Step:
        """What is to be done next."""
        if self.awaits:
            return Step.AGREE if self.others and not self.held else Step.DECIDE
        if not self.used or not self.products:
            return Step.ADD
        if self.fit is None:
            return Step.REFIT
        if self.last is Step.REFIT and self.fits > 1:
            return Step.COMPARE
        return Step.CONFIRM if self.last in (Step.REFIT, Step.COMPARE) else Step.ADD

    def missing(self, step: Step) -> str:
        """What a step needs that is not there, in words; "" where it can be taken.

        Examples
        --------
        >>> empty = Situation(trials=0, used=0, others=0, awaits=False, held=False, products=0, fits=0, fit=None)
        >>> empty.next, empty.missing(Step.ADD), empty.missing(Step.COMPARE)
        (<Step.ADD: 1>, '', 'needs two fits; there are none yet')
        """
        if step in (Step.AGREE, Step.DECIDE) and not self.trials:
            return "needs a trial"
        if step is Step.AGREE and not self.others:
            return "needs another trial that is used in fits"
        if step is Step.REFIT and not self.used:
            return "needs a trial that is used in fits"
        if step is Step.COMPARE and self.fits < 2:
            return f"needs two fits; there {'is one' if self.fits else 'are none yet'}"
        if step is Step.CONFIRM and not self.fits:
            return "needs a fit"
        return ""
