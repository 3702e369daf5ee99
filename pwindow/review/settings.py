"""The settings of the press: what each is set to, how far it may deviate, and what was tried."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pwindow.window.setup import Setup
from pwindow.window.window import Window
from pwindow.wording import Units, stated

if TYPE_CHECKING:
    from pwindow.trials.archive import Archive


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One setting of the press: what it is set to, how far it may deviate, and what was tried.

    Attributes
    ----------
    name, label, unit : str
    value : float
    drift : float or None
        Most that the setting may deviate, in `unit`; None where the product does not say.
    tried : (float, float)
        Ends of what the trial says something about, the other settings being as they are.
    """

    name: str
    label: str
    unit: str
    value: float
    drift: float | None
    tried: tuple[float, float]

    def shown_in(self, units: Units) -> Setting:
        """The same in other units."""
        unit = units.of_column(self.name, self.unit)
        return replace(
            self,
            unit=unit.name,
            value=unit.of(self.value),
            drift=None if self.drift is None else unit.of(self.drift),
            tried=(unit.of(self.tried[0]), unit.of(self.tried[1])),
        )

    @property
    def is_tried_once(self) -> bool:
        """Whether the trial says something about one value alone."""
        return self.tried[0] == self.tried[1]

    @property
    def held(self) -> tuple[float, float]:
        """How far it may deviate within what was tried."""
        drift = self.drift or 0.0
        low, high = max(self.value - drift, self.tried[0]), min(self.value + drift, self.tried[1])
        return min(low, self.value), max(high, self.value)

    @property
    def held_words(self) -> str:
        """The same in words, with the digits that the drift leaves."""
        if not self.drift:
            return f"{stated(self.value)} {self.unit}"
        decimals = max(0, 1 - math.floor(math.log10(self.drift)))
        low, high = (f"{round(end, decimals):g}" for end in self.held)
        return f"{low} {self.unit}" if low == high else f"{low} to {high} {self.unit}"

    @property
    def untried_drift(self) -> str:
        """Where a drift leaves what was tried, in words; "" where it does not."""
        if not self.drift:
            return ""
        if self.is_tried_once:
            return f"away from {stated(self.tried[0])} {self.unit}"
        slack = 1e-6 * self.drift
        ends = [
            f"{'below' if outward < 0 else 'above'} {stated(end)} {self.unit}"
            for outward, end in zip((-1, 1), self.tried)
            if outward * (self.value + outward * self.drift - end) > slack
        ]
        return " and ".join(ends)


@dataclass(frozen=True)
class RollVolume:
    """The cell volume a roll goes by, cm³/m², and when it was measured where that is known."""

    cell_volume: float
    measured: datetime.date | None = None
    note: str = ""


def last_volumes(archive: Archive) -> dict[str, RollVolume]:
    """The last measured volume of each roll that an archive knows, by its id."""
    last = archive.volumes().groupby("roll", sort=False).last()
    return {
        str(roll): RollVolume(float(row["cell_volume"]), row["measured"], row["note"])
        for roll, row in last.iterrows()
    }


def settings_of(window: Window, setup: Setup) -> tuple[Setting, ...]:
    """Speed, pressure and cell volume of a set-up."""
    volumes = window.surfaces.trial.prints["cell_volume"]
    region = window.surfaces.region
    speeds = region.speed_range(setup.plate, setup.roll.cell_volume, setup.pressure)
    settings = (
        ("speed", "press speed", setup.speed, speeds or (setup.speed, setup.speed)),
        ("pressure", "pressure", setup.pressure, _pressures(window, setup)),
        ("cell_volume", "cell volume", setup.roll.cell_volume, (float(volumes.min()), float(volumes.max()))),
    )
    return tuple(
        Setting(
            name=name,
            label=label,
            unit=window.surfaces.trial.unit_of(name),
            value=value,
            drift=_drift(window, name, value),
            tried=tried,
        )
        for name, label, value, tried in settings
    )


def _drift(window: Window, name: str, value: float) -> float | None:
    """Most that a setting may deviate from a value; None where the product does not say."""
    tolerance = next((one for one in window.tolerances if one.setting == name), None)
    return None if tolerance is None else float(tolerance.half_width(pd.Series([value])).iloc[0])


def _pressures(window: Window, setup: Setup) -> tuple[float, float]:
    """Lowest and highest pressure of the trial region at the speed and volume of the set-up."""
    tried = window.surfaces.trial.pressures
    pressures = np.union1d(np.linspace(tried[0], tried[-1], 601), setup.pressure)
    frame = window.setups(setup.plate, setup.speed, setup.roll.cell_volume, pressures)
    inside = pressures[window.in_trial_region(frame)]
    return float(inside[0]), float(inside[-1])
