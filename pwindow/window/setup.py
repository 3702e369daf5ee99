"""A set-up of the press, and planned rolls."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeVar

import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.study import Roll
from pwindow.window.conformance import Conformance

WindowOf = TypeVar("WindowOf", bound=Conformance)


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
    rolls = (*window.rolls, Roll(identity, float(cell_volume), planned=True))
    return replace(window, study=replace(window.study, rolls=rolls))
