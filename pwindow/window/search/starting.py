"""The set-up to start from: the recommended one, or where nothing is assured the closest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from pwindow.window.bands import SPEED_STEP, Row, rows
from pwindow.window.confidence import reached
from pwindow.window.conformance import Conformance, LimitPredictive, conformance_probability
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.search.recommendation import Recommendation
from pwindow.window.setup import Setup

QUICK_ERROR = 0.002
"""Of `quick_probability`."""
_SAME = 6  # decimals to which joint conformances are compared
_REFINED = (
    4  # rows that are looked at to a speed step: the best ones differ by less than the grid leaves open
)
_COARSE_POINTS = 499


class Choice(StrEnum):
    """Whose choice a set-up is."""

    RECOMMENDED = "recommended"
    CLOSEST = "closest"
    ASKED_FOR = "asked for"


@dataclass(frozen=True)
class StartingSetup:
    """A set-up of the inventory and why it is shown first.

    Attributes
    ----------
    setup : Setup
    choice : Choice
        Recommended, or the closest where no set-up is assured.
    joint : float
        Joint conformance probability of the next run.
    at_least : float or None
        What that is at least with the confidence that the product asks for; None where it asks for none.
    """

    setup: Setup
    choice: Choice
    joint: float
    at_least: float | None = None

    @property
    def assured(self) -> bool:
        """Whether it reaches the assurance asked for."""
        return self.choice is Choice.RECOMMENDED


def starting_setup(
    window: Conformance, best: Recommendation | None, pressures: Sequence[float] | None = None
) -> StartingSetup | None:
    """The recommended set-up, or the closest where there is none.

    Parameters
    ----------
    window : Conformance
    best : Recommendation or None
        What `recommend` recommends at these pressures.
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.

    Returns
    -------
    StartingSetup or None
        None where no roll of the inventory lies in the trial region.
    """
    if best is None:
        return closest_setup(window, pressures)
    at_least = None if window.confidence is None else best.interval.at_least
    return StartingSetup(best.setup, Choice.RECOMMENDED, best.conformance, at_least)


def closest_setup(window: Conformance, pressures: Sequence[float] | None = None) -> StartingSetup | None:
    """The set-up with the highest joint conformance probability inside the trial region.

    Searched are the inventory's rolls, the plates the product may have, and the pressures, at speeds
    to a tenth of a metre a minute. Of set-ups that agree in six decimals the one whose predicted means lie
    farthest inside the limits (least far outside) is taken, then the fastest, then the first in the order
    of plates, rolls and pressures.

    Returns
    -------
    StartingSetup or None
        None where no roll of the inventory lies in the trial region.
    """
    ranked = [one for each in candidates(window, pressures) for one in _best_of_rows(window, each)]
    if not ranked:
        return None
    nearest = sorted(ranked, key=lambda one: one[0], reverse=True)[:_REFINED]
    _, setup, joint = max((_best_step(window, *of) for _, of in nearest), key=lambda one: one[0])
    at_least = None if window.confidence is None else float(reached(window, setup.frame(window))[0])
    return StartingSetup(setup, Choice.CLOSEST, joint, at_least)


@dataclass(frozen=True)
class Candidates:
    """Set-ups of one plate process, evenly spaced along the speeds of every row.

    Attributes
    ----------
    plate : str
    rows : tuple of Row
    at : ndarray of int, shape (m,)
        Position in `rows` of each set-up.
    speeds : ndarray, shape (m,), m/min
    predictive : LimitPredictive
        At the m set-ups.
    """

    plate: str
    rows: tuple[Row, ...]
    at: np.ndarray
    speeds: np.ndarray
    predictive: LimitPredictive

    def chosen(self, where: np.ndarray | slice) -> Candidates:
        """Some of the set-ups; `where` as numpy indexes."""
        predictive = LimitPredictive(
            self.predictive.mean[where], self.predictive.scale[where], self.predictive.df
        )
        return Candidates(self.plate, self.rows, self.at[where], self.speeds[where], predictive)

    def setups(self, window: Conformance) -> pd.DataFrame:
        """The set-ups, as `Conformance.setups` makes them."""
        volumes, pressures = (
            np.array([get(row) for row in self.rows])[self.at] for get in (_volume, _pressure)
        )
        return window.setups(self.plate, self.speeds, volumes, pressures)

    def quick(self, lower: np.ndarray, upper: np.ndarray) -> np.ndarray:
        """Joint probability of bounds on every line to `QUICK_ERROR`, shape (m,)."""
        found = self.predictive
        return quick_probability(lower, upper, found.mean, found.scale, found.df)


def candidates(window: Conformance, pressures: Sequence[float] | None = None) -> list[Candidates]:
    """Set-ups of the inventory in the trial region, for each plate process that has some."""
    found = []
    every = rows(window, pressures)
    for plate in window.plates:
        own = tuple(row for row in every if row.plate == plate)
        if not own:
            continue
        each = [row.speeds() for row in own]
        at = np.repeat(np.arange(len(own)), [len(speeds) for speeds in each])
        speeds = np.concatenate(each)
        volumes, nips = (np.array([get(row) for row in own])[at] for get in (_volume, _pressure))
        setups = window.setups(plate, speeds, volumes, nips)
        found.append(Candidates(plate, own, at, speeds, window.predictive(setups)))
    return found


def _volume(row: Row) -> float:
    return row.roll.cell_volume


def _pressure(row: Row) -> float:
    return row.pressure


def _best_of_rows(window: Conformance, each: Candidates) -> list[tuple[tuple, tuple]]:
    """What is best in each row: its rank, the row, and the speeds on either side of it."""
    limits = window.limits[each.plate]
    _, lower, upper = limits.bounds()
    joint = each.quick(lower, upper)
    near = np.flatnonzero(joint >= joint.max() - 2 * QUICK_ERROR)
    joint[near] = conformance_probability(each.chosen(near).predictive, limits, points=_COARSE_POINTS)
    margin = window.margin_of_means(each.plate, each.predictive.mean)
    found = []
    for at, row in enumerate(each.rows):
        own = np.flatnonzero(each.at == at)
        top = _first(joint[own], margin[own], each.speeds[own])
        beside = each.speeds[own[np.clip([top - 1, top + 1], 0, len(own) - 1)]]
        rank = _rank(joint[own[top]], margin[own[top]], each.speeds[own[top]])
        found.append((rank, (row, *beside)))
    return found


def _best_step(window: Conformance, row: Row, low: float, high: float) -> tuple[tuple, Setup, float]:
    """The closest of the speed steps between two speeds of a row, after its rank."""
    speeds = _speed_steps(low, high)
    found = window.predictive(window.setups(row.plate, speeds, row.roll.cell_volume, row.pressure))
    joint = conformance_probability(found, window.limits[row.plate])
    margin = window.margin_of_means(row.plate, found.mean)
    top = _first(joint, margin, speeds)
    setup = Setup(row.plate, row.roll, row.pressure, float(speeds[top]))
    return _rank(joint[top], margin[top], speeds[top]), setup, float(joint[top])


def _speed_steps(low: float, high: float) -> np.ndarray:
    """Speed steps between two speeds; where there is none, the lower one as it is."""
    steps = np.arange(np.ceil(low / SPEED_STEP - 1e-6), np.floor(high / SPEED_STEP + 1e-6) + 0.5)
    return np.round(steps * SPEED_STEP, 1) if len(steps) else np.array([low])


def _first(joint: np.ndarray, margin: np.ndarray, speeds: np.ndarray) -> int:
    """Position of the set-up that ranks first; see `closest_setup`."""
    return int(np.lexsort((speeds, margin, joint.round(_SAME)))[-1])


def _rank(joint: float, margin: float, speed: float) -> tuple[float, float, float]:
    return round(float(joint), _SAME), round(float(margin), _SAME), float(speed)
