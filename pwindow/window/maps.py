"""The window over speed and cell volume at one plate and pressure.

Means and scales of what is limited are polynomials in log speed and log cell volume, so a few set-ups
tell them everywhere. What `pairwise_probability` leaves out is small and smooth: it is integrated at
Chebyshev nodes only, and a polynomial carries it to the other set-ups.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.chebyshev import chebvander

from pwindow.window.probability import pairwise_probability, rectangle_probability
from pwindow.window.window import Window

_POINTS = 499
_NODES = (9, 17, 33)
_STEADY = 5e-4
_DEGREE = 4  # of the scales: leverages and drifts are products of two second-order polynomials


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


def window_map(window: Window, plate: str, pressure: float, cells: int = 60) -> WindowMap:
    """Compute the map; both axes are evenly spaced over the tried range.

    Parameters
    ----------
    window : Window
    plate : str
    pressure : float
        In the trial's unit of pressure.
    cells : int
        Number of speeds and of volumes.
    """
    prints = window.surfaces.trial.prints
    axes = _axis(prints["cell_volume"], cells), _axis(prints["speed"], cells)
    setups = _setups(window, plate, pressure, *axes)
    inside = window.in_trial_region(setups)
    joint, margin = np.full((2, len(setups)), np.nan)
    if inside.any():
        joint[inside] = _joint(_Patch.of(window, plate, pressure, *axes), *axes, inside)
        margin[inside] = window.margin_of_means(setups)[inside]
    shape = tuple(map(len, axes))
    return WindowMap(axes[1], axes[0], joint.reshape(shape), margin.reshape(shape))


def _axis(tried, cells: int) -> np.ndarray:
    low, high = float(tried.min()), float(tried.max())
    return np.array([low]) if low == high else np.linspace(low, high, cells)


def _setups(window: Window, plate: str, pressure: float, volumes: np.ndarray, speeds: np.ndarray):
    volume, speed = (grid.ravel() for grid in np.meshgrid(volumes, speeds, indexing="ij"))
    return window.setups(plate, speed, volume, pressure)


@dataclass(frozen=True)
class _Patch:
    """Rectangle and predictive distribution at the nodes that tell them everywhere on the map."""

    lower: np.ndarray
    upper: np.ndarray
    mean: np.ndarray
    scale: np.ndarray
    df: float

    @classmethod
    def of(cls, window: Window, plate: str, pressure: float, *axes: np.ndarray) -> _Patch:
        nodes = [_between(axis, _nodes(_count(axis, _DEGREE + 1))) for axis in axes]
        found = window.predictive(_setups(window, plate, pressure, *nodes))
        lines, lower, upper = window.limits[plate].bounds()
        mean, scale = found.mean[:, lines], found.scale[:, lines][:, :, lines]
        shape = tuple(map(len, nodes))
        mean, scale = (values.reshape(*shape, *values.shape[1:]) for values in (mean, scale))
        return cls(lower, upper, mean, scale, found.df)

    def at(self, volumes: np.ndarray, speeds: np.ndarray) -> tuple:
        """Arguments of a probability at every pair of coded settings, volume by volume."""
        down, along = (_spread(n, coded) for n, coded in zip(self.mean.shape, (volumes, speeds)))
        mean, scale = (
            np.einsum("va,sb,ab...->vs...", down, along, values, optimize=True)
            for values in (self.mean, self.scale)
        )
        flat = (values.reshape(-1, *values.shape[2:]) for values in (mean, scale))
        return self.lower, self.upper, *flat, self.df


def _joint(patch: _Patch, volumes: np.ndarray, speeds: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Joint conformance probability at the set-ups inside."""
    coded = _coded(volumes), _coded(speeds)
    lower, upper, mean, scale, df = patch.at(*coded)
    asked = lower, upper, mean[inside], scale[inside], df
    if len(lower) == 1:
        return rectangle_probability(*asked)
    rest = _left_out(patch, *coded).ravel()[inside]
    return np.clip(pairwise_probability(*asked) + rest, 0.0, 1.0)


def _left_out(patch: _Patch, volumes: np.ndarray, speeds: np.ndarray) -> np.ndarray:
    """What the pairwise approximation lacks, from as many nodes as hold it steady, shape (v, s)."""
    for count in _NODES:
        counts = _count(volumes, count), _count(speeds, count)
        nodes = [_nodes(n) for n in counts]
        at = patch.at(*nodes)
        rest = (rectangle_probability(*at, points=_POINTS) - pairwise_probability(*at)).reshape(counts)
        down, along = (_spread(n, coded, max(n - 2, 1)) for n, coded in zip(counts, nodes))
        if np.abs(down @ rest @ along.T - rest).max() <= _STEADY:
            break
    down, along = (_spread(n, coded) for n, coded in zip(counts, (volumes, speeds)))
    return down @ rest @ along.T


def _count(axis: np.ndarray, count: int) -> int:
    return count if len(axis) > 1 else 1


def _nodes(count: int) -> np.ndarray:
    """Chebyshev nodes from -1 to 1."""
    return -np.cos(np.pi * np.arange(count) / max(count - 1, 1))


def _coded(axis: np.ndarray) -> np.ndarray:
    """Settings in the coding of the nodes: -1 to 1 in their logarithm."""
    logs = np.log(axis)
    return _nodes(1) if len(axis) == 1 else 2.0 * (logs - logs[0]) / (logs[-1] - logs[0]) - 1.0


def _between(axis: np.ndarray, coded: np.ndarray) -> np.ndarray:
    """Settings of coded values."""
    low, high = np.log(axis[[0, -1]])
    return np.exp((low + high) / 2 + coded * (high - low) / 2)


def _spread(count: int, coded: np.ndarray, orders: int | None = None) -> np.ndarray:
    """Matrix from values at nodes to those of their polynomial, or of its lowest orders alone."""
    basis = chebvander(_nodes(count), count - 1)
    return chebvander(coded, count - 1)[:, :orders] @ np.linalg.inv(basis)[:orders]
