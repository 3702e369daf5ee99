"""Best trade-offs of two things at once: speed, joint conformance, silver use."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from pwindow.window.bands import SPEED_STEP, Row, rows
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.trade_offs.shown import (
    SILVER,
    SILVER_OF_AREA,
    named_conformances,
    predict_shown,
    shown_quantities,
)
from pwindow.window.window import Window

SPEED_AND_CONFORMANCE = "speed and conformance"
SILVER_AND_CONFORMANCE = "silver and conformance"
SPEED_AND_SILVER = "speed and silver"
_QUICK_ERROR = 0.002  # of `quick_probability`
_DECIMALS = 4  # conformances equal to so many decimals are equal: about what they are worked out to
_MOST_SPEEDS = 121
_SILVER_USE = "silver_mg_m_mean"


def frontier(
    window: Window, pressures: Sequence[float] | None = None, bands: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Best trade-offs of the inventory: set-ups with none better in two things at once.

    The set-ups compared are those of `runnable`. Of equals the one of higher conformance stands for all.

    Parameters
    ----------
    window : Window
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.
    bands : DataFrame, optional
        The window's speed bands at these pressures, where they are known already.

    Returns
    -------
    DataFrame
        ``trade`` says of what: speed and conformance; silver and conformance; speed and silver, among
        assured set-ups. Then the columns of `runnable`; ``conformance`` (joint) and ``conformance_…`` of
        each requirement, as of `Window.conformance`; ``limiting``, ``assured``; and silver use as of
        `predict_shown`, where the trial gives it. Conformances are compared to 0.01 %.
    """
    bands = window.speed_bands(pressures) if bands is None else bands
    table = runnable(window, pressures, bands)
    if table.empty:
        return pd.DataFrame(columns=["trade", *table.columns])
    quick, silver = _by_plate(window, table, _quick), _by_plate(window, table, _silver)
    trades = {SPEED_AND_CONFORMANCE: -table["speed_m_min"].to_numpy()}
    if _SILVER_USE in silver:
        trades[SILVER_AND_CONFORMANCE] = silver[_SILVER_USE].to_numpy()
    held = _held(window, table, quick["quick"].to_numpy(), bands)
    asked = _worth_a_look(quick["quick"].to_numpy(), trades, *held)
    table, silver = table[asked], silver[asked]
    table = table.join(_by_plate(window, table, _conformances)).join(silver)
    assured = held[0][asked] if window.confidence is not None else table["conformance"] >= window.level
    table.insert(list(table.columns).index("limiting") + 1, "assured", assured)
    parts = [
        table.iloc[_best(costs[asked], -_compared(table))].assign(trade=name)
        for name, costs in trades.items()
    ]
    if SILVER_AND_CONFORMANCE in trades:
        parts.append(_speed_and_silver(table).assign(trade=SPEED_AND_SILVER))
    found = pd.concat(parts, ignore_index=True)
    return found[["trade", *found.columns.drop("trade")]]


