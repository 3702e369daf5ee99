"""Speed bands: for each roll × plate × pressure the speeds that are assured, and the one to run."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pwindow.errors import WindowProblem
from pwindow.product import REQUIREMENT_KINDS
from pwindow.study import Roll
from pwindow.window.confidence import conformance_intervals, reached
from pwindow.window.conformance import Conformance

SPEED_STEP = 0.1
"""Speeds are stated to this step, m/min, rounded towards the inside of a band."""
_GRID = 121
_COARSE_POINTS = 499
_NEAR = 0.05
"""How far below the level a probability still tells where the level is crossed."""


@dataclass(frozen=True)
class Row:
    """One roll × plate × pressure with the speeds the trial region leaves it, m/min."""

    roll: Roll
    plate: str
    pressure: float
    slowest: float
    fastest: float

    def speeds(self) -> np.ndarray:
        """Speeds to examine, evenly spaced by ratio; both ends included."""
        if self.slowest == self.fastest:
            return np.array([self.slowest])
        return np.geomspace(self.slowest, self.fastest, _GRID)


@dataclass(frozen=True, kw_only=True)
class SpeedBand:
    """The speeds of one roll × plate × pressure at which all requirements are met with the assurance asked for.

    Attributes
    ----------
    roll : Roll
    plate : str
    pressure : float
        In the trial's unit of pressure.
    low, high, safest : float
        Its ends, of which the high one is the fastest speed, and the most reliable speed; m/min.
    conformance_at_fastest, conformance_at_safest : float
        Joint conformance probability there.
    fastest_at_least, safest_at_least : float
        What it is at least there, with the confidence of `pwindow.window.confidence`.
    limiting_low, limiting_high : str
        The requirement with the lowest conformance probability at each end.
    trial_ends_low, trial_ends_high : bool
        Whether it is the trial region, and no requirement, that ends the band there.
    """

    roll: Roll
    plate: str
    pressure: float
    low: float
    high: float
    safest: float
    conformance_at_fastest: float
    conformance_at_safest: float
    fastest_at_least: float
    safest_at_least: float
    limiting_low: str
    limiting_high: str
    trial_ends_low: bool
    trial_ends_high: bool

    @classmethod
    def of(cls, row: Mapping, window: Conformance) -> SpeedBand:
        """A row of `Window.speed_bands`."""
        own = {of: row[column] for column, of in band_columns(window.surfaces.trial.pressure_key).items()}
        roll = window.roll(own.pop("roll.id"))
        del own["roll.cell_volume"]
        return cls(roll=roll, **own)

    @property
    def slow_end(self) -> str:
        """What limits the band at its low end, in words."""
        return _end_words(self.limiting_low, by_trial=self.trial_ends_low)

    @property
    def fast_end(self) -> str:
        """What limits the band at its high end, in words."""
        return _end_words(self.limiting_high, by_trial=self.trial_ends_high)

    def to_dict(self, pressure_key: str) -> dict:
        """A row of `Window.speed_bands`, by its columns."""
        return {column: attrgetter(of)(self) for column, of in band_columns(pressure_key).items()}


def band_columns(pressure_key: str) -> dict[str, str]:
    """Columns of the table of speed bands, and of which attribute of a band each is."""
    return {
        "roll": "roll.id",
        "plate": "plate",
        "cell_volume_cm3_m2": "roll.cell_volume",
        pressure_key: "pressure",
        "speed_low_m_min": "low",
        "speed_high_m_min": "high",
        "fastest_speed_m_min": "high",
        "safest_speed_m_min": "safest",
        "conformance_at_fastest": "conformance_at_fastest",
        "conformance_at_safest": "conformance_at_safest",
        "conformance_at_fastest_at_least": "fastest_at_least",
        "conformance_at_safest_at_least": "safest_at_least",
        "limiting_low": "limiting_low",
        "limiting_high": "limiting_high",
        "trial_ends_low": "trial_ends_low",
        "trial_ends_high": "trial_ends_high",
    }


def rows(window: Conformance, pressures: Sequence[float] | None = None) -> list[Row]:
    """Every roll × plate × pressure of which the trial region has a part."""
    region = window.surfaces.region
    asked = window.surfaces.trial.pressures if pressures is None else tuple(pressures)
    found = []
    for plate in window.plates:
        for roll in window.rolls:
            for pressure in asked:
                ends = region.speed_range(plate, roll.cell_volume, pressure)
                if ends is not None:
                    found.append(Row(roll, plate, float(pressure), *ends))
    return found


def limited_by(band: Mapping | pd.Series, end: str) -> str:
    """What a band is limited by at its 'low' or its 'high' end, in words."""
    return _end_words(band[f"limiting_{end}"], by_trial=band[f"trial_ends_{end}"])


def side_missed(window: Conformance, band: SpeedBand, end: str) -> str:
    """On which side of a limit with two sides most prints miss at an end of a band: "too small", "too large" or "".

    Parameters
    ----------
    window : Conformance
    band : SpeedBand
    end : {'low', 'high'}
    """
    name = getattr(band, f"limiting_{end}")
    limit = next(one for one in window.product.requirements if one.name == name)
    if getattr(band, f"trial_ends_{end}") or limit.least is None or limit.most is None:
        return ""
    setups = window.setups(band.plate, getattr(band, end), band.roll.cell_volume, band.pressure)
    mean = float(window.quantities(setups)[name]["mean"].iloc[0])
    if np.isnan(mean):  # known from counts alone
        return ""
    return "too small" if mean - limit.least < limit.most - mean else "too large"


def _end_words(limiting: str, *, by_trial: bool) -> str:
    return "end of trial" if by_trial else REQUIREMENT_KINDS[limiting].label


def speed_bands(
    window: Conformance, pressures: Sequence[float] | None = None, plates: Collection[str] | None = None
) -> pd.DataFrame:
    """See `Window.speed_bands`.

    Parameters
    ----------
    window : Conformance
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.
    plates : collection of str, optional
        Plate processes; all of the product unless given.

    Raises
    ------
    WindowProblem
        If a pressure lies outside what the trial tried.
    """
    _refuse_untried(window, pressures)
    asked = [row for row in rows(window, pressures) if plates is None or row.plate in plates]
    key = window.surfaces.trial.pressure_key
    found = [band.to_dict(key) for row in asked for band in bands_of(window, row)]
    return pd.DataFrame(found, columns=list(band_columns(key)))


def bands_at(window: Conformance, bands: pd.DataFrame, plate: str, pressure: float) -> pd.DataFrame:
    """Speed bands at a plate and a pressure: those of `bands` where it was tried, else searched for.

    Parameters
    ----------
    window : Conformance
    bands : DataFrame
        As `speed_bands` gives them at the tried pressures.
    plate : str
    pressure : float
        In the trial's unit of pressure.

    Raises
    ------
    WindowProblem
        If the pressure lies outside what the trial tried.
    """
    if not np.isclose(pressure, window.surfaces.trial.pressures).any():
        return speed_bands(window, [pressure], [plate])
    pressures = bands[window.surfaces.trial.pressure_key].astype(float)
    return bands[(bands["plate"] == plate) & np.isclose(pressures, pressure)]


def _refuse_untried(window: Conformance, pressures: Sequence[float] | None) -> None:
    tried, unit = window.surfaces.trial.pressures, window.surfaces.trial.pressure_unit
    for pressure in pressures or ():
        if not tried[0] - 1e-9 <= pressure <= tried[-1] + 1e-9:
            raise WindowProblem(
                f"pressure {pressure:g} {unit} is outside the tried range "
                f"({tried[0]:g} to {tried[-1]:g} {unit}); choose a pressure inside it, or print a trial with this one"
            )


def bands_of(window: Conformance, row: Row) -> list[SpeedBand]:
    """The speed bands of one row, the slowest first."""
    speeds = row.speeds()
    held = reached(window, _at(window, row, speeds), _COARSE_POINTS, least=window.level - _NEAR)
    bands = []
    for first, last in _runs(held >= window.level):
        crossings = (_crossing(speeds, held, at, step, window) for at, step in ((first, -1), (last, 1)))
        ends = _to_the_step(window, row, *crossings)
        if ends is not None:
            safest = speeds[first + int(np.argmax(held[first : last + 1]))]
            bands.append(_describe(window, row, *ends, float(np.clip(round(safest, 1), *ends))))
    return bands


def _at(window: Conformance, row: Row, speeds: ArrayLike) -> pd.DataFrame:
    return window.setups(row.plate, speeds, row.roll.cell_volume, row.pressure)


def _runs(assured: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], assured.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2])]


def _crossing(speeds: np.ndarray, held: np.ndarray, at: int, step: int, window: Conformance) -> float:
    """Speed at which what is held against the level crosses it, between a grid point and the next."""
    beyond = at + step
    if not 0 <= beyond < len(speeds):
        return float(speeds[at])
    inside, outside = held[at], held[beyond]
    share = (inside - window.level) / (inside - outside)
    return float(speeds[at] * (speeds[beyond] / speeds[at]) ** share)


def _to_the_step(window: Conformance, row: Row, low: float, high: float) -> tuple[float, float] | None:
    """Ends to the speed step, the last ones that are assured; None where no such speed is left."""
    if row.slowest == row.fastest:  # the one speed that was tried, whether it is a step or not
        assured = reached(window, _at(window, row, row.slowest))[0] >= window.level
        return (row.slowest, row.fastest) if assured else None
    first, last = _steps_inside(low, high)
    if first > last:
        return None
    slowest, fastest = _steps_inside(row.slowest, row.fastest)
    tried = [max(first - 1, slowest), first, last, min(last + 1, fastest)]
    before, at_first, at_last, after = _assured(window, row, *tried)
    lowest: int | None = first
    highest: int | None = last
    if not (at_first and at_last):  # they mostly are, and the steps beyond them mostly not
        lowest = _assured_from(window, row, first, last, 1)
        highest = None if lowest is None else _assured_from(window, row, last, lowest, -1)
    if lowest is None or highest is None:
        return None
    if before and at_first:
        lowest = _assured_up_to(window, row, first, slowest, -1)
    if after and at_last:
        highest = _assured_up_to(window, row, last, fastest, 1)
    return round(lowest * SPEED_STEP, 1), round(highest * SPEED_STEP, 1)


def _steps_inside(low: float, high: float) -> tuple[int, int]:
    """The first and the last speed step between two speeds; the last is below the first where there is none."""
    return int(np.ceil(low / SPEED_STEP - 1e-6)), int(np.floor(high / SPEED_STEP + 1e-6))


def _assured_from(window: Conformance, row: Row, start: int, end: int, step: int) -> int | None:
    """First step from `start` towards `end` that is assured, accurately computed."""
    return next((at for at in range(start, end + step, step) if _assured(window, row, at)[0]), None)


def _assured_up_to(window: Conformance, row: Row, start: int, end: int, step: int) -> int:
    """Last step from `start` towards `end` before one that is not assured, accurately computed."""
    while start != end and _assured(window, row, start + step)[0]:
        start += step
    return start


def _assured(window: Conformance, row: Row, *steps: int) -> np.ndarray:
    """Whether speed steps are assured, accurately computed."""
    speeds = np.round(np.array(steps) * SPEED_STEP, 1)
    return reached(window, _at(window, row, speeds)) >= window.level


def _describe(window: Conformance, row: Row, low: float, high: float, safest: float) -> SpeedBand:
    setups = _at(window, row, [low, high, safest, row.slowest, row.fastest])
    table = window.conformance(setups)
    joint, limiting = table["joint"], table.drop(columns="joint").idxmin(axis=1)
    fastest, steadiest = conformance_intervals(window, setups.iloc[1:3])
    ends = reached(window, setups.iloc[3:], stated=joint[3:].to_numpy())
    trial_ends = _ends_with_trial(row, low, high, (ends >= window.level).tolist())
    return SpeedBand(
        roll=row.roll,
        plate=row.plate,
        pressure=row.pressure,
        low=low,
        high=high,
        safest=safest,
        conformance_at_fastest=float(joint[1]),
        conformance_at_safest=float(joint[2]),
        fastest_at_least=fastest.at_least,
        safest_at_least=steadiest.at_least,
        limiting_low=str(limiting[0]),
        limiting_high=str(limiting[1]),
        trial_ends_low=trial_ends[0],
        trial_ends_high=trial_ends[1],
    )


def _ends_with_trial(row: Row, low: float, high: float, assured: Sequence[bool]) -> tuple[bool, bool]:
    """Whether it is the trial region that ends a band at its low and its high end.

    It is where no speed step lies between the band and the edge of the region and the edge itself is
    `assured`: else a requirement ends the band within that step.
    """
    first, last = _steps_inside(row.slowest, row.fastest)
    at_slowest = low <= max(first * SPEED_STEP, row.slowest) + 1e-6
    at_fastest = high >= min(last * SPEED_STEP, row.fastest) - 1e-6
    return bool(at_slowest and assured[0]), bool(at_fastest and assured[1])
