"""The window over speed and cell volume at one plate and pressure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.polynomial.chebyshev import chebvander
from scipy.special import ndtr, ndtri

from pwindow.window.confidence import bound_confidence, conformance_at_least_everywhere
from pwindow.window.conformance import Conformance, LimitPredictive
from pwindow.window.probability.plackett import quick_probability

_SECOND_ORDER, _SMOOTH = 6, 18
"""Degrees of the polynomials: means and scales of second-order surfaces are of degree 4, and spreads that grow with the
settings are followed to 1e-6; departures from second order to 1e-5 of a standard deviation."""
_FINER = 5
_FEW, _SURE = 15, 1e-12
"""Settings of each axis at which what is held against the level is worked out, where a confidence is asked for."""


@dataclass(frozen=True)
class WindowMap:
    """Joint conformance over speed and cell volume.

    Attributes
    ----------
    speeds : ndarray, shape (s,), m/min
    volumes : ndarray, shape (v,), cm³/m²
    joint : ndarray, shape (v, s)
        Joint conformance probability to 0.002; NaN outside the trial region.
    margin : ndarray, shape (v, s)
        How far inside every limit the predicted means are, in standard deviations of the next print;
        the nominal window is where it is not negative. NaN outside the trial region.
    at_least : ndarray, shape (v, s), or None
        What the joint conformance is at least with the confidence that the product asks for, to 0.025 about the
        assurance level; None where it asks for none. NaN outside the trial region.
    """

    speeds: np.ndarray
    volumes: np.ndarray
    joint: np.ndarray
    margin: np.ndarray
    at_least: np.ndarray | None = None

    @property
    def held(self) -> np.ndarray:
        """What is held against the assurance level, shape (v, s)."""
        return self.joint if self.at_least is None else self.at_least

    def edges(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest speed of each volume at which a level is reached, between the speeds of the map.

        Parameters
        ----------
        level : float
            Of what is held against it.

        Returns
        -------
        low, high : ndarray, shape (v,), m/min
            NaN where the level is not reached, and where what was tried ends before it is lost.
        """
        reached = self.held >= level
        rows = np.flatnonzero(reached.any(axis=1))
        low, high = np.full((2, len(self.volumes)), np.nan)
        for ends, last, step in (
            (low, reached.argmax(axis=1), -1),
            (high, reached.shape[1] - 1 - reached[:, ::-1].argmax(axis=1), 1),
        ):
            inner = rows[(last[rows] + step >= 0) & (last[rows] + step < reached.shape[1])]
            at, beyond = last[inner], last[inner] + step
            inside, outside = self.held[inner, at], self.held[inner, beyond]
            share = (inside - level) / (inside - outside)
            ends[inner] = self.speeds[at] + share * (self.speeds[beyond] - self.speeds[at])
        return low, high

    def spans(self, cell_volume: float, level: float) -> list[tuple[float, float]]:
        """Speeds at which a level is reached at a volume, found between the set-ups of the map.

        Parameters
        ----------
        cell_volume : float
            cm³/m²
        level : float
            Of what is held against it.

        Returns
        -------
        list of (low, high), m/min
            As exact as the map; none outside its volumes.
        """
        if not self.volumes[0] <= cell_volume <= self.volumes[-1]:
            return []
        above = max(1, int(np.searchsorted(self.volumes, cell_volume)))
        low, high = self.volumes[above - 1 : above + 1]
        share = (cell_volume - low) / (high - low)
        held = (1 - share) * self.held[above - 1] + share * self.held[above]
        reached = np.concatenate([[False], held >= level, [False]])
        starts, ends = np.flatnonzero(np.diff(reached)).reshape(-1, 2).T
        return [
            (self._crossing(held, first, first - 1, level), self._crossing(held, last - 1, last, level))
            for first, last in zip(starts, ends)
        ]

    def _crossing(self, held: np.ndarray, inside: int, outside: int, level: float) -> float:
        """Where a level is crossed between two speeds; at the inner one where the other was not tried."""
        at = float(self.speeds[inside])
        if not 0 <= outside < len(held) or np.isnan(held[outside]):
            return at
        share = (held[inside] - level) / (held[inside] - held[outside])
        return at + float(share) * float(self.speeds[outside] - self.speeds[inside])

    def to_frame(self) -> pd.DataFrame:
        """One row per set-up of the trial region: settings, ``joint_conformance``, ``margin_of_means_std_devs``."""
        volume, speed = (grid.ravel() for grid in np.meshgrid(self.volumes, self.speeds, indexing="ij"))
        table = pd.DataFrame(
            {
                "speed_m_min": speed,
                "cell_volume_cm3_m2": volume,
                "joint_conformance": self.joint.ravel(),
                "margin_of_means_std_devs": self.margin.ravel(),
            }
        )
        if self.at_least is not None:
            table["conformance_at_least"] = self.at_least.ravel()
        return table.dropna().reset_index(drop=True)