def runnable(
    window: Window, pressures: Sequence[float] | None = None, bands: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Set-ups of the inventory in the trial region that a press can be set to.

    Every roll × plate × pressure at whole speeds, at the ends of the trial region, and at the fastest
    and most reliable speeds of the speed bands.

    Parameters
    ----------
    window : Window
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.
    bands : DataFrame, optional
        Speed bands at these pressures, where they are known already.

    Returns
    -------
    DataFrame
        ``roll``, ``planned``, ``plate``, ``cell_volume_cm3_m2``, the pressure, ``speed_m_min``.
    """
    bands = window.speed_bands(pressures) if bands is None else bands
    key = window.surfaces.trial.pressure_key
    columns = ["roll", "planned", "plate", "cell_volume_cm3_m2", key, "speed_m_min"]
    found = []
    for row in rows(window, pressures):
        own = (bands["roll"] == row.roll.id) & (bands["plate"] == row.plate) & (bands[key] == row.pressure)
        of_bands = bands.loc[own, ["fastest_speed_m_min", "safest_speed_m_min"]].to_numpy(float).ravel()
        head = (row.roll.id, row.roll.planned, row.plate, row.roll.cell_volume, row.pressure)
        found += [(*head, speed) for speed in np.unique([*_speeds(row), *of_bands])]
    return pd.DataFrame(found, columns=columns)


def _speeds(row: Row) -> list[float]:
    """Whole speeds of a row, and its ends rounded towards the inside."""
    low = np.ceil(row.slowest / SPEED_STEP - 1e-6) * SPEED_STEP
    high = np.floor(row.fastest / SPEED_STEP + 1e-6) * SPEED_STEP
    if low > high:
        return [row.slowest] if row.slowest == row.fastest else []
    step = max(1, int(np.ceil((high - low) / _MOST_SPEEDS)))
    return np.round([low, *np.arange(np.ceil(low), high, step), high], 1).tolist()


def _by_plate(
    window: Window, table: pd.DataFrame, work: Callable[[Window, str, pd.DataFrame], pd.DataFrame]
) -> pd.DataFrame:
    """What `work` finds at the set-ups of each plate process, in the order of the table."""
    key = window.surfaces.trial.pressure_key
    parts = []
    for plate in table["plate"].unique():
        members = table[table["plate"] == plate]
        setups = window.setups(plate, members["speed_m_min"], members["cell_volume_cm3_m2"], members[key])
        parts.append(work(window, plate, setups).set_index(members.index))
    return pd.concat(parts).loc[table.index]


def _quick(window: Window, plate: str, setups: pd.DataFrame) -> pd.DataFrame:
    found = window.predictive(setups)
    # a limit on every line: `bounds` leaves none out
    _, lower, upper = window.limits[plate].bounds()
    return pd.DataFrame({"quick": quick_probability(lower, upper, found.mean, found.scale, found.df)})


def _silver(window: Window, plate: str, setups: pd.DataFrame) -> pd.DataFrame:
    shown = shown_quantities(window, plate)
    of_silver = {name: shown[name] for name in (SILVER, SILVER_OF_AREA) if name in shown}
    return predict_shown(window, setups, of_silver)


def _conformances(window: Window, plate: str, setups: pd.DataFrame) -> pd.DataFrame:
    return named_conformances(window.conformance(setups))


def _held(
    window: Window, table: pd.DataFrame, quick: np.ndarray, bands: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray]:
    """Which set-ups are surely assured, and which may be; where a confidence is asked for the bands tell."""
    if window.confidence is None:
        return quick > window.level + _QUICK_ERROR, np.abs(quick - window.level) <= _QUICK_ERROR
    row = ["roll", "plate", window.surfaces.trial.pressure_key]
    ends = bands[[*row, "speed_low_m_min", "speed_high_m_min"]]
    known = table[[*row, "speed_m_min"]].reset_index().merge(ends, on=row)
    inside = known[known["speed_m_min"].between(known["speed_low_m_min"], known["speed_high_m_min"])]
    return table.index.isin(inside["index"]), np.zeros(len(table), bool)


def _worth_a_look(
    quick: np.ndarray, trades: dict[str, np.ndarray], surely: np.ndarray, maybe: np.ndarray
) -> np.ndarray:
    """Set-ups that may be on a frontier once conformance is worked out accurately, shape (m,)."""
    room = 2.0 * _QUICK_ERROR + 10.0**-_DECIMALS
    asked = maybe.copy()
    for costs in trades.values():
        asked |= quick >= _best_so_far(costs, quick) - room
    if SILVER_AND_CONFORMANCE in trades:
        known = np.flatnonzero(surely)
        speed, silver = (trades[name][known] for name in (SPEED_AND_CONFORMANCE, SILVER_AND_CONFORMANCE))
        asked[known[_best(speed, silver)]] = True
    return asked


def _best_so_far(costs: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Highest value among those that cost no more, for each."""
    order = np.lexsort((-values, costs))
    best = np.empty_like(values)
    best[order] = np.maximum.accumulate(values[order])
    return best


def _best(costs: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Positions of those that none beats in two costs, the first one rising; of equals the first."""
    order = np.lexsort((others, costs))
    lowest = np.minimum.accumulate(np.concatenate([[np.inf], others[order]]))[:-1]
    return order[others[order] < lowest]


def _compared(table: pd.DataFrame) -> np.ndarray:
    return table["conformance"].round(_DECIMALS).to_numpy()


def _speed_and_silver(table: pd.DataFrame) -> pd.DataFrame:
    assured = table[table["assured"]]
    return assured.iloc[_best(-assured["speed_m_min"].to_numpy(), assured[_SILVER_USE].to_numpy())]
