"""Speed bands: for each roll × plate × pressure the speeds that are assured, and the one to run."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pwindow.errors import WindowProblem
from pwindow.product import REQUIREMENT_KINDS, Requirement
from pwindow.study import Roll
from pwindow.window.confidence import bound_confidence, conformance_at_least, reached
from pwindow.window.conformance import Conformance

SPEED_STEP = 0.1
"""Speeds are stated to this step, m/min, rounded towards the inside of a band."""
_GRID = 121
_COARSE_POINTS = 499
_BEYOND = 1.01  # times a speed at an end, where is seen which requirement falls fastest
_TRIED = {"low": "slowest tried", "high": "fastest tried"}
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
    falling_low, falling_high : str
        The requirement whose probability falls fastest beyond each end, which ends the band unless the trial does.
    missed_low, missed_high : str
        On which side of that requirement, if it has two, most prints miss there: "too small", "too large" or "".
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
    falling_low: str
    falling_high: str
    missed_low: str
    missed_high: str
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
        return _end_words("low", self.falling_low, self.missed_low, by_trial=self.trial_ends_low)

    @property
    def fast_end(self) -> str:
        """What limits the band at its high end, in words."""
        return _end_words("high", self.falling_high, self.missed_high, by_trial=self.trial_ends_high)

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
        "falling_low": "falling_low",
        "falling_high": "falling_high",
        "missed_low": "missed_low",
        "missed_high": "missed_high",
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
    falling, missed, by_trial = (band[f"{what}_{end}"] for what in ("falling", "missed", "trial_ends"))
    return _end_words(end, falling, missed, by_trial=by_trial)


def _end_words(end: str, falling: str, missed: str, *, by_trial: bool) -> str:
    return _TRIED[end] if by_trial else f"{REQUIREMENT_KINDS[falling].label} {missed}".rstrip()


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
    found = []
    for _, of_plate in groupby(asked, attrgetter("plate")):
        spans = _spans(window, list(of_plate))
        found += [band.to_dict(key) for band in _described(window, spans)]
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
    return _described(window, _spans(window, [row]))


@dataclass(frozen=True)
class _Span:
    """Where a band of a row begins, ends and is safest, m/min."""

    row: Row
    low: float
    high: float
    safest: float

    def touches(self, end: str) -> bool:
        """Whether no speed step lies between its 'low' or 'high' end and the edge of its row."""
        first, last = _steps_inside(self.row.slowest, self.row.fastest)
        if end == "low":
            return self.low <= max(first * SPEED_STEP, self.row.slowest) + 1e-6
        return self.high >= min(last * SPEED_STEP, self.row.fastest) - 1e-6

    def band(self, known: Mapping) -> SpeedBand:
        """The band, with what is known at its ends by the name of its attribute."""
        return SpeedBand(
            roll=self.row.roll,
            plate=self.row.plate,
            pressure=self.row.pressure,
            low=self.low,
            high=self.high,
            safest=self.safest,
            **known,
        )


def _spans(window: Conformance, of_plate: Sequence[Row]) -> list[_Span]:
    """Where the bands of rows of one plate process are, of each row the slowest first."""
    grids = [row.speeds() for row in of_plate]
    setups = pd.concat([_at(window, row, speeds) for row, speeds in zip(of_plate, grids)], ignore_index=True)
    held = reached(window, setups, _COARSE_POINTS, least=window.level - _NEAR)
    parts = np.split(held, np.cumsum([len(speeds) for speeds in grids])[:-1])
    return [span for each in zip(of_plate, grids, parts) for span in _spans_of(window, *each)]


def _spans_of(window: Conformance, row: Row, speeds: np.ndarray, held: np.ndarray) -> list[_Span]:
    found = []
    for first, last in _runs(held >= window.level):
        crossings = (_crossing(speeds, held, at, step, window) for at, step in ((first, -1), (last, 1)))
        ends = _to_the_step(window, row, *crossings)
        if ends is not None:
            safest = speeds[first + int(np.argmax(held[first : last + 1]))]
            found.append(_Span(row, *ends, float(np.clip(round(safest, 1), *ends))))
    return found


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


def _described(window: Conformance, spans: Sequence[_Span]) -> list[SpeedBand]:
    """The bands of one plate process with what is known at their ends, worked out for all of them at once."""
    if not spans:
        return []

    def at(speeds: ArrayLike) -> pd.DataFrame:
        volumes, pressures = zip(*((span.row.roll.cell_volume, span.row.pressure) for span in spans))
        return window.setups(spans[0].row.plate, speeds, volumes, pressures)

    columns: dict[str, ArrayLike] = {}
    for end, edge, beyond in (("low", "slowest", 1.0 / _BEYOND), ("high", "fastest", _BEYOND)):
        speeds = np.array([getattr(span, end) for span in spans])
        alone = window.conformance_alone(at(speeds))
        columns[f"limiting_{end}"] = alone.idxmin(axis=1)
        falling = (alone - window.conformance_alone(at(speeds * beyond))).idxmax(axis=1)
        columns[f"falling_{end}"], columns[f"missed_{end}"] = (
            falling,
            _sides(window, at(speeds), map(str, falling)),
        )
        held = reached(window, at([getattr(span.row, edge) for span in spans]), least=window.level)
        touched = [span.touches(end) for span in spans]  # else a requirement ends it within that step
        columns[f"trial_ends_{end}"] = touched & (held >= window.level)
    for name, of in (("fastest", "high"), ("safest", "safest")):
        setups = at([getattr(span, of) for span in spans])
        columns[f"conformance_at_{name}"] = window.joint_conformance(setups)
        columns[f"{name}_at_least"] = conformance_at_least(window, setups, bound_confidence(window))
    return [span.band(known) for span, known in zip(spans, pd.DataFrame(columns).to_dict("records"))]


def _sides(window: Conformance, setups: pd.DataFrame, names: Iterable[str]) -> list[str]:
    """On which side of a requirement with two sides most prints miss, for one requirement at each set-up."""
    found = window.predict(window.limits_for(setups).quantities, setups, most=False)
    limits = {one.name: one for one in window.product.requirements}
    return [_side(limits[name], float(found[name]["mean"].iloc[at])) for at, name in enumerate(names)]


def _side(limit: Requirement, mean: float) -> str:
    if limit.least is None or limit.most is None or np.isnan(mean):  # it is NaN where known from counts alone
        return ""
    return "too small" if mean - limit.least < limit.most - mean else "too large"