def window_map(window: Conformance, plate: str, pressure: float, cells: int = 60) -> WindowMap:
    """Compute the map; both axes are evenly spaced over the tried range.

    Parameters
    ----------
    window : Conformance
    plate : str
    pressure : float
        In the trial's unit of pressure.
    cells : int
        Number of speeds and of volumes; five times as many of the one where only one was varied.
    """
    prints = window.surfaces.trial.prints
    alone = min(prints[name].nunique() for name in ("cell_volume", "speed")) == 1
    volumes, speeds = (
        _axis(prints[name], _FINER * cells if alone else cells) for name in ("cell_volume", "speed")
    )
    setups = grid_setups(window, plate, pressure, volumes, speeds)
    inside = window.in_trial_region(setups)
    joint, margin = np.full((2, len(setups)), np.nan)
    if inside.any():
        found = predictive_on_grid(window, plate, pressure, volumes, speeds)
        mean, scale = found.mean[inside], found.scale[inside]
        # a limit on every line: `bounds` leaves none out
        _, lower, upper = window.limits[plate].bounds()
        joint[inside] = quick_probability(lower, upper, mean, scale, found.df)
        margin[inside] = window.margin_of_means(plate, mean)
    shape = len(volumes), len(speeds)
    at_least = None
    if window.confidence is not None:
        sure = sure_on_grid(window, plate, pressure, volumes, speeds)
        at_least = np.where(inside, sure, np.nan).reshape(shape)
    return WindowMap(speeds, volumes, joint.reshape(shape), margin.reshape(shape), at_least)


def sure_on_grid(
    window: Conformance, plate: str, pressure: float, volumes: np.ndarray, speeds: np.ndarray
) -> np.ndarray:
    """What is held against the level at every pair of settings, volume by volume, from a few of them.

    Parameters
    ----------
    window : Conformance
        Of a product that asks for a confidence.
    plate : str
    pressure : float
        In the trial's unit of pressure.
    volumes : ndarray, shape (v,), cm³/m²
    speeds : ndarray, shape (s,), m/min
        Ascending, both.

    Returns
    -------
    ndarray, shape (v · s,)
    """
    few = [_few(axis) for axis in (volumes, speeds)]
    setups = grid_setups(window, plate, pressure, *few)
    found = conformance_at_least_everywhere(window, setups, bound_confidence(window), window.level)
    return between(found.reshape([len(axis) for axis in few]), few, (volumes, speeds)).ravel()


def between(shares: np.ndarray, few: Sequence[np.ndarray], axes: Sequence[np.ndarray]) -> np.ndarray:
    """Probabilities at a few pairs of settings, continued to many by cubic splines of their normal scores.

    Parameters
    ----------
    shares : ndarray, shape (v, s)
    few : pair of ndarray
        The v and s settings of either axis where they are known, ascending.
    axes : pair of ndarray
        The settings where they are wanted.
    """
    from scipy.interpolate import make_interp_spline

    scores = ndtri(shares.clip(_SURE, 1.0 - _SURE))
    for at, (known, wanted) in enumerate(zip(few, axes)):
        if len(wanted) > len(known) > 3:
            scores = make_interp_spline(np.log(known), scores, axis=at)(np.log(wanted))
    return ndtr(scores)


def _few(axis: np.ndarray) -> np.ndarray:
    return axis if len(axis) <= _FEW else np.geomspace(axis[0], axis[-1], _FEW)


def predictive_on_grid(
    window: Conformance, plate: str, pressure: float, volumes: np.ndarray, speeds: np.ndarray
) -> LimitPredictive:
    """`Window.predictive` at every pair of settings, volume by volume, from a few of them.

    Means and scales are polynomials in the logarithms of both settings, or as smooth as one, so that
    their values at Chebyshev nodes give them everywhere.

    Parameters
    ----------
    window : Conformance
    plate : str
    pressure : float
        In the trial's unit of pressure.
    volumes : ndarray, shape (v,), cm³/m²
    speeds : ndarray, shape (s,), m/min
        Ascending, both.

    Returns
    -------
    LimitPredictive
        At v × s set-ups.
    """
    degree = _SECOND_ORDER if window.joint.second_order else _SMOOTH
    nodes, spreads = zip(*(_nodes_and_spread(axis, degree) for axis in (volumes, speeds)))
    found = window.predictive(grid_setups(window, plate, pressure, *nodes))
    mean, scale = (_spread_out(values, *spreads) for values in (found.mean, found.scale))
    return LimitPredictive(mean, scale, found.df)


def _axis(tried: pd.Series, cells: int) -> np.ndarray:
    low, high = float(tried.min()), float(tried.max())
    return np.array([low]) if low == high else np.linspace(low, high, cells)


def grid_setups(
    window: Conformance, plate: str, pressure: float, volumes: np.ndarray, speeds: np.ndarray
) -> pd.DataFrame:
    """Set-ups at every pair of settings, volume by volume.

    Parameters
    ----------
    window : Conformance
    plate : str
    pressure : float
        In the trial's unit of pressure.
    volumes : ndarray, shape (v,), cm³/m²
    speeds : ndarray, shape (s,), m/min
    """
    volume, speed = (grid.ravel() for grid in np.meshgrid(volumes, speeds, indexing="ij"))
    return window.setups(plate, speed, volume, pressure)


def _nodes_and_spread(axis: np.ndarray, degree: int) -> tuple[np.ndarray, np.ndarray]:
    """Settings that tell a polynomial in their logarithm, and the matrix from there to the whole axis."""
    if len(axis) <= degree + 1:
        return axis, np.eye(len(axis))
    logs = np.log(axis)
    middle, half = (logs[-1] + logs[0]) / 2, (logs[-1] - logs[0]) / 2
    nodes = -np.cos(np.pi * np.arange(degree + 1) / degree)
    basis, at_nodes = (chebvander(at, degree) for at in ((logs - middle) / half, nodes))
    return np.exp(middle + half * nodes), basis @ np.linalg.inv(at_nodes)


def _spread_out(values: np.ndarray, over_volumes: np.ndarray, over_speeds: np.ndarray) -> np.ndarray:
    at_nodes = values.reshape(over_volumes.shape[1], over_speeds.shape[1], -1)
    spread = np.einsum("va,sb,abk->vsk", over_volumes, over_speeds, at_nodes, optimize=True)
    return spread.reshape(-1, *values.shape[1:])
