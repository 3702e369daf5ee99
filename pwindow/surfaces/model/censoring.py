"""Gap closures of which some are censored.

A bridged gap has closed by at least the plate gap, and a gap that was inspected and not bridged by
less: both are censored closures (Tobin 1958, Econometrica 26, 24-36), not missing ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import log_ndtr, ndtri_exp

_STEPS = 2000


@dataclass(frozen=True, kw_only=True)
class Censored:
    """The censored gaps of a table of cells: entries of one edge and side.

    Attributes
    ----------
    cell : ndarray of int, shape (g,)
        Row of the cell, in ascending order.
    edge : ndarray, shape (g,)
        Plate gap, µm.
    sign : ndarray, shape (g,)
        1 where the closure is at least `edge`, -1 where it is less.
    times : ndarray, shape (g,)
        Gaps that the entry stands for.
    measured, measured_mean : ndarray, shape (m,)
        Number and mean of the measured closures of each cell; a mean of none is 0.
    """

    cell: np.ndarray
    edge: np.ndarray
    sign: np.ndarray
    times: np.ndarray
    measured: np.ndarray
    measured_mean: np.ndarray

    @classmethod
    def of(cls, cells: pd.DataFrame) -> Censored:
        """At most two entries a cell, from its ``measured``, ``bridged``, ``unmeasured``, ``plate_gap``
        and ``measured_mean``.
        """
        times = cells[["bridged", "unmeasured"]].to_numpy(float).ravel()
        cell, sign = np.repeat(np.arange(len(cells)), 2), np.tile([1.0, -1.0], len(cells))
        some = times > 0
        edge = cells["plate_gap"].to_numpy(float)[cell]
        measured, mean = cells["measured"].to_numpy(float), cells["measured_mean"].fillna(0.0).to_numpy(float)
        return cls(
            cell=cell[some],
            edge=edge[some],
            sign=sign[some],
            times=times[some],
            measured=measured,
            measured_mean=mean,
        )

    def one_by_one(self) -> Censored:
        """The same gaps with an entry each."""
        each = np.repeat(np.arange(len(self.cell)), self.times.astype(int))
        return replace(
            self, cell=self.cell[each], edge=self.edge[each], sign=self.sign[each], times=np.ones(len(each))
        )

    @property
    def counts(self) -> np.ndarray:
        """Gaps of each cell, shape (m,)."""
        return self.measured + np.bincount(self.cell, self.times, len(self.measured))

    def draw(self, mean: np.ndarray, spread: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Closures drawn beyond their edges.

        Parameters
        ----------
        mean : ndarray, shape (c, m)
            Mean closure of each cell, µm.
        spread : ndarray, shape (c,)
            Standard deviation between gaps, µm.
        rng : Generator

        Returns
        -------
        ndarray, shape (c, g)
        """
        spread = spread[:, None]
        at = mean[:, self.cell]
        share = log_ndtr(self.sign * (at - self.edge) / spread)
        return at - self.sign * spread * ndtri_exp(share + np.log(rng.random(share.shape)))

    def complete(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Means of all gaps of each cell, and the squares inside cells that censored gaps add.

        Parameters
        ----------
        values : ndarray, shape (c, g)
            Closures of the censored gaps.
        """
        size, counts = len(self.measured), self.counts
        means = sum_by(values * self.times, self.cell, size) + self.measured * self.measured_mean
        means /= np.maximum(counts, 1.0)
        inside = (self.times * (values - means[:, self.cell]) ** 2).sum(axis=1)
        return means, inside + (self.measured * (self.measured_mean - means) ** 2).sum(axis=1)


def sum_by(values: np.ndarray, member: np.ndarray, count: int) -> np.ndarray:
    """Sums of the columns of one member.

    Parameters
    ----------
    values : ndarray, shape (c, g)
    member : ndarray of int, shape (g,)
        Which sum each column belongs to, in ascending order.
    count : int
        Number of sums.

    Returns
    -------
    ndarray, shape (c, count)
    """
    sums = np.zeros((len(values), count))
    if len(member):
        starts = np.flatnonzero(np.diff(member, prepend=-1))
        sums[:, member[starts]] = np.add.reduceat(values, starts, axis=1)
    return sums


@dataclass(frozen=True, kw_only=True)
class ExpectedClosures:
    """A censored regression.

    Attributes
    ----------
    means : ndarray, shape (m,)
        Expected mean closure of each cell, µm.
    coefficients : ndarray, shape (p,)
    spread : float
        Standard deviation of a gap about the surface, µm.
    settled : bool
        Whether the steps came to their end; where open and bridged gaps are divided without overlap, they need not.
    """

    means: np.ndarray
    coefficients: np.ndarray
    spread: float
    settled: bool


def expected_closures(
    censored: Censored, design: np.ndarray, feature_ss: float, fixed_spread: float | None = None
) -> ExpectedClosures:
    """Maximum likelihood of a censored regression, by expectation and maximisation.

    Gaps are taken as independent here: it is where the search for the posterior starts from.

    Parameters
    ----------
    censored : Censored
    design : ndarray, shape (m, p)
        Model rows of the cells.
    feature_ss : float
        Sum of squares of measured closures inside cells, µm².
    fixed_spread : float, optional
        Standard deviation between gaps where nothing was measured, µm.
    """
    counts = censored.counts
    root = np.sqrt(counts)[:, None]
    means = np.where(censored.measured > 0, censored.measured_mean, _mean_edges(censored))
    spread = fixed_spread or max(float(np.std(means)), 1e-3)
    for _ in range(_STEPS):
        beta = np.linalg.lstsq(root * design, root[:, 0] * means, rcond=None)[0]
        fitted, before = design @ beta, means
        expected, variance = _beyond(censored, fitted, spread)
        means, inside = (found[0] for found in censored.complete(expected[None]))
        total = inside + (counts * (means - fitted) ** 2).sum() + censored.times @ variance + feature_ss
        spread = fixed_spread or float(np.sqrt(total / counts.sum()))
        settled = bool(np.abs(means - before).max() < 1e-9 * spread)
        if settled:
            break
    return ExpectedClosures(means=means, coefficients=beta, spread=spread, settled=settled)


def _mean_edges(censored: Censored) -> np.ndarray:
    """A first guess of the closure of cells without a measured gap."""
    size = len(censored.measured)
    sums, counts = (
        np.bincount(censored.cell, w, size) for w in (censored.times * censored.edge, censored.times)
    )
    return sums / np.maximum(counts, 1.0)


def _beyond(censored: Censored, fitted: np.ndarray, spread: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of closures beyond their edges."""
    at = fitted[censored.cell]
    depth = censored.sign * (at - censored.edge) / spread
    hazard = np.exp(-0.5 * depth**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(depth))
    expected = at + censored.sign * spread * hazard
    return expected, (spread**2 * (1.0 - hazard * (hazard + depth))).clip(min=0.0)
