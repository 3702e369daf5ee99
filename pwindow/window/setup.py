"""A set-up of the press, and planned rolls."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.study import Roll, Study
from pwindow.trials import Trial
from pwindow.window.conformance import Conformance
from pwindow.wording import volume as volume_words

WindowOf = TypeVar("WindowOf", bound=Conformance)
MOST_PLANNED = 6
"""Rolls that can be planned at a time: charts would not show more apart."""


@dataclass(frozen=True)
class Setup:
    """What the press is set to; pressure in the trial's unit of pressure, speed in m/min."""

    plate: str
    roll: Roll
    pressure: float
    speed: float

    def frame(self, window: Conformance) -> pd.DataFrame:
        """The set-up as a table of one row, as `Window.setups` makes it."""
        return window.setups(self.plate, self.speed, self.roll.cell_volume, self.pressure)

    def to_dict(self, pressure_key: str) -> dict:
        """The settings by the names that carry their units, with what the trial's pressures are called."""
        return {
            "roll": self.roll.id,
            "plate": self.plate,
            "cell_volume_cm3_m2": self.roll.cell_volume,
            pressure_key: self.pressure,
            "speed_m_min": self.speed,
        }


def with_planned_roll(window: WindowOf, identity: str, cell_volume: float) -> WindowOf:
    """The window with one more roll in its inventory, marked as planned.

    Parameters
    ----------
    window : Conformance
    identity : str
        Id of the roll, unlike those of the inventory.
    cell_volume : float
        cm³/m²

    Raises
    ------
    WindowProblem
        If the id is empty or taken, or the volume is not above zero.
    """
    identity = identity.strip()
    if not identity:
        raise WindowProblem("a planned roll needs an id that no roll of the inventory has")
    if any(roll.id == identity for roll in window.rolls):
        raise WindowProblem(
            f"roll “{identity}” is already in the inventory: give the planned roll another id"
        )
    if not (math.isfinite(cell_volume) and cell_volume > 0):
        raise WindowProblem(
            f"planned roll “{identity}”: a cell volume of {cell_volume:g} cm³/m² is impossible; give one above zero"
        )
    roll = Roll(identity, float(cell_volume), planned=True)
    study = replace(window.study, rolls=(*window.rolls, roll))
    return replace(window, study=study, notes=(*window.notes, *planned_notes([roll])))


def planned_study(study: Study, trial: Trial, cell_volume: float) -> Study:
    """The study with one more roll in its inventory, planned; it is called “new 1”, “new 2” and so on.

    Parameters
    ----------
    study : Study
        Without rolls of its own the inventory is the trial's.
    trial : Trial
    cell_volume : float
        cm³/m²

    Raises
    ------
    WindowProblem
        If no such volume was tried, the inventory has it, or too many rolls are planned.

    Examples
    --------
    >>> import pwindow as pw
    >>> trial = pw.read_trial(pw.demo("trial_first.csv"))
    >>> planned_study(Study(), trial, 6.3).rolls[-1].label
    'new 1 (planned)'
    """
    rolls = study.rolls or trial.rolls
    _check_planned(cell_volume, trial.prints["cell_volume"], rolls)
    roll = Roll(_free_id(rolls), float(cell_volume), planned=True)
    return replace(study, rolls=(*rolls, roll))


def unplanned_study(study: Study) -> Study:
    """The study without planned rolls."""
    return replace(study, rolls=tuple(roll for roll in study.rolls if not roll.planned))


def planned_rolls(study: Study) -> tuple[Roll, ...]:
    """The planned rolls of a study, in the order they were planned."""
    return tuple(roll for roll in study.rolls if roll.planned)


def planned_notes(rolls: Sequence[Roll]) -> tuple[str, ...]:
    """What the reader of numbers must know where some of the rolls are planned.

    Examples
    --------
    >>> planned_notes([Roll("0412", 2.4), Roll("new 1", 6.3, planned=True)])
    ('roll new 1 (6.3 cm³/m²) is planned: you do not have it yet',)
    """
    return tuple(
        f"roll {roll.id} ({volume_words(roll.cell_volume)} cm³/m²) is planned: you do not have it yet"
        for roll in rolls
        if roll.planned
    )


def _check_planned(cell_volume: float, tried: pd.Series, rolls: Sequence[Roll]) -> None:
    low, high = float(tried.min()), float(tried.max())
    words = f"{volume_words(cell_volume)} cm³/m²"
    if not low <= cell_volume <= high:
        raise WindowProblem(
            f"a roll of {words} cannot be judged: the trial covers cell volumes from {volume_words(low)} "
            f"to {volume_words(high)} cm³/m²"
        )
    same = next((roll for roll in rolls if volume_words(roll.cell_volume) == volume_words(cell_volume)), None)
    if same is not None:
        have = "already planned" if same.planned else "already in the inventory"
        raise WindowProblem(f"{words}: {have} as roll {same.id}")
    if sum(roll.planned for roll in rolls) >= MOST_PLANNED:
        raise WindowProblem(f"{words}: {MOST_PLANNED} rolls are planned, the most there can be")


def _free_id(rolls: Sequence[Roll]) -> str:
    taken = {roll.id for roll in rolls}
    return next(name for at in range(1, len(taken) + 2) if (name := f"new {at}") not in taken)
