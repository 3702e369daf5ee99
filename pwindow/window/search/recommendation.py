"""The set-up to run, with the reason in one sentence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.product import REQUIREMENT_KINDS, Assurance
from pwindow.window.bands import SpeedBand
from pwindow.window.confidence import ConformanceInterval, conformance_at_least, conformance_interval
from pwindow.window.conformance import Conformance
from pwindow.window.setup import Setup
from pwindow.wording import METRIC, Units, asked


@dataclass(frozen=True)
class Recommendation:
    """The set-up to run.

    Attributes
    ----------
    band : SpeedBand
        At its fastest speed.
    among : str
        What sets its roll apart from the other rolls that qualify.
    assurance : Assurance
        What was asked for.
    interval : ConformanceInterval
        Of its conformance.
    """

    band: SpeedBand
    among: str
    assurance: Assurance
    interval: ConformanceInterval

    @property
    def why(self) -> str:
        """The reason in one sentence, in metric units."""
        return self.reason(METRIC)

    def reason(self, units: Units) -> str:
        """The reason in one sentence.

        Parameters
        ----------
        units : Units
            To write it in.
        """
        falling = REQUIREMENT_KINDS[self.band.falling_high].label
        above, level = f"above {units.speed.words(self.band.high)}", asked(self.assurance.level)
        if self.band.trial_ends_high:
            beyond = "the trial went no faster there"
        elif self.assurance.confidence is None:
            beyond = f"{above} {falling} takes the probability below {level}"
        else:
            beyond = f"{above} {falling} takes the lower bound of the probability below {level}"
        return f"Roll {self.band.roll.label} is {self.among}; {beyond}."

    @property
    def setup(self) -> Setup:
        return Setup(self.band.plate, self.band.roll, self.band.pressure, self.band.high)

    @property
    def conformance(self) -> float:
        """Joint conformance probability of the next run."""
        return self.band.conformance_at_fastest

    def to_dict(self, pressure_key: str) -> dict:
        """The row of its band with ``speed_m_min``, ``conformance``, its interval, and ``why``."""
        return self.band.to_dict(pressure_key) | {
            "speed_m_min": self.band.high,
            "conformance": self.conformance,
            "conformance_interval": self.interval.to_dict(),
            "why": self.why,
        }


def recommend(window: Conformance, bands: pd.DataFrame) -> Recommendation | None:
    """The band with the fastest assured speed, and why.

    Bands that are equally fast are distinguished by their probability there.

    Parameters
    ----------
    window : Conformance
    bands : DataFrame
        As `Window.speed_bands` returns them.

    Returns
    -------
    Recommendation or None
        None without bands.
    """
    if bands.empty:
        return None
    best = bands.sort_values(["fastest_speed_m_min", "conformance_at_fastest"], kind="stable").iloc[-1]
    band = SpeedBand.of(best.to_dict(), window)
    setup = window.setups(band.plate, band.high, band.roll.cell_volume, band.pressure)
    interval = conformance_interval(window, setup)
    return Recommendation(band, _among(window, bands, band), window.product.assurance, interval)


def _among(window: Conformance, bands: pd.DataFrame, best: SpeedBand) -> str:
    fastest = bands.groupby("roll")["fastest_speed_m_min"].max()
    rolls, level = len(fastest), int((fastest == best.high).sum())
    if rolls == 1:
        among = "the only roll that reaches"
    elif level == 1:
        among = f"the fastest of the {rolls} rolls that reach"
    elif level == rolls:
        among = f"the most reliable of {rolls} equally fast rolls that reach"
    else:
        among = f"the most reliable of the {level} fastest of {rolls} rolls that reach"
    return f"{among} {window.product.assurance.words} at {_which(window, bands)}"


def _which(window: Conformance, bands: pd.DataFrame) -> str:
    """What the bands' pressures are: between those that were tried a faster speed may be assured."""
    trial = window.surfaces.trial
    apart = np.subtract.outer(bands[trial.pressure_key].to_numpy(float), np.asarray(trial.pressures, float))
    return (
        "the pressures of the trial" if np.isclose(apart, 0.0).any(axis=1).all() else "the pressures searched"
    )


def neighbours(
    window: Conformance, plate: str, cell_volume: float, pressure: float, speed: float
) -> pd.DataFrame:
    """What slower and faster speeds would do: conformance a little and a good deal away.

    Parameters
    ----------
    window : Conformance
    plate : str
    cell_volume : float
        cm³/m².
    pressure : float
        In the trial's unit of pressure.
    speed : float
        m/min; speeds from 0.8 to 1.2 times it are judged, to the ends of what was tried.

    Returns
    -------
    DataFrame
        One row per speed in the trial region: ``speed_m_min``, ``joint``, each requirement, ``limiting``; and
        ``at_least``, what the joint conformance is at least with the confidence asked for, where one is.
    """
    ends = window.surfaces.region.speed_range(plate, cell_volume, pressure)
    if ends is None:
        return pd.DataFrame(columns=["speed_m_min", "joint", *window.limits[plate].requirements, "limiting"])
    around = [speed * ratio for ratio in (0.8, 0.9, 1.1, 1.2)]
    speeds = np.unique(np.clip([*around, np.clip(speed, *ends)], *ends).round(6))
    setups = window.setups(plate, speeds, cell_volume, pressure)
    table = window.conformance(setups)
    table.insert(0, "speed_m_min", speeds)
    table["limiting"] = table[list(window.limits[plate].requirements)].idxmin(axis=1)
    if window.confidence is not None:
        table["at_least"] = conformance_at_least(window, setups, window.confidence)
    return table
