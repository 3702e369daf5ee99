"""A richer surface: second order, and smooth departures from it.

The departures are a Gaussian process over the coded settings (Rasmussen & Williams 2006, section
2.7), orthogonal at the tried set-ups to what the second-order terms can say, written as columns with
independent normal coefficients of one variance; the data decide how large that variance is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.terms import Design

LENGTH = 0.8
"""Length scale of the squared exponential kernel, in coded units: a third of the tried range."""
_MOST = 12
_SMALLEST = 1e-3


@dataclass(frozen=True, eq=False)
class BendingDesign(Design):
    """A second-order design with columns for smooth departures.

    Attributes
    ----------
    settings : tuple of str
        Numbers over which the surface may depart.
    tried : ndarray, shape (d, f)
        Their coded values at the tried set-ups.
    trend : ndarray, shape (p, d)
        What the second-order terms say of the kernel.
    loads : ndarray, shape (d, k)
        From the rest of the kernel to columns of unit scale.
    """

    settings: tuple[str, ...]
    tried: np.ndarray
    trend: np.ndarray
    loads: np.ndarray

    @property
    def penalised(self) -> int:
        """Number of the last columns whose coefficients have a variance of their own."""
        return self.loads.shape[1]

    @property
    def labels(self) -> list[str]:
        """Terms in words."""
        return [*super().labels, *(f"departure {at + 1}" for at in range(self.penalised))]

    def matrix(self, setups: pd.DataFrame) -> np.ndarray:
        """Model matrix, shape (len(setups), p + k)."""
        plain = super().matrix(setups)
        coded = self.coded(setups)
        reach = _kernel(np.column_stack([coded[name] for name in self.settings]), self.tried)
        return np.column_stack([plain, (reach - plain @ self.trend) @ self.loads])


def bending(design: Design, cells: pd.DataFrame) -> Design:
    """Let a second-order design depart smoothly over the settings that the cells vary.

    Parameters
    ----------
    design : Design
    cells : DataFrame
        Cells with a column for each factor.

    Returns
    -------
    Design
        A `BendingDesign`, or `design` itself where the tried set-ups leave nothing to depart by.
    """
    settings = tuple(
        factor.name
        for factor in design.factors
        if factor.scale != "category" and factor.name in ("speed", "cell_volume", "pressure")
    )
    names = [factor.name for factor in design.factors]
    tried = cells.drop_duplicates(names)
    if not settings or len(tried) <= len(design.terms) + 1:
        return design
    coded = design.coded(tried)
    points = np.column_stack([coded[name] for name in settings])
    plain, kernel = design.matrix(tried), _kernel(points, points)
    trend = np.linalg.lstsq(plain, kernel, rcond=None)[0]
    project = np.eye(len(tried)) - plain @ np.linalg.pinv(plain)
    sizes, turn = np.linalg.eigh(project @ kernel @ project)
    largest = np.argsort(sizes)[::-1][:_MOST]
    largest = largest[sizes[largest] > _SMALLEST * max(sizes.max(), 1e-12)]
    if not len(largest):
        return design
    loads = project @ turn[:, largest] / np.sqrt(sizes[largest])
    return BendingDesign(design.factors, design.terms, settings, points, trend, loads)


def _kernel(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    square = ((one[:, None, :] - other[None, :, :]) ** 2).sum(axis=2)
    return np.exp(-0.5 * square / LENGTH**2)
