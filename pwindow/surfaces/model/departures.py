"""A richer surface: second order, and smooth departures from it.

The departures are Gaussian processes over the coded settings (Rasmussen & Williams 2006, section
2.7), one along each setting and one over all of them together, orthogonal at the tried set-ups to what
the second-order terms can say. Each is written as columns with independent normal coefficients of one
variance, and the data decide how large that variance is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.model.terms import Design

_ALONG, _TOGETHER = 0.5, 0.8  # length scales in coded units: what bends faster shows between two levels only
_MOST = 12
_SMALLEST = 1e-3


@dataclass(frozen=True)
class Part:
    """A smooth departure along one setting, or over all together, with a squared exponential kernel.

    Attributes
    ----------
    columns : tuple of str
        Coded columns that it runs over.
    length : float
        Length scale, in coded units.
    """

    columns: tuple[str, ...]
    length: float

    def kernel(self, coded: Mapping[str, np.ndarray], others: Mapping[str, np.ndarray]) -> np.ndarray:
        """Covariance between set-ups, in units of the departure's variance."""
        square = sum((coded[name][:, None] - others[name]) ** 2 for name in self.columns)
        return np.exp(-0.5 * square / self.length**2)


def departure_parts(design: Design, cells: pd.DataFrame) -> list[Part]:
    """Along each setting that has more levels than a square can follow, and over all together."""
    coded = design.coded(cells)
    columns = tuple(term[0] for term in design.terms if len(term) == 1)
    several = [name for name in columns if len(np.unique(coded[name].round(9))) > 3]
    together = [Part(columns, _TOGETHER)] if columns else []
    return [*(Part((name,), _ALONG) for name in several), *together]


@dataclass(frozen=True, eq=False)
class Departure:
    """A part as columns.

    Attributes
    ----------
    part : Part
    trend : ndarray, shape (p, d)
        What the second-order terms say of its kernel at the d tried set-ups.
    loads : ndarray, shape (d, k)
        From the rest of the kernel to columns of unit scale.
    """

    part: Part
    trend: np.ndarray
    loads: np.ndarray

    @classmethod
    def of(cls, part: Part, tried: Mapping[str, np.ndarray], plain: np.ndarray) -> Departure:
        """The departure at tried set-ups whose second-order model matrix is `plain`.

        Parameters
        ----------
        part : Part
        tried : mapping of str to ndarray, shape (d,)
            Coded columns of the d tried set-ups.
        plain : ndarray, shape (d, p)
            Second-order model matrix there.
        """
        kernel = part.kernel(tried, tried)
        trend = np.linalg.lstsq(plain, kernel, rcond=None)[0]
        project = np.eye(len(plain)) - plain @ np.linalg.pinv(plain)
        sizes, turn = np.linalg.eigh(project @ kernel @ project)
        largest = np.argsort(sizes)[::-1][:_MOST]
        largest = largest[sizes[largest] > _SMALLEST]
        return cls(part, trend, project @ turn[:, largest] / np.sqrt(sizes[largest]))


@dataclass(frozen=True, eq=False)
class BendingDesign(Design):
    """A second-order design with columns for smooth departures.

    Attributes
    ----------
    tried : mapping of str to ndarray, shape (d,)
        Coded columns of the tried set-ups.
    departures : tuple of Departure
    """

    tried: Mapping[str, np.ndarray]
    departures: tuple[Departure, ...]

    @property
    def penalised(self) -> tuple[int, ...]:
        """Numbers of the last columns, in order, whose coefficients share a variance."""
        return tuple(one.loads.shape[1] for one in self.departures)

    @property
    def labels(self) -> list[str]:
        """Terms in words."""
        return [*super().labels, *(f"departure {at + 1}" for at in range(sum(self.penalised)))]

    def matrix_of(self, coded: Mapping[str, np.ndarray], count: int) -> np.ndarray:
        """Model matrix of coded columns, shape (count, p + k)."""
        plain = super().matrix_of(coded, count)
        smooth = [
            (one.part.kernel(coded, self.tried) - plain @ one.trend) @ one.loads for one in self.departures
        ]
        return np.column_stack([plain, *smooth])


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
    setups = cells.drop_duplicates(design.apart)
    if len(setups) <= len(design.terms) + 1:
        return design
    tried, plain = design.coded(setups), design.matrix(setups)
    found = [Departure.of(part, tried, plain) for part in departure_parts(design, cells)]
    departures = tuple(one for one in found if one.loads.shape[1])
    return BendingDesign(design.factors, design.terms, tried, departures) if departures else design
