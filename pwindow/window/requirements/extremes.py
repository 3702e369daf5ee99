"""Largest and smallest of N gaps of a print, as moments of order statistics."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from scipy.special import log_ndtr, ndtr

from pwindow.surfaces.posterior.gap_shape import GapShape

_GRID = np.linspace(-9.0, 9.0, 3001)


@dataclass(frozen=True, eq=False)
class Extremes:
    """Moments of the most and the least closed of N gaps about their print, in the gaps' standard deviation.

    Attributes
    ----------
    largest, smallest : ndarray, shape () or (k,)
        Means; of each of k shapes where they stand side by side.
    largest_variance, smallest_variance, shared : ndarray, shape () or (k,)
        Variances, and covariance.
    """

    largest: np.ndarray
    smallest: np.ndarray
    largest_variance: np.ndarray
    smallest_variance: np.ndarray
    shared: np.ndarray

    @classmethod
    def of(cls, count: float, shape: GapShape) -> Extremes:
        """Of several gaps of the shapes that the trial leaves open, weighed by their probability."""
        each, weights = extremes_of_each(count, shape), shape.weights

        def over_shapes(inside: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray:
            return np.asarray(weights @ (inside + one * other) - (weights @ one) * (weights @ other))

        return cls(
            largest=np.asarray(weights @ each.largest),
            smallest=np.asarray(weights @ each.smallest),
            largest_variance=over_shapes(each.largest_variance, each.largest, each.largest),
            smallest_variance=over_shapes(each.smallest_variance, each.smallest, each.smallest),
            shared=over_shapes(each.shared, each.largest, each.smallest),
        )

    def chosen(self, shapes: np.ndarray) -> Extremes:
        """Of some of the shapes, by their positions."""
        return Extremes(*(values[shapes] for values in vars(self).values()))


ONE_GAP = Extremes(*map(np.array, (0.0, 0.0, 1.0, 1.0, 1.0)))
"""A single gap is the largest and the smallest, whatever its shape."""


@lru_cache(maxsize=64)
def extremes_of_each(count: float, shape: GapShape) -> Extremes:
    """Under each of some shapes.

    The largest of N is the shape's transform of the largest of N normals. How the smallest goes with it is taken as for
    normals, which matters for few gaps only.
    """
    density = _density(count)
    moments = []
    for side in (1.0, -1.0):
        at = shape.deviations(side * _GRID)
        mean = at @ density
        moments += [mean, at**2 @ density - mean**2]
    largest, of_largest, smallest, of_smallest = moments
    _, variance, covariance = extreme_moments(count)
    shared = covariance / variance * np.sqrt(of_largest * of_smallest)
    return Extremes(largest, smallest, of_largest, of_smallest, shared)


def _density(count: float) -> np.ndarray:
    """Of the largest of `count` standard normals on the grid, times its step."""
    log_density = -0.5 * _GRID**2 - 0.5 * np.log(2 * np.pi)
    return count * np.exp(log_density + (count - 1) * log_ndtr(_GRID)) * (_GRID[1] - _GRID[0])


@cache
def extreme_moments(count: float) -> tuple[float, float, float]:
    """Mean and variance of the largest of `count` standard normals, and its covariance with the smallest.

    Exact integrals on a fine grid (David & Nagaraja, Order Statistics, 3rd ed., sections 2.2-3.1).

    Examples
    --------
    >>> [round(value, 4) for value in extreme_moments(2)]
    [0.5642, 0.6817, 0.3183]
    """
    if count == 1:
        return 0.0, 1.0, 1.0
    weight = _density(count)
    mean = float(weight @ _GRID)
    variance = float(weight @ _GRID**2) - mean**2
    fine, coarse = (_half_range_variance(count, mean, _GRID[::every]) for every in (4, 8))
    return mean, variance, variance - (fine + (fine - coarse) / 3)  # the step's error is of second order


def _half_range_variance(count: float, mean: float, grid: np.ndarray) -> float:
    """Half the variance of the range, which is var(largest) - cov(largest, smallest)."""
    step = grid[1] - grid[0]
    below = ndtr(grid)
    between = np.clip(below[None, :] - below[:, None], 0.0, 1.0)
    # E[W²] = 2 ∬_{x<y} (1 - F(y)^N - (1 - F(x))^N + (F(y) - F(x))^N) dx dy
    integrand = 1.0 - below[None, :] ** count - (1.0 - below[:, None]) ** count + between**count
    second = 2.0 * np.triu(integrand, 1).sum() * step**2 + integrand.diagonal().sum() * step**2
    return float(0.5 * (second - (2.0 * mean) ** 2))
