"""What else could be done: another speed or roll, one step of a setting, a limit moved."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pwindow.window.bands import SpeedBand
from pwindow.window.search.recommendation import neighbours
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import (
    CONFORMANCE,
    LimitTrades,
    limit_trades,
    sensitivities,
    side_by_side,
    silver_notes,
)
from pwindow.window.window import Window
from pwindow.wording import Unit, Units


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of a setting: joint conformance after it, None where nothing was tried there."""

    label: str
    unit: str
    before: float
    after: float
    conformance: float | None
    limiting: str


@dataclass(frozen=True)
class Neighbour:
    """A slower or faster speed, m/min: conformance of each requirement there and of all, and what limits it."""

    speed: float
    joint: float
    conformance: Mapping[str, float]
    limiting: str

    def to_dict(self) -> dict:
        """The same by the columns of `pwindow.window.search.recommendation.neighbours`."""
        speed = {"speed_m_min": self.speed, "joint": self.joint}
        return speed | dict(self.conformance) | {"limiting": self.limiting}


@dataclass(frozen=True)
class Difference:
    """What one set-up has more than the first, with the 95 % interval of the difference of means; NaN without one."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Compared:
    """One thing about one set-up: a number, text or truth, with the 95 % interval of the next print.

    Attributes
    ----------
    value : float, str or bool
    low, high : float
        NaN where there is no interval.
    difference : Difference or None
        To the first set-up; None of the first itself.
    """

    value: float | str | bool
    low: float
    high: float
    difference: Difference | None

    def shown_in(self, unit: Unit) -> Compared:
        """The same in another unit; texts and truths stay as they are."""
        if isinstance(self.value, (str, bool)):
            return self
        apart = self.difference
        if apart is not None:
            apart = Difference(unit.of(apart.value), unit.of(apart.low), unit.of(apart.high))
        return Compared(unit.of(self.value), unit.of(self.low), unit.of(self.high), apart)

    def to_dict(self) -> dict:
        """The same as plain values."""
        own = {"value": self.value, "low": self.low, "high": self.high}
        if self.difference is None:
            return own
        apart = self.difference
        return own | {
            "difference": apart.value,
            "difference_low": apart.low,
            "difference_high": apart.high,
        }


@dataclass(frozen=True)
class ComparedRow:
    """One thing about all set-ups."""

    what: str
    label: str
    unit: str
    values: tuple[Compared, ...]

    def shown_in(self, units: Units) -> ComparedRow:
        """The same in other units."""
        unit = units.of_column(self.what, self.unit)
        return replace(self, unit=unit.name, values=tuple(one.shown_in(unit) for one in self.values))

    def to_dict(self) -> dict:
        """The same as plain values."""
        return vars(self) | {"values": [value.to_dict() for value in self.values]}


@dataclass(frozen=True)
class Beside:
    """Set-ups beside each other, the first the one that is reviewed; `heads` say what each is."""

    heads: tuple[str, ...]
    rows: tuple[ComparedRow, ...]

    def to_dict(self) -> dict:
        """The same as plain values."""
        return {"heads": self.heads, "rows": [row.to_dict() for row in self.rows]}


@dataclass(frozen=True, kw_only=True)
class Alternatives:
    """What else could be done.

    Attributes
    ----------
    bands : tuple of SpeedBand
        At the pressures that were tried.
    nearby : tuple of Neighbour
        Slower and faster speeds.
    steps : tuple of Step
        What one step of a setting changes.
    limits : LimitTrades
        What each limit 10 % tighter or looser gives.
    beside : Beside or None
        The set-up beside the most reliable of its band and the fastest of another roll; None without either.
    silver_notes : tuple of str
    """

    bands: tuple[SpeedBand, ...]
    nearby: tuple[Neighbour, ...]
    steps: tuple[Step, ...]
    limits: LimitTrades
    beside: Beside | None
    silver_notes: tuple[str, ...]


def alternatives_to(
    window: Window, setup: Setup, bands: Sequence[SpeedBand], band: SpeedBand | None
) -> Alternatives:
    """What else could be done than a set-up.

    Parameters
    ----------
    window : Window
    setup : Setup
    bands : sequence of SpeedBand
        At the pressures that were tried.
    band : SpeedBand or None
        The one that holds the set-up.
    """
    return Alternatives(
        bands=tuple(bands),
        nearby=_nearby(window, setup),
        steps=_steps(sensitivities(window, setup)),
        limits=limit_trades(window, setup),
        beside=_beside(window, setup, bands, band),
        silver_notes=silver_notes(window),
    )


def _nearby(window: Window, setup: Setup) -> tuple[Neighbour, ...]:
    table = neighbours(window, setup.plate, setup.roll.cell_volume, setup.pressure, setup.speed)
    ends = ("speed_m_min", "joint", "limiting", "at_least")
    return tuple(
        Neighbour(
            float(row["speed_m_min"]),
            float(row["joint"]),
            {str(name): float(value) for name, value in row.items() if name not in ends},
            row["limiting"],
        )
        for row in table.to_dict("records")
    )


def _steps(table: pd.DataFrame) -> tuple[Step, ...]:
    """Steps of the settings, from `sensitivities`."""
    return tuple(
        Step(
            label=row["what"].replace("_", " "),
            unit=row["unit"],
            before=row["before"],
            after=row["after"],
            conformance=None if math.isnan(row["conformance_after"]) else row["conformance_after"],
            limiting=row["limiting_after"],
        )
        for row in table[table["limit"] == ""].to_dict("records")
    )


def _beside(
    window: Window, setup: Setup, bands: Sequence[SpeedBand], band: SpeedBand | None
) -> Beside | None:
    named = {"this set-up": setup}
    if band is not None and not math.isclose(band.safest, setup.speed):
        named["most reliable speed of this band"] = replace(setup, speed=band.safest)
    other = _fastest_of_another_roll(setup, bands)
    if other is not None:
        named["fastest speed of another roll"] = other
    if len(named) == 1:
        return None
    table = side_by_side(window, list(named.values()))
    rows = (_row(line, len(named)) for _, line in table.iterrows() if _is_shown(line["what"]))
    return Beside(tuple(named), tuple(rows))


def _is_shown(what: str) -> bool:
    return what not in ("in_trial_region", "limiting") and not what.startswith(f"{CONFORMANCE}_")


def _fastest_of_another_roll(setup: Setup, bands: Sequence[SpeedBand]) -> Setup | None:
    others = [band for band in bands if band.roll.id != setup.roll.id]
    if not others:
        return None
    best = sorted(others, key=lambda band: band.high)[-1]
    return Setup(best.plate, best.roll, best.pressure, best.high)


def _row(line: pd.Series, count: int) -> ComparedRow:
    values = tuple(_compared(line, at) for at in range(1, count + 1))
    return ComparedRow(line["what"], line["label"], line["unit"], values)


def _compared(line: pd.Series, at: int) -> Compared:
    low, high = (float(line[f"setup_{at}_obs_ci_{end}"]) for end in ("low", "high"))
    difference = None
    if at > 1:
        difference = Difference(
            *(float(line[f"setup_{at}_difference{end}"]) for end in ("", "_low", "_high"))
        )
    return Compared(line[f"setup_{at}"], low, high, difference)
