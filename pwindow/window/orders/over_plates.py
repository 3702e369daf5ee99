"""The fastest assured speed over plate width and plate gap, for plates of one process that are still to be made."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.polynomial.chebyshev import chebvander
from scipy.interpolate import RegularGridInterpolator, make_interp_spline
from scipy.special import ndtr, ndtri

from pwindow.plates import ProcessMaking
from pwindow.product import Product
from pwindow.study import Study
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.bands import Row, rows
from pwindow.window.confidence import reach_elsewhere
from pwindow.window.orders.new_plate import NewPlate
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.requirements.tolerances import drifts
from pwindow.window.window import Window

_CELLS = 40
_SPEEDS = 25  # of each roll and pressure, evenly spaced by ratio
_WIDTHS, _GAPS = 28, 12
"""Plate widths and plate gaps at which probabilities are worked out: printed width varies less than printed gap."""
_FEW_WIDTHS, _FEW_GAPS, _FEW_SPEEDS, _DRAWS = 9, 6, 17, 120
"""Where it is looked at how sure a map is, and under how many processes."""
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
    sure : ndarray, shape (g, w), or None
        Probability, by what the trial leaves open, that the level is reached at some speed of the roll and pressure of
        `best`: 1 or 0 if everything were known. None where it was not looked at.
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
    sure: np.ndarray | None = None

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


@dataclass(frozen=True, kw_only=True)
class Looked:
    """Joint conformance on plates of one process at a few widths and gaps, on every roll and tried pressure.

    Attributes
    ----------
    window : Window
        In the middle of the tried plates.
    making : ProcessMaking
    beyond : float or None
        How far lips stand apart beyond the gap, where the product says it; µm.
    rows : tuple of Row
    widths, gaps : ndarray, µm
        Where it was worked out; one NaN where it does not matter.
    scores : ndarray, shape (rows, speeds, gaps, widths)
        Normal scores of the joint conformance.
    """

    window: Window
    making: ProcessMaking
    beyond: float | None
    rows: tuple[Row, ...]
    widths: np.ndarray
    gaps: np.ndarray
    scores: np.ndarray

    def map(self, widths: np.ndarray, gaps: np.ndarray) -> OrderMap:
        """The map over other widths and gaps between the tried ones, by splines of the scores.

        Parameters
        ----------
        widths, gaps : ndarray, µm
            Ascending.
        """
        scores = _along(_along(self.scores, 2, self.gaps, gaps), 3, self.widths, widths)
        speeds = np.array([_speeds(row) for row in self.rows])
        low, high = _ends_of_band(speeds, scores, float(ndtri(self.window.level)))
        best = scores.max(axis=1)
        top = np.where(np.isnan(high), -np.inf, high)
        of_row = np.where(np.isfinite(top).any(axis=0), top.argmax(axis=0), best.argmax(axis=0))
        surest = np.take_along_axis(speeds, scores.argmax(axis=1).reshape(len(self.rows), -1), axis=1)

        def on(values: np.ndarray, row: np.ndarray) -> np.ndarray:
            return np.take_along_axis(values, row[None], axis=0)[0]

        return OrderMap(
            process=self.making.process,
            widths=widths,
            gaps=gaps,
            rows=self.rows,
            fastest=on(high, of_row),
            of_row=of_row,
            span=np.nan_to_num(on(high - low, of_row)),
            best=ndtr(best.max(axis=0)),
            speed_at_best=on(surest.reshape(best.shape), best.argmax(axis=0)),
            tried=_tried(self, widths, gaps),
        )

    def with_sureness(self, shown: OrderMap) -> OrderMap:
        """A map with its `sure`, looked at on a few of its plates; as it is where it has but one width or gap.

        Parameters
        ----------
        shown : OrderMap
            As `map` gives it.
        """
        if min(len(shown.widths), len(shown.gaps)) < 2:
            return shown
        gaps, widths = (
            np.linspace(axis[0], axis[-1], few)
            for axis, few in ((shown.gaps, _FEW_GAPS), (shown.widths, _FEW_WIDTHS))
        )
        scores = _along(_along(self.scores, 2, self.gaps, gaps), 3, self.widths, widths)
        surest = scores.max(axis=1).argmax(axis=0)
        plates = [
            _plate_along_speed(self, self.rows[surest[at]], float(gaps[at[0]]), float(widths[at[1]]))
            for at in np.ndindex(surest.shape)
        ]
        setups = pd.concat(plates, ignore_index=True)
        reached = reach_elsewhere(
            self.window,
            setups,
            _closure_of_lines(self.window, setups),
            _of_lips(self.window, self.making, self.beyond, setups),
            _DRAWS,
        )
        share = reached.reshape(*surest.shape, _FEW_SPEEDS, -1).any(axis=2).mean(axis=2)
        places = np.stack(np.meshgrid(shown.gaps, shown.widths, indexing="ij"), axis=-1)
        return replace(shown, sure=RegularGridInterpolator((gaps, widths), share)(places))

    def axis(self, name: str, cells: int = _CELLS) -> np.ndarray:
        """Evenly spaced over what was tried.

        Parameters
        ----------
        name : str
            ``plate_width`` or ``plate_gap``.
        cells : int
        """
        own = self.widths if name == "plate_width" else self.gaps
        return own if len(own) == 1 else np.linspace(own[0], own[-1], cells)


def look(surfaces: Surfaces, product: Product, study: Study, making: ProcessMaking) -> Looked:
    """Look at plates of a process, on every roll and tried pressure.

    What is held against the assurance level is the stated probability: a confidence that the product asks for is not
    looked at.

    Parameters
    ----------
    surfaces : Surfaces
    product : Product
        Its plate process, plate width and plate gap are left open.
    study : Study
    making : ProcessMaking
        What the process makes of artwork: a new plate differs from what is ordered.

    Raises
    ------
    WindowProblem
        If the product cannot be judged on plates of this process.
    """
    pattern = product.pattern
    stated = pattern.lip_width is not None and pattern.plate_gap is not None
    beyond = pattern.lip_width - pattern.plate_gap if stated else None  # type: ignore[operator]  # both are there
    ends = [_tried_ends(surfaces, making.process, name) for name in ("plate_width", "plate_gap")]
    width, gap = (float(np.mean(one)) for one in ends)
    middle = NewPlate(making, width, gap, beyond)
    window = middle.window(surfaces, product, study)
    found = tuple(rows(window))
    widths, gaps = (
        np.array([one[0]]) if one[0] == one[1] else np.linspace(*one, few)
        for one, few in zip(ends, (_WIDTHS, _GAPS))
    )
    widths, gaps = (axis[:1] if np.isnan(axis).any() else axis for axis in (widths, gaps))
    joint = _conformance(window, making, beyond, found, widths, gaps)
    return Looked(
        window=window,
        making=making,
        beyond=beyond,
        rows=found,
        widths=widths,
        gaps=gaps,
        scores=ndtri(joint.clip(_SURE, 1.0 - _SURE)),
    )


def order_map(
    surfaces: Surfaces, product: Product, study: Study, making: ProcessMaking, cells: int = _CELLS
) -> OrderMap:
    """What plates of a process can do for a product, over all that were tried; see `look`.

    Parameters
    ----------
    surfaces : Surfaces
    product : Product
    study : Study
    making : ProcessMaking
    cells : int
        Number of widths and of gaps.
    """
    looked = look(surfaces, product, study, making)
    return looked.map(looked.axis("plate_width", cells), looked.axis("plate_gap", cells))


def _tried_ends(surfaces: Surfaces, process: str, name: str) -> tuple[float, float]:
    return surfaces.region.covariates.get(process, {}).get(name, (np.nan, np.nan))


def _along(scores: np.ndarray, at: int, known: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    return scores if len(known) == 1 else make_interp_spline(known, scores, axis=at)(wanted)


def _lips(making: ProcessMaking, beyond: float | None, gaps: np.ndarray) -> np.ndarray:
    return np.array([NewPlate(making, np.nan, float(gap), beyond).lips for gap in gaps])


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
    scales = predictive.scale + _of_lips(window, making, beyond, setups)
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
        for values in (predictive.mean - closed, scales)
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
    lips = dict(zip(gaps, _lips(making, beyond, gaps)))
    setups = window.setups(row.plate, speed, row.roll.cell_volume, row.pressure)
    return setups.assign(plate_width=width, plate_gap=gap, lip_width=pd.Series(gap).map(lips).to_numpy())


def _plate_along_speed(looked: Looked, row: Row, gap: float, width: float) -> pd.DataFrame:
    """Set-ups of a roll and pressure at a few speeds, on one plate."""
    speeds = np.geomspace(row.slowest, row.fastest, _FEW_SPEEDS)
    setups = looked.window.setups(row.plate, speeds, row.roll.cell_volume, row.pressure)
    lips = NewPlate(looked.making, np.nan, gap, looked.beyond).lips
    return setups.assign(plate_width=width, plate_gap=gap, lip_width=lips)


def _of_lips(window: Window, making: ProcessMaking, beyond: float | None, setups: pd.DataFrame) -> np.ndarray:
    """What lips of gaps add to the scale beyond what they do in the middle of the tried gaps, shape (m, k, k)."""
    own = [one for one in window.tolerances if one.setting == "lip_width"]
    lines = len(window.limits_for(setups).forms)
    if not own:
        return np.zeros((len(setups), lines, lines))
    gaps = setups["plate_gap"]
    spreads = {gap: NewPlate(making, np.nan, float(gap), beyond).lip_spread for gap in gaps.unique()}
    more = 3.0 * gaps.map(spreads).to_numpy(float) ** 2 / own[0].step ** 2 - 1.0
    moved = drifts(own, window.joint, setups)[0] @ window.limits_for(setups).forms.T / np.sqrt(3.0)
    return more[:, None, None] * moved[:, :, None] * moved[:, None, :]


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


def _tried(looked: Looked, widths: np.ndarray, gaps: np.ndarray) -> np.ndarray:
    """Whether plates were tried, shape (gaps, widths): their sizes, and their lips, within what the trial had."""
    row = looked.rows[0]
    speed = float(np.sqrt(row.slowest * row.fastest))
    gap, width = (grid.ravel() for grid in np.meshgrid(gaps, widths, indexing="ij"))
    setups = looked.window.setups(row.plate, np.full(len(gap), speed), row.roll.cell_volume, row.pressure)
    lips = np.repeat(_lips(looked.making, looked.beyond, gaps), len(widths))
    plates = setups.assign(plate_width=width, plate_gap=gap, lip_width=lips)
    return looked.window.in_trial_region(plates).reshape(len(gaps), len(widths))
