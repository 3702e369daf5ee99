"""The trial region: the set-ups that the trial's prints surround.

It is the convex hull of the tried set-ups in the coded settings, for each plate process its own:
inside it the surfaces interpolate; a straight path between two tried set-ups never leaves it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import ConvexHull

from pwindow.surfaces.model.responses import COVARIATES, FACTORS
from pwindow.surfaces.model.terms import Factor
from pwindow.trials.directions import angles
from pwindow.trials.trial import Trial

_SLACK = 1e-6


@dataclass(frozen=True)
class Hull:
    """Convex hull of points, also where they lie in a line or a plane.

    Attributes
    ----------
    centre : ndarray, shape (d,)
    basis : ndarray, shape (r, d)
        Directions the points span.
    faces : ndarray, shape (f, r + 1)
        Inside is where ``faces[:, :-1] @ p + faces[:, -1] <= 0``.
    """

    centre: np.ndarray
    basis: np.ndarray
    faces: np.ndarray

    @classmethod
    def around(cls, points: np.ndarray) -> Hull:
        points = np.unique(points, axis=0)
        centre = points.mean(axis=0)
        _, sizes, directions = np.linalg.svd(points - centre, full_matrices=False)
        basis = directions[sizes > _SLACK]
        inner = (points - centre) @ basis.T
        if len(basis) == 0:
            faces = np.zeros((0, 1))
        elif len(basis) == 1:
            faces = np.array([[1.0, -inner.max()], [-1.0, inner.min()]])
        else:
            faces = np.unique(np.round(ConvexHull(inner).equations, 12), axis=0)
        return cls(centre, basis, faces)

    def contains(self, points: np.ndarray) -> np.ndarray:
        """Whether each point lies inside, shape (n,)."""
        moved = points - self.centre
        inner = moved @ self.basis.T
        beside = np.abs(moved - inner @ self.basis).max(axis=1) <= _SLACK
        return beside & np.all(inner @ self.faces[:, :-1].T + self.faces[:, -1] <= _SLACK, axis=1)

    def chord(self, point: np.ndarray, direction: np.ndarray) -> tuple[float, float] | None:
        """Ends t of the part of the line ``point + t direction`` that lies inside; None where none does."""
        moved = point - self.centre
        beside, leaving = (one - one @ self.basis.T @ self.basis for one in (moved, direction))
        if np.abs(leaving).max() > _SLACK:  # the line meets what the points span in one place
            at = -float(beside @ leaving / (leaving @ leaving))
            return (at, at) if self.contains((point + at * direction)[None])[0] else None
        inner = moved @ self.basis.T
        if np.abs(moved - inner @ self.basis).max() > _SLACK:
            return None
        slope = self.faces[:, :-1] @ (direction @ self.basis.T)
        room = -(self.faces[:, :-1] @ inner + self.faces[:, -1])
        if np.any(room[np.abs(slope) <= 1e-12] < -_SLACK):
            return None
        rising, falling = slope > 1e-12, slope < -1e-12
        low = (room[falling] / slope[falling]).max()
        high = (room[rising] / slope[rising]).min()
        return (float(low), float(high)) if low <= high + _SLACK else None


@dataclass(frozen=True)
class TrialRegion:
    """The part of set-up space that the trial supports.

    Attributes
    ----------
    factors : tuple of Factor
        Settings that the trial varied.
    constant : mapping of str to float
        Settings that it did not vary: they must be kept.
    hulls : mapping of str to Hull
        One for each plate process; the key is "" where no plate process is named.
    covariates : mapping of str to mapping of str to (float, float)
        For each plate process the smallest and largest plate width, plate gap and direction.
    directions : mapping of str to frozenset of str
        For each plate process the directions of lines that were tried, as `angles` gives them.
    """

    factors: tuple[Factor, ...]
    constant: Mapping[str, float]
    hulls: Mapping[str, Hull]
    covariates: Mapping[str, Mapping[str, tuple[float, float]]]
    directions: Mapping[str, frozenset[str]]

    @classmethod
    def of(cls, trial: Trial) -> TrialRegion:
        """The region of the prints of a trial."""
        prints = trial.prints
        varied = [name for name in FACTORS if prints[name].nunique() > 1]
        factors = tuple(Factor.learn(name, FACTORS[name], prints[name]) for name in varied)
        constant = {name: float(prints[name].iloc[0]) for name in FACTORS if name not in varied}
        plates = _named(prints["plate"])
        hulls = {
            str(plate): Hull.around(_coded(factors, members)) for plate, members in prints.groupby(plates)
        }
        of_cells = plates.reindex(trial.cells["print"]).to_numpy()
        covariates = {str(plate): _ranges(members) for plate, members in trial.cells.groupby(of_cells)}
        directions = {
            str(plate): frozenset(angles(members["direction"].dropna()))
            for plate, members in trial.cells.groupby(of_cells)
        }
        return cls(factors, constant, hulls, covariates, directions)

    @property
    def plates(self) -> tuple[str, ...]:
        return tuple(self.hulls)

    def contains(self, setups: pd.DataFrame) -> np.ndarray:
        """Whether each set-up lies in the trial region, shape (n,)."""
        inside = np.zeros(len(setups), dtype=bool)
        plates = _named(setups["plate"]).to_numpy()
        for plate, hull in self.hulls.items():
            rows = plates == plate
            if rows.any():
                inside[rows] = hull.contains(_coded(self.factors, setups[rows]))
                inside[rows] &= _within(setups[rows], self.covariates[plate])
                inside[rows] &= _along(setups[rows], self.directions[plate])
        for name, value in self.constant.items():
            inside &= np.isclose(setups[name].to_numpy(float), value, rtol=1e-6, atol=1e-9)
        return inside

    def speed_range(self, plate: str, cell_volume: float, pressure: float) -> tuple[float, float] | None:
        """Speeds, m/min, of the region at a plate, cell volume and pressure; None where there are none.

        Parameters
        ----------
        plate : str
            "" where no plate process is named.
        cell_volume : float
            cm³/m².
        pressure : float
            In the trial's unit of pressure.
        """
        varied = [factor.name for factor in self.factors]
        middle = dict(self.constant)
        speed = next((factor for factor in self.factors if factor.name == "speed"), None)
        middle |= {"cell_volume": cell_volume, "pressure": pressure}
        middle["speed"] = self.constant["speed"] if speed is None else float(speed.decode(np.zeros(1))[0])
        setup = pd.DataFrame([middle | {"plate": plate}])
        if any(not np.isclose(setup[name].iloc[0], value) for name, value in self.constant.items()):
            return None
        if speed is None:
            inside = self.hulls[plate].contains(_coded(self.factors, setup))[0]
            return (middle["speed"], middle["speed"]) if inside else None
        along = np.array([float(name == "speed") for name in varied])
        ends = self.hulls[plate].chord(_coded(self.factors, setup)[0], along)
        if ends is None:
            return None
        low, high = speed.decode(np.array(ends))
        return float(low), float(high)


_COVARIATE_NUMBERS = tuple(name for name, scale in COVARIATES.items() if scale != "category")
_ANGLES = tuple(name for name, scale in COVARIATES.items() if scale == "angle")


def _ranges(cells: pd.DataFrame) -> dict[str, tuple[float, float]]:
    """Range of each covariate that was recorded; one not recorded has none."""
    return {
        name: (float(values.min()), float(values.max()))
        for name in _COVARIATE_NUMBERS
        if len(values := cells[name].dropna())
    }


def _within(setups: pd.DataFrame, ranges: Mapping[str, tuple[float, float]]) -> np.ndarray:
    """Whether the covariates that a set-up names lie in their tried ranges, to a hundredth."""
    inside = np.ones(len(setups), dtype=bool)
    for name, (low, high) in ranges.items():
        if name in setups and name not in _ANGLES:
            values = setups[name].astype(float)
            inside &= (
                values.isna() | ((values >= low * 0.99 - 1e-9) & (values <= high * 1.01 + 1e-9))
            ).to_numpy()
    return inside


def _along(setups: pd.DataFrame, tried: frozenset[str]) -> np.ndarray:
    """Whether the direction that a set-up names was tried; where none is recorded, none is held against it."""
    if "direction" not in setups or not tried:
        return np.ones(len(setups), dtype=bool)
    named = setups["direction"].astype(float)
    return named.isna().to_numpy() | np.isin(angles(named.fillna(0.0)), list(tried))


def _coded(factors: tuple[Factor, ...], setups: pd.DataFrame) -> np.ndarray:
    if not factors:
        return np.zeros((len(setups), 0))
    return np.hstack([factor.code(setups[factor.name].to_numpy(float)) for factor in factors])


def _named(plates: pd.Series) -> pd.Series:
    """Plate processes, "" where none is named."""
    return plates.astype(object).where(plates.notna(), "")
