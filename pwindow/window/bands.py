"""Speed bands: for each roll × plate × pressure the speeds that are assured, and the one to run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.study import Roll
from pwindow.window.window import Window

SPEED_STEP = 0.1
"""Speeds are told to this step, m/min, rounded towards the inside of a band."""
_GRID = 121
_COARSE_POINTS = 499


@dataclass(frozen=True)
class Row:
    """One roll × plate × pressure with the speeds the trial region leaves it, m/min."""

    roll: Roll
    plate: str
    pressure: float
    slowest: float
    fastest: float

    def speeds(self) -> np.ndarray:
        """Speeds to look at, evenly spaced by ratio; both ends included."""
        if self.slowest == self.fastest:
            return np.array([self.slowest])
        return np.geomspace(self.slowest, self.fastest, _GRID)


def rows(window: Window, pressures: Sequence[float] | None = None) -> list[Row]:
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


def band_columns(window: Window) -> list[str]:
    """Columns of the table of speed bands."""
    return [
        "roll",
        "plate",
        "cell_volume_cm3_m2",
        window.surfaces.trial.pressure_key,
        "speed_low_m_min",
        "speed_high_m_min",
        "fastest_speed_m_min",
        "safest_speed_m_min",
        "conformance_at_fastest",
        "conformance_at_safest",
        "limiting_low",
        "limiting_high",
    ]


def speed_bands(window: Window, pressures: Sequence[float] | None = None) -> pd.DataFrame:
    """See `Window.speed_bands`."""
    _refuse_untried(window, pressures)
    found = [band for row in rows(window, pressures) for band in _bands(window, row)]
    return pd.DataFrame(found, columns=band_columns(window))


def _refuse_untried(window: Window, pressures: Sequence[float] | None) -> None:
    tried, unit = window.surfaces.trial.pressures, window.surfaces.trial.pressure_unit
    for pressure in pressures or ():
        if not tried[0] - 1e-9 <= pressure <= tried[-1] + 1e-9:
            raise WindowProblem(
                f"pressure {pressure:g} {unit} is outside what the trial tried "
                f"({tried[0]:g} to {tried[-1]:g} {unit}); ask for one inside, or print a trial with it"
            )


def _bands(window: Window, row: Row) -> list[dict]:
    speeds = row.speeds()
    joint = window.joint_conformance(_at(window, row, speeds), _COARSE_POINTS)
    bands = []
    for first, last in _runs(joint >= window.level):
        ends = _round_inward(
            window, row, _edge(speeds, joint, first, -1, window), _edge(speeds, joint, last, 1, window)
        )
        if ends is not None:
            safest = speeds[first + int(np.argmax(joint[first : last + 1]))]
            bands.append(_describe(window, row, *ends, float(np.clip(round(safest, 1), *ends))))
    return bands


def _at(window: Window, row: Row, speeds) -> pd.DataFrame:
    return window.setups(row.plate, speeds, row.roll.cell_volume, row.pressure)


def _runs(assured: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], assured.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2])]


def _edge(speeds: np.ndarray, joint: np.ndarray, at: int, step: int, window: Window) -> float:
    """Speed at which the joint conformance crosses the level, between a grid point and the next."""
    beyond = at + step
    if not 0 <= beyond < len(speeds):
        return float(speeds[at])
    inside, outside = joint[at], joint[beyond]
    share = (inside - window.level) / (inside - outside)
    return float(speeds[at] * (speeds[beyond] / speeds[at]) ** share)


def _round_inward(window: Window, row: Row, low: float, high: float) -> tuple[float, float] | None:
    """Ends to the speed step, each still assured; None where no such speed is left."""
    lowest, highest = int(np.ceil(low / SPEED_STEP - 1e-6)), int(np.floor(high / SPEED_STEP + 1e-6))
    lowest = _assured_from(window, row, lowest, highest, 1)
    highest = None if lowest is None else _assured_from(window, row, highest, lowest, -1)
    if lowest is None or highest is None:
        return None
    return round(lowest * SPEED_STEP, 1), round(highest * SPEED_STEP, 1)


def _assured_from(window: Window, row: Row, start: int, end: int, step: int) -> int | None:
    """First step from `start` towards `end` whose accurately computed conformance is assured."""
    for tenth in range(start, end + step, step):
        speed = np.round(tenth * SPEED_STEP, 1)
        if window.joint_conformance(_at(window, row, speed))[0] >= window.level:
            return tenth
    return None


def _describe(window: Window, row: Row, low: float, high: float, safest: float) -> dict:
    table = window.conformance(_at(window, row, [low, high, safest]))
    limiting = table.drop(columns="joint").idxmin(axis=1)
    values = (
        row.roll.id,
        row.plate,
        row.roll.cell_volume,
        row.pressure,
        low,
        high,
        high,
        safest,
        float(table["joint"][1]),
        float(table["joint"][2]),
        limiting[0],
        limiting[1],
    )
    return dict(zip(band_columns(window), values))


def closest(window: Window, pressures: Sequence[float] | None = None) -> dict | None:
    """The set-up of the inventory that comes closest, and how close for each requirement.

    Returns
    -------
    dict or None
        ``at`` (the set-up), ``joint``, and ``requirements``: conformance, predicted value and limits of
        each. None where no roll lies in the trial region.
    """
    best = None
    for row in rows(window, pressures):
        speeds = row.speeds()
        joint = window.joint_conformance(_at(window, row, speeds), _COARSE_POINTS)
        top = int(np.argmax(joint))
        if best is None or joint[top] > best[0]:
            best = (joint[top], row, speeds[top])
    if best is None:
        return None
    _, row, speed = best
    setup = _at(window, row, round(float(speed), 1))
    table, quantities = window.conformance(setup), window.quantities(setup)
    return {
        "at": {
            "roll": row.roll.id,
            "plate": row.plate,
            "cell_volume_cm3_m2": row.roll.cell_volume,
            window.surfaces.trial.pressure_key: row.pressure,
            "speed_m_min": round(float(speed), 1),
        },
        "joint": float(table["joint"][0]),
        "requirements": {
            requirement.name: {
                "conformance": float(table[requirement.name][0]),
                "predicted": float(quantities[requirement.name]["mean"][0]),
                "least": requirement.least,
                "most": requirement.most,
                "unit": requirement.kind.unit,
            }
            for requirement in window.product.requirements
        },
    }
