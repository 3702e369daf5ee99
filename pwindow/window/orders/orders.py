"""The plates to order for a product, best first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtri

from pwindow.errors import WindowProblem
from pwindow.plates import PlateMaking, ProcessMaking
from pwindow.product import Product
from pwindow.study import Roll, Study
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.bands import SpeedBand
from pwindow.window.confidence import ConformanceInterval, conformance_interval, reach_under_each
from pwindow.window.orders.new_plate import NewPlate
from pwindow.window.orders.order_map import OrderMap, order_map
from pwindow.window.window import Window
from pwindow.wording import listed

FASTEST, WIDEST, SUREST = "fastest assured speed", "widest speed band", "highest probability"
_AS_FAST = 0.995  # share of the fastest speed from which plates count as equally fast
_SPEEDS = 41
_LEVEL = 0.90


@dataclass(frozen=True, kw_only=True)
class PlateOrder:
    """A plate to order, and what it does.

    Attributes
    ----------
    plate : str
        Its process.
    aim : str
        What it is the best of its process in: `FASTEST`, `WIDEST`, or `SUREST` where nothing is assured.
    artwork_width, artwork_gap : float
        What the artwork must be, in steps of its resolution; µm.
    plate_width, plate_gap, lip_width : float
        What its features then measure on average; µm. NaN where it does not matter.
    roll : Roll
    pressure : float
        In the trial's unit of pressure.
    speed : float, m/min
        The fastest assured, or the surest where nothing is assured.
    band : SpeedBand or None
        None where nothing is assured.
    conformance : float
        Joint conformance there of a new plate like this.
    interval : ConformanceInterval
    speeds_between : (float, float)
        What the fastest speed that reaches the level would be if everything were known, with 90 % probability, m/min;
        NaN where it is not reached within what was tried.
    in_trial_region : bool
    """

    plate: str
    aim: str
    artwork_width: float
    artwork_gap: float
    plate_width: float
    plate_gap: float
    lip_width: float
    roll: Roll
    pressure: float
    speed: float
    band: SpeedBand | None
    conformance: float
    interval: ConformanceInterval
    speeds_between: tuple[float, float]
    in_trial_region: bool

    def to_dict(self) -> dict:
        """As plain values, sizes in µm and speeds in m/min."""
        return {
            "plate": self.plate,
            "best_in": self.aim,
            "plate_width_um": self.plate_width,
            "plate_gap_um": self.plate_gap,
            "lip_width_um": self.lip_width,
            "artwork_width_um": self.artwork_width,
            "artwork_gap_um": self.artwork_gap,
            "fastest_speed_m_min": None if self.band is None else self.band.high,
            "slowest_speed_m_min": None if self.band is None else self.band.low,
            "fastest_speed_between_m_min": list(self.speeds_between),
            "speed_m_min": self.speed,
            "roll": self.roll.id,
            "pressure": self.pressure,
            "conformance": self.conformance,
            "conformance_interval": self.interval.to_dict(),
            "in_trial_region": self.in_trial_region,
        }


@dataclass(frozen=True)
class Telling:
    """The plate and set-up that would tell most if they were printed next: where meeting the requirements is least certain.

    Attributes
    ----------
    plate : str
    plate_width, plate_gap : float, µm
    roll : Roll
    pressure : float
        In the trial's unit of pressure.
    speed : float, m/min
    conformance : float
        Joint conformance p there; p(1 − p) is the largest.
    """

    plate: str
    plate_width: float
    plate_gap: float
    roll: Roll
    pressure: float
    speed: float
    conformance: float


@dataclass(frozen=True)
class PlateOrders:
    """The plates to order for a product.

    Attributes
    ----------
    orders : tuple of PlateOrder
        Best first: the fastest, then the surest.
    maps : tuple of OrderMap
        One for each process.
    making : PlateMaking
    telling : Telling or None
        None where all is as certain as it can be.
    notes : tuple of str
        Processes that are passed over, and what the plates are taken to differ by.
    """

    orders: tuple[PlateOrder, ...]
    maps: tuple[OrderMap, ...]
    making: PlateMaking
    telling: Telling | None
    notes: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """One row per order, as of `PlateOrder.to_dict` without its interval."""
        rows = [order.to_dict() for order in self.orders]
        for row in rows:
            row["conformance_at_least"] = row.pop("conformance_interval")["at_least"]
        return pd.DataFrame(rows)


def plate_orders(surfaces: Surfaces, product: Product, study: Study, making: PlateMaking) -> PlateOrders:
    """The plates to order: per process the one with the fastest assured speed, and the one with the widest speed band.

    Parameters
    ----------
    surfaces : Surfaces
    product : Product
        Its plate process, plate width and plate gap are left open; a direction is kept.
    study : Study
    making : PlateMaking
        What plates become of their artwork.

    Raises
    ------
    WindowProblem
        If it cannot be judged on plates of any process.
    """
    maps, passed_over = [], []
    for process in surfaces.region.plates:
        try:
            maps.append(order_map(surfaces, product, study, making.of(process)))
        except WindowProblem as problem:
            passed_over.append(f"plates “{process}”: {problem}" if process else str(problem))
    if not maps:
        raise WindowProblem("no plate can be judged for this product: " + "; ".join(passed_over))
    orders = [
        order
        for found in maps
        for order in _of_process(surfaces, product, study, making.of(found.process), found)
    ]
    orders.sort(key=lambda order: (-(order.band.high if order.band else 0.0), -order.conformance))
    notes = [f"not judged: {problem}" for problem in passed_over]
    notes += [note for found in maps for note in making.of(found.process).notes]
    return PlateOrders(tuple(orders), tuple(maps), making, _telling(maps), tuple(notes))


def _of_process(
    surfaces: Surfaces, product: Product, study: Study, making: ProcessMaking, found: OrderMap
) -> Iterator[PlateOrder]:
    places: dict[tuple[int, int], list[str]] = {}
    for aim, place in _best_places(found):
        places.setdefault(place, []).append(aim)
    for place, aims in places.items():
        yield _order(surfaces, product, study, making, found, place, listed(aims))


def _best_places(found: OrderMap) -> Iterator[tuple[str, tuple[int, int]]]:
    """Plates of a map that are the best in something, by row and column."""
    assured = found.tried & np.isfinite(found.fastest)
    if not found.tried.any():
        return
    if not assured.any():
        yield SUREST, _place(np.where(found.tried, found.best, -1.0))
        return
    for aim, of in ((FASTEST, found.fastest), (WIDEST, found.span)):
        values = np.where(assured, of, 0.0)
        equal = values >= _AS_FAST * values.max()
        yield aim, _place(np.where(equal, found.best, -1.0))


def _place(values: np.ndarray) -> tuple[int, int]:
    row, column = np.unravel_index(int(np.argmax(values)), values.shape)
    return int(row), int(column)


def _order(
    surfaces: Surfaces,
    product: Product,
    study: Study,
    making: ProcessMaking,
    found: OrderMap,
    place: tuple[int, int],
    aim: str,
) -> PlateOrder:
    """A plate of a map, its artwork in whole steps, judged as exactly as any set-up."""
    row = found.rows[found.of_row[place]]
    artwork, plate = _drawn(product, making, float(found.widths[place[1]]), float(found.gaps[place[0]]))
    window = plate.window(surfaces, product, study)
    band = _fastest_band(window, row.pressure)
    roll = row.roll if band is None else band.roll
    speed = float(found.speed_at_best[place]) if band is None else band.high
    setup = window.setups(making.process, speed, roll.cell_volume, row.pressure)
    return PlateOrder(
        plate=making.process,
        aim=aim,
        artwork_width=artwork[0],
        artwork_gap=artwork[1],
        plate_width=plate.width,
        plate_gap=plate.gap,
        lip_width=plate.lips,
        roll=roll,
        pressure=row.pressure,
        speed=speed,
        band=band,
        conformance=float(window.joint_conformance(setup)[0]),
        interval=conformance_interval(window, setup),
        speeds_between=_speeds_between(window, making.process, roll, row.pressure),
        in_trial_region=bool(window.in_trial_region(setup)[0]),
    )


def _drawn(
    product: Product, making: ProcessMaking, width: float, gap: float
) -> tuple[tuple[float, float], NewPlate]:
    """Artwork in whole steps for a wanted plate, and what the plate then is."""
    step, direction, pattern = making.resolution, product.pattern.direction, product.pattern
    stated = None not in (pattern.lip_width, pattern.plate_gap)
    beyond = pattern.lip_width - pattern.plate_gap if stated else None
    lines = (
        step * round(making.artwork_width(width, direction).value / step) if np.isfinite(width) else np.nan
    )
    gaps = step * round(making.artwork_gap(gap).value / step) if np.isfinite(gap) else np.nan
    plate = NewPlate(
        making,
        making.plate_width(lines, direction).value if np.isfinite(width) else np.nan,
        making.plate_gap(gaps).value if np.isfinite(gap) else np.nan,
        beyond,
    )
    return (lines, gaps), plate


def _fastest_band(window: Window, pressure: float) -> SpeedBand | None:
    bands = window.speed_bands([pressure])
    if bands.empty:
        return None
    return SpeedBand.of(bands.loc[bands["speed_high_m_min"].idxmax()], window)


def _speeds_between(window: Window, plate: str, roll: Roll, pressure: float) -> tuple[float, float]:
    """The fastest speed that reaches the level, if everything were known: its 5 % and 95 % quantiles."""
    ends = window.surfaces.region.speed_range(plate, roll.cell_volume, pressure)
    if ends is None:
        return np.nan, np.nan
    speeds = np.geomspace(*ends, _SPEEDS)
    reached = reach_under_each(window, window.setups(plate, speeds, roll.cell_volume, pressure))
    last = _SPEEDS - 1 - reached[::-1].argmax(axis=0)
    fastest = np.where(reached.any(axis=0), speeds[last], 0.0)
    low, high = np.quantile(fastest, [(1 - _LEVEL) / 2, (1 + _LEVEL) / 2], method="lower")
    return (float(low) or np.nan), (float(high) or np.nan)


def _telling(maps: list[OrderMap]) -> Telling | None:
    """The plate whose best probability is nearest to one half, or of those that conform the one nearest to it."""
    found = [(abs(one.best - 0.5), one) for one in maps if one.tried.any()]
    if not found:
        return None
    distance, best = min(
        ((np.where(one.tried, away, 1.0), one) for away, one in found), key=lambda pair: pair[0].min()
    )
    place = _place(-distance)
    row = best.rows[best.of_row[place]]
    return Telling(
        best.process,
        float(best.widths[place[1]]),
        float(best.gaps[place[0]]),
        row.roll,
        row.pressure,
        float(best.speed_at_best[place]),
        float(best.best[place]),
    )
