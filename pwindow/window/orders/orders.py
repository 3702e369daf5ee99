"""The plates to order for a product, best first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.plates import PlateMaking
from pwindow.product import Product
from pwindow.study import Roll, Study
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.bands import SpeedBand
from pwindow.window.confidence import ConformanceInterval, conformance_interval, reach_under_each
from pwindow.window.orders.new_plate import NewPlate
from pwindow.window.orders.over_plates import Looked, OrderMap, look
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
    beyond : float or None
        As of `NewPlate`.
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
    beyond: float | None = None

    def as_plate(self, making: PlateMaking) -> NewPlate:
        """The plate that is ordered.

        Parameters
        ----------
        making : PlateMaking
            What it was found with.
        """
        return NewPlate(making.of(self.plate), self.plate_width, self.plate_gap, self.beyond)

    def to_dict(self, pressure_key: str) -> dict:
        """As plain values, sizes in µm and speeds in m/min.

        Parameters
        ----------
        pressure_key : str
            Name of the pressure, with its unit, as of `Trial.pressure_key`.
        """
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
            pressure_key: self.pressure,
            "conformance": self.conformance,
            "conformance_interval": self.interval.to_dict(),
            "in_trial_region": self.in_trial_region,
        }


@dataclass(frozen=True, kw_only=True)
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

    def to_dict(self, pressure_key: str) -> dict:
        """As plain values, sizes in µm and speeds in m/min.

        Parameters
        ----------
        pressure_key : str
            Name of the pressure, with its unit, as of `Trial.pressure_key`.
        """
        return {
            "plate": self.plate,
            "plate_width_um": self.plate_width,
            "plate_gap_um": self.plate_gap,
            "roll": self.roll.id,
            pressure_key: self.pressure,
            "speed_m_min": self.speed,
            "conformance": self.conformance,
        }


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

    def to_frame(self, pressure_key: str) -> pd.DataFrame:
        """One row per order, as of `PlateOrder.to_dict`, of its interval ``conformance_at_least``.

        Parameters
        ----------
        pressure_key : str
            Name of the pressure, with its unit, as of `Trial.pressure_key`.
        """
        rows = [order.to_dict(pressure_key) for order in self.orders]
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
    looked, passed_over = [], []
    for process in surfaces.region.plates:
        try:
            looked.append(look(surfaces, product, study, making.of(process)))
        except WindowProblem as problem:
            passed_over.append(f"plates “{process}”: {problem}" if process else str(problem))
    if not looked:
        raise WindowProblem("no plate can be judged for this product: " + "; ".join(passed_over))
    orders = [order for one in looked for order in _of_process(surfaces, product, study, one)]
    orders.sort(key=lambda order: (-(order.band.high if order.band else 0.0), -order.conformance))
    maps = tuple(one.with_sureness(one.map(one.axis("plate_width"), one.axis("plate_gap"))) for one in looked)
    notes = [f"not judged: {problem}" for problem in passed_over]
    notes += [note for one in looked for note in one.making.notes]
    return PlateOrders(tuple(orders), maps, making, _telling(maps), tuple(notes))


def _of_process(surfaces: Surfaces, product: Product, study: Study, looked: Looked) -> list[PlateOrder]:
    """Of the plates whose artwork has whole steps."""
    making, direction = looked.making, product.pattern.direction
    lines = _in_steps(
        looked.widths, lambda size: making.artwork_width(size, direction).value, making.resolution
    )
    gaps = _in_steps(looked.gaps, lambda size: making.artwork_gap(size).value, making.resolution)
    found = looked.map(
        np.array([making.plate_width(one, direction).value for one in lines]),
        np.array([making.plate_gap(one).value for one in gaps]),
    )
    orders = [
        _order(
            NewPlate(making, float(found.widths[column]), float(found.gaps[row]), looked.beyond),
            surfaces,
            product,
            study,
            found,
            (row, column),
            (float(lines[column]), float(gaps[row])),
        )
        for row, column in dict.fromkeys(_best_places(found))
    ]
    best: dict[int, list[str]] = {}
    for aim, worth in _AIMS.items():
        if (order := max(orders, key=worth, default=None)) and (aim == SUREST) == (order.band is None):
            best.setdefault(orders.index(order), []).append(aim)
    return [replace(orders[at], aim=listed(aims)) for at, aims in best.items()]


_AIMS: Mapping[str, Callable[[PlateOrder], float]] = MappingProxyType(
    {
        FASTEST: lambda order: order.band.high if order.band else 0.0,
        WIDEST: lambda order: order.band.high - order.band.low if order.band else 0.0,
        SUREST: lambda order: order.conformance,
    }
)


def _in_steps(sizes: np.ndarray, artwork: Callable[[float], float], step: float) -> np.ndarray:
    """Artwork in whole steps for sizes on the plate between the first and the last; that of the only one as it is.

    NaN where size does not matter.
    """
    if np.isnan(sizes).any():
        return sizes
    if len(sizes) == 1:
        return np.array([artwork(float(sizes[0]))])
    first, last = (artwork(float(size)) / step for size in (sizes[0], sizes[-1]))
    found = step * np.arange(np.ceil(first - 1e-9), np.floor(last + 1e-9) + 1.0)
    return found if len(found) else np.array([step * round((first + last) / 2)])


def _best_places(found: OrderMap) -> Iterator[tuple[int, int]]:
    """Row and column of the fastest plate and of the one with the widest band; of the surest where nothing is assured."""
    assured = found.tried & np.isfinite(found.fastest)
    if not found.tried.any():
        return
    if not assured.any():
        yield _place(np.where(found.tried, found.best, -1.0))
        return
    for of in (found.fastest, found.span):
        values = np.where(assured, of, 0.0)
        equal = values >= _AS_FAST * values.max()
        yield _place(np.where(equal, found.best, -1.0))


def _place(values: np.ndarray) -> tuple[int, int]:
    row, column = np.unravel_index(int(np.argmax(values)), values.shape)
    return int(row), int(column)


def _order(
    plate: NewPlate,
    surfaces: Surfaces,
    product: Product,
    study: Study,
    found: OrderMap,
    place: tuple[int, int],
    artwork: tuple[float, float],
) -> PlateOrder:
    """A plate of a map, judged as exactly as any set-up."""
    window = plate.window(surfaces, product, study)
    row, process = found.rows[found.of_row[place]], found.process
    band = _fastest_band(window, row.pressure)
    roll = row.roll if band is None else band.roll
    speed = float(found.speed_at_best[place]) if band is None else band.high
    setup = window.setups(process, speed, roll.cell_volume, row.pressure)
    return PlateOrder(
        plate=process,
        aim="",
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
        speeds_between=_speeds_between(window, process, roll, row.pressure),
        in_trial_region=bool(window.in_trial_region(setup)[0]),
        beyond=plate.beyond,
    )


def _fastest_band(window: Window, pressure: float) -> SpeedBand | None:
    bands = [SpeedBand.of(row, window) for row in window.speed_bands([pressure]).to_dict("records")]
    return max(bands, key=lambda band: band.high, default=None)


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


def _telling(maps: Sequence[OrderMap]) -> Telling | None:
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
        plate=best.process,
        plate_width=float(best.widths[place[1]]),
        plate_gap=float(best.gaps[place[0]]),
        roll=row.roll,
        pressure=row.pressure,
        speed=float(best.speed_at_best[place]),
        conformance=float(best.best[place]),
    )
