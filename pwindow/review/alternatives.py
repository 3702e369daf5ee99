"""What else could be done: another speed or roll, one step of a setting, a limit relaxed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from pwindow.window.bands import SpeedBand
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, side_by_side
from pwindow.window.trade_offs.sensitivities import Change, with_limit
from pwindow.window.window import Window, find_window


@dataclass(frozen=True)
class Step:
    """One step of a setting: joint conformance after it, None where nothing was tried there."""

    label: str
    unit: str
    before: float
    after: float
    conformance: float | None
    limiting: str


@dataclass(frozen=True)
class Relaxed:
    """One limit relaxed by a step.

    Attributes
    ----------
    label, unit, end : str
        Of the requirement; `end` is "at most" or "at least".
    before, after : float
        The limit.
    conformance : float
        Joint, at the same set-up.
    fastest : float or None
        Fastest assured speed with the same roll, plate and pressure, m/min.
    """

    label: str
    unit: str
    end: str
    before: float
    after: float
    conformance: float
    fastest: float | None


@dataclass(frozen=True)
class Beside:
    """Set-ups beside each other, the first the one that is reviewed.

    Attributes
    ----------
    heads : tuple of str
        What each set-up is.
    rows : tuple of mapping
        ``what``, ``label``, ``unit``, and ``values``: for each set-up ``value``, ``low``, ``high`` (95 % interval
        of the next print) and ``difference``, ``difference_low``, ``difference_high`` to the first (interval
        of the difference of means).
    """

    heads: tuple[str, ...]
    rows: tuple[Mapping, ...]


def steps(table: pd.DataFrame) -> tuple[Step, ...]:
    """Steps of the settings, from `sensitivities`."""
    return tuple(
        Step(
            row.what.replace("_", " "),
            row.unit,
            row.before,
            row.after,
            None if math.isnan(row.conformance_after) else float(row.conformance_after),
            row.limiting_after,
        )
        for row in table[table["limit"] == ""].itertuples()
    )


def relaxed(window: Window, setup: Setup, table: pd.DataFrame) -> tuple[Relaxed, ...]:
    """What each limit would give if it were relaxed by a step."""
    found = []
    for row in table[table["limit"] != ""].itertuples():
        eased = row.step < 0 if row.limit == "least" else row.step > 0
        if not eased or math.isnan(row.conformance_after):
            continue
        change = Change(row.what, row.unit, row.before, row.after, row.requirement, row.limit)
        found.append(
            Relaxed(
                row.what,
                row.unit,
                f"at {row.limit}",
                row.before,
                row.after,
                float(row.conformance_after),
                _fastest(window, setup, change),
            )
        )
    return tuple(found)


def _fastest(window: Window, setup: Setup, change: Change) -> float | None:
    """Fastest assured speed of the roll at plate and pressure of a set-up, with one limit moved."""
    product = with_limit(window.product, change)
    product = replace(product, pattern=replace(product.pattern, plate=setup.plate or product.pattern.plate))
    alone = find_window(window.surfaces, product, replace(window.study, rolls=(setup.roll,)))
    bands = alone.speed_bands([setup.pressure])
    return None if bands.empty else float(bands["speed_high_m_min"].max())


def alternatives(window: Window, setup: Setup, bands: pd.DataFrame, band: Mapping | None) -> Beside | None:
    """The set-up beside the safest of its band and the fastest of another roll; None without either."""
    named = {"this set-up": setup}
    if band is not None and not math.isclose(band["safest_speed_m_min"], setup.speed):
        named["safest speed of this band"] = replace(setup, speed=float(band["safest_speed_m_min"]))
    other = _of_another_roll(window, setup, bands)
    if other is not None:
        named["fastest of another roll"] = other
    if len(named) == 1:
        return None
    table = side_by_side(window, list(named.values()))
    return Beside(tuple(named), tuple(_row(line, len(named)) for _, line in table.iterrows() if _told(line)))


def _told(line: pd.Series) -> bool:
    return line["what"] not in ("in_trial_region", "limiting") and not line["what"].startswith(
        f"{CONFORMANCE}_"
    )


def _of_another_roll(window: Window, setup: Setup, bands: pd.DataFrame) -> Setup | None:
    others = bands[bands["roll"] != setup.roll.id].sort_values("fastest_speed_m_min", kind="stable")
    if others.empty:
        return None
    best = SpeedBand.of(others.iloc[-1], window)
    return Setup(best.plate, best.roll, best.pressure, best.high)


def _row(line: pd.Series, count: int) -> dict:
    values = []
    for at in range(1, count + 1):
        own = {"value": line[f"setup_{at}"]}
        own |= {end: float(line[f"setup_{at}_obs_ci_{end}"]) for end in ("low", "high")}
        if at > 1:
            own |= {
                f"difference{end}": float(line[f"setup_{at}_difference{end}"])
                for end in ("", "_low", "_high")
            }
        values.append(own)
    return {"what": line["what"], "label": line["label"], "unit": line["unit"], "values": values}
