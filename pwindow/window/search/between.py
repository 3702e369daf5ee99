"""A pressure between those that were tried, at which the recommended roll would be assured at a faster speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.window.bands import Row, SpeedBand, bands_of
from pwindow.window.confidence import reached
from pwindow.window.conformance import Conformance
from pwindow.window.search.recommendation import Recommendation
from pwindow.wording import METRIC, Units

_BETWEEN = 5  # pressures looked at between two that were tried
_RATIOS = np.linspace(1.0, 1.2, 21)  # of the recommended speed
_COARSE_POINTS = 499
_WORTH = 1.005  # times the recommended speed, below which a pressure is no gain


@dataclass(frozen=True)
class BetweenPressures:
    """The speed band of a recommended roll at a pressure that nobody tried, and that is predicted to be better.

    Attributes
    ----------
    band : SpeedBand
    recommended : Recommendation
        At a pressure that was tried.
    """

    band: SpeedBand
    recommended: Recommendation

    def sentence(self, units: Units = METRIC) -> str:
        """What it would give, and that it was not tried.

        Parameters
        ----------
        units : Units
            To write it in.
        """
        at, top = units.pressure.words(self.band.pressure), units.speed.words(self.band.high)
        more = units.speed.number(self.band.high - self.recommended.band.high)
        reaches = self.recommended.assurance.words
        return (
            f"Between the tried pressures, at {at}, this roll is predicted to reach {reaches} up to {top} "
            f"({more} {units.speed.name} more); no print was made at that pressure."
        )


def between_pressures(window: Conformance, best: Recommendation) -> BetweenPressures | None:
    """The pressure next to the recommended one at which its roll and plate are predicted to be fastest.

    Parameters
    ----------
    window : Conformance
    best : Recommendation

    Returns
    -------
    BetweenPressures or None
        None where no pressure between the tried ones would gain half a percent of speed.
    """
    frames = [
        window.setups(best.setup.plate, best.setup.speed * _RATIOS, best.setup.roll.cell_volume, pressure)
        for pressure in _untried(window, best.setup.pressure)
    ]
    if not frames:
        return None
    setups = pd.concat(frames, ignore_index=True)
    setups = setups[window.in_trial_region(setups)].reset_index(drop=True)
    if setups.empty:
        return None
    assured = setups[reached(window, setups, _COARSE_POINTS, least=window.level) >= window.level]
    if assured.empty:
        return None
    return _better(window, best, float(assured.sort_values("speed")["pressure"].iloc[-1]))


def _untried(window: Conformance, pressure: float) -> list[float]:
    """Pressures between one that was tried and the tried ones next to it."""
    tried = np.asarray(window.surfaces.trial.pressures, float)
    below, above = tried[tried < pressure - 1e-9], tried[tried > pressure + 1e-9]
    ends = [float(one) for one in (*below[-1:], *above[:1])]
    return [at for end in ends for at in _inside(pressure, end)]


def _inside(pressure: float, end: float) -> list[float]:
    """Round pressures between two."""
    apart = (end - pressure) / (_BETWEEN + 1)
    step = 10.0 ** np.floor(np.log10(abs(apart)))
    steps = np.round((pressure + apart * np.arange(1, _BETWEEN + 1)) / step)
    return [float(at) for at in np.round(steps * step, 9)]


def _better(window: Conformance, best: Recommendation, pressure: float) -> BetweenPressures | None:
    at = best.setup
    ends = window.surfaces.region.speed_range(at.plate, at.roll.cell_volume, pressure)
    found = [] if ends is None else bands_of(window, Row(at.roll, at.plate, pressure, *ends))
    fastest = max(found, key=lambda band: band.high, default=None)
    if fastest is None or fastest.high < _WORTH * at.speed:
        return None
    return BetweenPressures(fastest, best)
