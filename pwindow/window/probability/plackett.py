"""Probability of a rectangle by Plackett's identity: smooth and without a lattice, for maps.

The derivative of the probability by a correlation is the density at the corners of the two dimensions
times the probability of the others given the corner (Plackett 1954, Biometrika 41, 351-360; for t
Genz 2004, Stat. Comput. 14, 251-260). It is integrated from no correlation to all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from itertools import combinations, product
from math import prod

import numpy as np
from scipy.linalg import eigh_tridiagonal
from scipy.special import chdtri, ndtr

_SETTLED = 5e-4  # elementary bounds this close together leave correlations nothing to change
_NEGLIGIBLE = 2e-4  # four times the most that a pair may change and be passed over
_STEEP = 0.9  # correlation from which the density bends too much for three nodes
_ANGLES = {steep: np.polynomial.legendre.leggauss(count) for steep, count in ((False, 3), (True, 7))}

Ends = tuple[np.ndarray | None, np.ndarray | None]
"""Lower and upper bound of a dimension in its standard deviations; None where there is none."""


def quick_probability(
    lower: np.ndarray, upper: np.ndarray, mean: np.ndarray, scale: np.ndarray, df: float
) -> np.ndarray:
    """P(lower ≤ Y ≤ upper) for Y multivariate t at each of m locations, to 0.002.

    Of the dimensions given a corner, what pairs have to do with one another is counted and what triples
    add to it is not (Bahadur 1961, in Studies in Item Analysis and Prediction): up to four dimensions
    nothing is left out.

    Parameters
    ----------
    lower, upper : ndarray, shape (k,)
        Bounds, which may be infinite.
    mean : ndarray, shape (m, k)
    scale : ndarray, shape (m, k, k)
    df : float
        Degrees of freedom; infinite for a normal.

    Returns
    -------
    ndarray, shape (m,)
    """
    bounded = np.flatnonzero((lower > -np.inf) | (upper < np.inf))
    if len(bounded) == 0:
        return np.ones(len(mean))
    deviation = np.sqrt(np.einsum("mii->im", scale))
    correlation = (np.moveaxis(scale, 0, -1) / (deviation[:, None] * deviation))[np.ix_(bounded, bounded)]
    ends = [
        (
            None if lower[at] == -np.inf else (lower[at] - mean[:, at]) / deviation[at],
            None if upper[at] == np.inf else (upper[at] - mean[:, at]) / deviation[at],
        )
        for at in bounded
    ]
    alone, result = _uncorrelated(ends, df)
    least, most = np.clip(alone.sum(axis=0) - len(ends) + 1.0, 0.0, 1.0), alone.min(axis=0)
    open_ = np.flatnonzero(most - least > _SETTLED)
    result[open_] += _by_correlation([_at(pair, open_) for pair in ends], correlation[:, :, open_], df)
    return np.clip(result, least, most)


def _uncorrelated(ends: Sequence[Ends], df: float) -> tuple[np.ndarray, np.ndarray]:
    """Probability of each dimension alone, shape (k, m), and of all were they not correlated, shape (m,)."""
    radii, weights = _radii(df, 5 if df >= 8 else 12)
    given_radius = [_interval(_scaled(_at(pair, np.s_[:, None]), radii)) for pair in ends]
    alone = np.array([share @ weights for share in given_radius]).clip(0.0, 1.0)
    return alone, prod(given_radius) @ weights


def _by_correlation(ends: Sequence[Ends], correlation: np.ndarray, df: float) -> np.ndarray:
    """What the correlations change, shape (m,): the sum over all pairs of dimensions."""
    total = np.zeros(correlation.shape[-1])
    nearest = [np.min([np.abs(end) for end in pair if end is not None], axis=0) for pair in ends]
    for i, j in combinations(range(len(ends)), 2):
        size = np.abs(correlation[i, j])
        reach = size * _density(np.maximum(nearest[i], nearest[j]) ** 2, df)
        for steep, angles in _ANGLES.items():
            rows = np.flatnonzero((reach > _NEGLIGIBLE) & ((size > _STEEP) == steep))
            if len(rows):
                near = [_at(pair, rows) for pair in ends]
                total[rows] += _of_pair(i, j, near, correlation[:, :, rows], df, *angles)
    return total


def _of_pair(
    i: int,
    j: int,
    ends: Sequence[Ends],
    correlation: np.ndarray,
    df: float,
    nodes: np.ndarray,
    weights: np.ndarray,
) -> np.ndarray:
    """What the correlation of two dimensions changes, integrated over its arc sine, shape (m,).

    All correlations grow in step; others depend on i and j by regression along the way.
    """
    others = [at for at in range(len(ends)) if at not in (i, j)]
    whole = np.arcsin(np.clip(correlation[i, j], -1.0 + 1e-9, 1.0 - 1e-9))
    sine = np.sin((nodes[:, None] + 1.0) / 2.0 * whole)
    share, left = sine / correlation[i, j], 1.0 - sine**2
    with_i, with_j = (share * correlation[others, at][:, None] for at in (i, j))
    slope_i, slope_j = (with_i - sine * with_j) / left, (with_j - sine * with_i) / left
    spread = np.sqrt(np.maximum(1.0 - slope_i * with_i - slope_j * with_j, 1e-12))
    partial = {
        (c, d): (share * correlation[others[c], others[d]] - slope_i[c] * with_i[d] - slope_j[c] * with_j[d])
        / (spread[c] * spread[d])
        for c, d in combinations(range(len(others)), 2)
    }
    total = np.zeros_like(sine)
    for sign, a, b in _corners(ends[i], ends[j]):
        distance = (a * a + b * b - 2.0 * (a * b) * sine) / left
        shift, stretch = slope_i * a + slope_j * b, spread * np.sqrt(1.0 + distance / df)
        given = [_standardised(ends[other], shift[c], stretch[c]) for c, other in enumerate(others)]
        total += sign * _density(distance, df) * _together(given, partial, df)
    return weights @ total * whole / (4.0 * np.pi)


def _together(ends: Sequence[Ends], correlation: Mapping, df: float) -> np.ndarray | float:
    """Probability of all intervals together from those of single ones and of pairs."""
    total, count = 0.0, 2 if df >= 8 else 3 if df >= 3 else 8
    for radius, weight in zip(*_radii(df, count)):
        at_radius = [_scaled(pair, radius) for pair in ends]
        alone = [_interval(pair) for pair in at_radius]
        together = prod(alone)
        for (c, d), of_pair in correlation.items():
            rest = [alone[at] for at in range(len(ends)) if at not in (c, d)]
            together += prod(rest, start=_normal_dependence(at_radius[c], at_radius[d], of_pair))
        total = total + weight * together
    return total


def _normal_dependence(one: Ends, other: Ends, correlation: np.ndarray) -> np.ndarray:
    """Normal probability of two intervals less that without correlation: the identity by the midpoint."""
    half = np.clip(correlation, -0.9999, 0.9999) / 2.0
    left = 1.0 - half**2
    total = np.zeros_like(half)
    for sign, a, b in _corners(one, other):
        total += sign * np.exp((2.0 * half * (a * b) - a * a - b * b) / (2.0 * left))
    return total * half / (np.pi * np.sqrt(left))


def _corners(one: Ends, other: Ends) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    for (sign, a), (same, b) in product(zip((-1, 1), one), zip((-1, 1), other)):
        if a is not None and b is not None:
            yield sign * same, a, b


def _each(ends: Ends, change: Callable[[np.ndarray], np.ndarray]) -> Ends:
    low, high = ends
    return None if low is None else change(low), None if high is None else change(high)


def _at(ends: Ends, index: np.ndarray | tuple[slice, None]) -> Ends:
    return _each(ends, lambda end: end[index])


def _scaled(ends: Ends, factor: np.ndarray | float) -> Ends:
    return _each(ends, lambda end: end * factor)


def _standardised(ends: Ends, mean: np.ndarray, deviation: np.ndarray) -> Ends:
    return _each(ends, lambda end: (end - mean) / deviation)


def _interval(ends: Ends) -> np.ndarray:
    """Normal probability of an interval."""
    low, high = ends
    return np.asarray((1.0 if high is None else ndtr(high)) - (0.0 if low is None else ndtr(low)))


def _density(distance: np.ndarray, df: float) -> np.ndarray:
    """What the density of a corner falls to with its squared distance, in the identity."""
    if np.isinf(df):
        return np.exp(distance / -2.0)
    return np.exp(np.log(1.0 + distance / df) * (-df / 2.0))


@cache
def _radii(df: float, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of Gauss's rule for √(χ²/df), from its quantiles by Lanczos's recursion.

    Golub & Welsch 1969, Math. Comp. 23, 221-230. Given the radius a t is a normal.
    """
    if np.isinf(df):
        return np.ones(1), np.ones(1)
    fine = np.sqrt(chdtri(df, (np.arange(4000) + 0.5) / 4000) / df)
    diagonal, beside = [], [0.0]
    before, now = np.zeros_like(fine), np.full_like(fine, len(fine) ** -0.5)
    for _ in range(count):
        diagonal.append(fine @ now**2)
        after = (fine - diagonal[-1]) * now - beside[-1] * before
        beside.append(float(np.linalg.norm(after)))
        before, now = now, after / beside[-1]
    nodes, vectors = eigh_tridiagonal(diagonal, beside[1:-1])
    return nodes, vectors[0] ** 2
