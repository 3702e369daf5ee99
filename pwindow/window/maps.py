"""The window over speed and cell volume at one plate and pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pwindow.window.window import Window

_POINTS = 149
_SETTLED = 2e-3


@dataclass(frozen=True)
class WindowMap:
    """Joint conformance over speed and cell volume.

    Attributes
    ----------
    speeds : ndarray, shape (s,), m/min
    volumes : ndarray, shape (v,), cm³/m²
    joint : ndarray, shape (v, s)
        Joint conformance probability; NaN outside the trial region.
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
    speeds = _axis(prints["speed"], cells)
    volumes = _axis(prints["cell_volume"], cells)
    grid_volume, grid_speed = (grid.ravel() for grid in np.meshgrid(volumes, speeds, indexing="ij"))
    setups = window.setups(plate, grid_speed, grid_volume, pressure)
    inside = window.in_trial_region(setups)
    joint, margin = np.full((2, len(setups)), np.nan)
    if inside.any():
        joint[inside] = window.joint_conformance(setups[inside], _POINTS, _SETTLED)
        margin[inside] = window.margin_of_means(setups[inside])
    shape = (len(volumes), len(speeds))
    return WindowMap(speeds, volumes, joint.reshape(shape), margin.reshape(shape))


def _axis(tried, cells: int) -> np.ndarray:
    low, high = float(tried.min()), float(tried.max())
    return np.array([low]) if low == high else np.linspace(low, high, cells)
