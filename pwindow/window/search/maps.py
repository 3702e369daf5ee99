"""The window over speed and cell volume at one plate and pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.polynomial.chebyshev import chebvander

from pwindow.window.conformance import Conformance, LimitPredictive
from pwindow.window.probability.plackett import quick_probability

_SECOND_ORDER, _SMOOTH = 4, 18
"""Degrees of the polynomials: 4 is exact, for scales are made of products of second-order surfaces;
departures from second order are followed to 1e-5 of a standard deviation."""
_FINER = 5


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
    """

    speeds: np.ndarray
    volumes: np.ndarray
    joint: np.ndarray
    margin: np.ndarray

    def edges(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest speed of each volume at which a level is reached, between the speeds of the map.

        Parameters
        ----------
        level : float
            Of joint conformance.

        Returns
        -------
        low, high : ndarray, shape (v,), m/min
            NaN where the level is not reached, and where what was tried ends before it is lost.
        """
        reached = self.joint >= level
        rows = np.flatnonzero(reached.any(axis=1))
        low, high = np.full((2, len(self.volumes)), np.nan)
        for ends, last, step in (
            (low, reached.argmax(axis=1), -1),
            (high, reached.shape[1] - 1 - reached[:, ::-1].argmax(axis=1), 1),
        ):
            inner = rows[(last[rows] + step >= 0) & (last[rows] + step < reached.shape[1])]
            at, beyond = last[inner], last[inner] + step
            inside, outside = self.joint[inner, at], self.joint[inner, beyond]
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
            Of joint conformance.

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
        joint = (1 - share) * self.joint[above - 1] + share * self.joint[above]
        reached = np.concatenate([[False], joint >= level, [False]])
        starts, ends = np.flatnonzero(np.diff(reached)).reshape(-1, 2).T
        return [
            (self._crossing(joint, first, first - 1, level), self._crossing(joint, last - 1, last, level))
            for first, last in zip(starts, ends)
        ]

    def _crossing(self, joint: np.ndarray, inside: int, outside: int, level: float) -> float:
        """Where a level is crossed between two speeds; at the inner one where the other was not tried."""
        at = float(self.speeds[inside])
        if not 0 <= outside < len(joint) or np.isnan(joint[outside]):
            return at
        share = (joint[inside] - level) / (joint[inside] - joint[outside])
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
    setups = _setups(window, plate, pressure, volumes, speeds)
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
    return WindowMap(speeds, volumes, joint.reshape(shape), margin.reshape(shape))


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
    found = window.predictive(_setups(window, plate, pressure, *nodes))
    mean, scale = (_spread_out(values, *spreads) for values in (found.mean, found.scale))
    return LimitPredictive(mean, scale, found.df)


def _axis(tried: pd.Series, cells: int) -> np.ndarray:
    low, high = float(tried.min()), float(tried.max())
    return np.array([low]) if low == high else np.linspace(low, high, cells)


def _setups(
    window: Conformance, plate: str, pressure: float, volumes: np.ndarray, speeds: np.ndarray
) -> pd.DataFrame:
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
