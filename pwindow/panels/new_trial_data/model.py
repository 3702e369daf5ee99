"""What the page of new trial data knows of an archive, without any widget."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pwindow.workflows.desk import Desk


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
        return [(f"{number} · {self.trials['name'][number]}", int(number)) for number in self.trials.index]

    @property
    def last_trial(self) -> int | None:
        return int(self.trials.index[-1]) if len(self.trials) else None

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
