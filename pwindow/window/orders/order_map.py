"""The fastest assured speed over plate width and plate gap, for plates of one process that are still to be made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.polynomial.chebyshev import chebvander
from scipy.interpolate import make_interp_spline
from scipy.special import ndtr, ndtri

from pwindow.plates import ProcessMaking
from pwindow.product import Product
from pwindow.study import Study
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.bands import Row, rows
from pwindow.window.orders.new_plate import NewPlate
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.window import Window

_CELLS = 40
_SPEEDS = 25  # of each roll and pressure, evenly spaced by ratio
_FEW = 14  # plate widths, and plate gaps, at which probabilities are worked out
_SECOND_ORDER, _SMOOTH = 4, 8
"""Degrees of the polynomials in plate width and plate gap; scales of second-order surfaces are of degree 4."""
_ALONG_SPEED, _ALONG_SPEED_SMOOTH = 6, 18
_SURE = 1e-12


@dataclass(frozen=True, kw_only=True)
class OrderMap:
    """What plates of one process can do for a product.

    Attributes
    ----------
    process : str
    widths : ndarray, shape (w,)
        Line widths on the plate, µm; one NaN where plate width was not tried.
    gaps : ndarray, shape (g,)
        Gaps on the plate, µm; one NaN where the product has no gap.
    rows : tuple of Row
        Rolls and pressures that were looked at.
    fastest : ndarray, shape (g, w), m/min
        Fastest speed at which the assurance level is reached, on whatever roll and pressure; NaN where it is nowhere.
    of_row : ndarray of int, shape (g, w)
        On which of the rows: where nothing is assured that of `best`.
    span : ndarray, shape (g, w), m/min
        From the slowest to the fastest speed of that roll and pressure at which the level is reached; 0 where it is not.
    best : ndarray, shape (g, w)
        The highest joint conformance of all rolls, pressures and speeds.
    speed_at_best : ndarray, shape (g, w), m/min
    tried : ndarray of bool, shape (g, w)
        Whether the trial tried such plates of this process.
    """

    process: str
    widths: np.ndarray
    gaps: np.ndarray
    rows: tuple[Row, ...]
    fastest: np.ndarray
    of_row: np.ndarray
    span: np.ndarray
    best: np.ndarray
    speed_at_best: np.ndarray
    tried: np.ndarray

    def to_frame(self) -> pd.DataFrame:
        """One row per plate that was tried: ``plate``, sizes, ``fastest_speed_m_min``, ``roll``, ``best_conformance``."""
        gap, width = (grid.ravel() for grid in np.meshgrid(self.gaps, self.widths, indexing="ij"))
        table = pd.DataFrame(
            {
                "plate": self.process,
                "plate_width_um": width,
                "plate_gap_um": gap,
                "fastest_speed_m_min": self.fastest.ravel(),
                "roll": [self.rows[at].roll.id for at in self.of_row.ravel()],
                "best_conformance": self.best.ravel(),
            }
        )
        return table[self.tried.ravel()].reset_index(drop=True)


def order_map(
    surfaces: Surfaces, product: Product, study: Study, making: ProcessMaking, cells: int = _CELLS
) -> OrderMap:
    """Look at every plate of a process, on every roll and tried pressure.

    Joint conformance is worked out at a few plates and continued to the others by splines of its normal score. What is
    held against the assurance level is the stated probability: a confidence that the product asks for is not looked at.

    Parameters
    ----------
    surfaces : Surfaces
    product : Product
        Its plate process, plate width and plate gap are left open.
    study : Study
    making : ProcessMaking
        What the process makes of artwork: a new plate differs from what is ordered.
    cells : int
        Number of widths and of gaps.

    Raises
    ------
    WindowProblem
        If the product cannot be judged on plates of this process.
    """
    window, beyond = _in_the_middle(surfaces, product, study, making)
    wide = [_axis(surfaces, making.process, name, cells) for name in ("plate_width", "plate_gap")]
    few = [_spread_evenly(axis, min(_FEW, len(axis))) for axis in wide]
    found = tuple(rows(window))
    joint = _conformance(window, making, beyond, found, *few)
    scores = ndtri(joint.clip(_SURE, 1.0 - _SURE))
    for at, (known, wanted) in enumerate(zip(few, wide), start=2):
        if len(wanted) > len(known):
            scores = make_interp_spline(known, scores, axis=at)(wanted)
    return _summed_up(window, making, beyond, found, wide, scores)


def _in_the_middle(
    surfaces: Surfaces, product: Product, study: Study, making: ProcessMaking
) -> tuple[Window, float | None]:
    """The window in the middle of the tried plates, and how far lips stand apart where the product says it."""
    pattern = product.pattern
    stated = None not in (pattern.lip_width, pattern.plate_gap)
    beyond = pattern.lip_width - pattern.plate_gap if stated else None
    sizes = [
        float(np.mean(_ends(surfaces, making.process, name) or (np.nan,)))
        for name in ("plate_width", "plate_gap")
    ]
    return NewPlate(making, *sizes, beyond).window(surfaces, product, study), beyond


def _ends(surfaces: Surfaces, process: str, name: str) -> tuple[float, float] | None:
    return surfaces.region.covariates.get(process, {}).get(name)


def _axis(surfaces: Surfaces, process: str, name: str, cells: int) -> np.ndarray:
    ends = _ends(surfaces, process, name)
    if ends is None:
        return np.array([np.nan])
    return np.array([ends[0]]) if ends[0] == ends[1] else np.linspace(*ends, cells)


def _spread_evenly(axis: np.ndarray, count: int) -> np.ndarray:
    return np.linspace(axis[0], axis[-1], count)


def _speeds(row: Row) -> np.ndarray:
    return np.geomspace(row.slowest, row.fastest, _SPEEDS)


def _conformance(
    window: Window,
    making: ProcessMaking,
    beyond: float | None,
    found: tuple[Row, ...],
    widths: np.ndarray,
    gaps: np.ndarray,
) -> np.ndarray:
    """Joint conformance, shape (rows, speeds, gaps, widths)."""
    smooth = not window.joint.second_order
    of_plate, of_speed = (_SMOOTH, _ALONG_SPEED_SMOOTH) if smooth else (_SECOND_ORDER, _ALONG_SPEED)
    width_nodes, over_widths = _nodes(np.log(widths), of_plate)
    gap_nodes, over_gaps = _nodes(gaps, of_plate)
    unit, over_speeds = _nodes(np.linspace(-1.0, 1.0, _SPEEDS), of_speed)
    setups = pd.concat(
        [_plates_of_row(window, making, beyond, row, unit, np.exp(width_nodes), gap_nodes) for row in found],
        ignore_index=True,
    )
    predictive = window.predictive(setups)
    closed = _closure_of_lines(window, setups)
    nodes = len(found), len(unit), len(gap_nodes), len(width_nodes)
    mean, scale = (
        np.einsum(
            "sa,gb,wc,rabck->rsgwk",
            over_speeds,
            over_gaps,
            over_widths,
            values.reshape(*nodes, -1),
            optimize=True,
        )
        for values in (predictive.mean - closed, predictive.scale)
    )
    shape, lines = mean.shape[:-1], mean.shape[-1]
    _, lower, upper = window.limits_for(setups).bounds()
    chance = quick_probability(
        lower, upper, mean.reshape(-1, lines), scale.reshape(-1, lines, lines), predictive.df
    )
    return chance.reshape(shape)


def _plates_of_row(
    window: Window,
    making: ProcessMaking,
    beyond: float | None,
    row: Row,
    unit: np.ndarray,
    widths: np.ndarray,
    gaps: np.ndarray,
) -> pd.DataFrame:
    """Set-ups of a roll and pressure at speeds × gaps × widths."""
    middle, half = np.log(row.fastest * row.slowest) / 2, np.log(row.fastest / row.slowest) / 2
    speed, gap, width = (
        grid.ravel() for grid in np.meshgrid(np.exp(middle + half * unit), gaps, widths, indexing="ij")
    )
    lips = {one: NewPlate(making, np.nan, one, beyond).lips for one in gaps}
    setups = window.setups(row.plate, speed, row.roll.cell_volume, row.pressure)
    return setups.assign(plate_width=width, plate_gap=gap, lip_width=pd.Series(gap).map(lips).to_numpy())


def _closure_of_lines(window: Window, setups: pd.DataFrame) -> np.ndarray:
    """By what the lines of the limits move where plate gaps differ from that of the first set-up, shape (m, k)."""
    limits, names = window.limits_for(setups), window.joint.names
    if "gap_closure" not in names:
        return np.zeros((len(setups), len(limits.forms)))
    gap = setups["plate_gap"].to_numpy(float)
    wider = np.nan_to_num(gap - gap[0])
    return wider[:, None] * limits.forms[:, names.index("gap_closure")]


def _nodes(axis: np.ndarray, degree: int) -> tuple[np.ndarray, np.ndarray]:
    """Places that tell a polynomial along an axis, and the matrix from there to all of it."""
    if len(axis) <= degree + 1:
        return axis, np.eye(len(axis))
    middle, half = (axis[-1] + axis[0]) / 2, (axis[-1] - axis[0]) / 2
    nodes = -np.cos(np.pi * np.arange(degree + 1) / degree)
    basis, at_nodes = (chebvander(at, degree) for at in ((axis - middle) / half, nodes))
    return middle + half * nodes, basis @ np.linalg.inv(at_nodes)


def _summed_up(
    window: Window,
    making: ProcessMaking,
    beyond: float | None,
    found: tuple[Row, ...],
    axes: list[np.ndarray],
    scores: np.ndarray,
) -> OrderMap:
    widths, gaps = axes
    speeds = np.array([_speeds(row) for row in found])
    low, high = _ends_of_band(speeds, scores, float(ndtri(window.level)))
    best = scores.max(axis=1)
    top = np.where(np.isnan(high), -np.inf, high)
    any_assured = np.isfinite(top).any(axis=0)
    of_row = np.where(any_assured, top.argmax(axis=0), best.argmax(axis=0))

    def of_rows(values: np.ndarray) -> np.ndarray:
        return np.take_along_axis(values, of_row[None], axis=0)[0]

    at_best = np.take_along_axis(speeds, scores.argmax(axis=1).reshape(len(found), -1), axis=1)
    return OrderMap(
        process=making.process,
        widths=widths,
        gaps=gaps,
        rows=found,
        fastest=of_rows(high),
        of_row=of_row,
        span=np.nan_to_num(of_rows(high - low)),
        best=ndtr(best.max(axis=0)),
        speed_at_best=np.take_along_axis(at_best.reshape(best.shape), best.argmax(axis=0)[None], axis=0)[0],
        tried=_tried(window, making, beyond, found, widths, gaps),
    )


def _ends_of_band(speeds: np.ndarray, scores: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Slowest and fastest speed of each row at which a level is reached, shape (rows, gaps, widths); NaN where none is."""
    reached = scores >= level
    some, count = reached.any(axis=1), scores.shape[1]
    logs = np.log(speeds)[:, :, None, None] + np.zeros_like(scores)
    ends = []
    for last, step in ((reached.argmax(axis=1), -1), (count - 1 - reached[:, ::-1].argmax(axis=1), 1)):
        beyond = np.clip(last + step, 0, count - 1)
        inside, outside, at, there = (
            np.take_along_axis(values, where[:, None], axis=1)[:, 0]
            for values, where in ((scores, last), (scores, beyond), (logs, last), (logs, beyond))
        )
        drop = np.where(beyond == last, 1.0, inside - outside)
        share = np.where(beyond == last, 0.0, (inside - level) / np.where(drop == 0.0, 1.0, drop))
        ends.append(np.where(some, np.exp(at + share * (there - at)), np.nan))
    return ends[0], ends[1]


def _tried(
    window: Window,
    making: ProcessMaking,
    beyond: float | None,
    found: tuple[Row, ...],
    widths: np.ndarray,
    gaps: np.ndarray,
) -> np.ndarray:
    """Whether plates were tried, shape (gaps, widths): their sizes, and their lips, within what the trial had."""
    first = found[0]
    middle = np.array([np.sqrt(first.slowest * first.fastest)])
    gap, width = (grid.ravel() for grid in np.meshgrid(gaps, widths, indexing="ij"))
    setups = window.setups(first.plate, middle, first.roll.cell_volume, first.pressure)
    setups = setups.loc[[0] * len(gap)].reset_index(drop=True)
    lips = [NewPlate(making, np.nan, one, beyond).lips for one in gap]
    plates = setups.assign(plate_width=width, plate_gap=gap, lip_width=lips)
    return window.in_trial_region(plates).reshape(len(gaps), len(widths))
