"""Raggedness of edges along a line: how far it is alike, and what of it an inspected length does not show.

Edges are taken to be alike with an exponential correlation. What a length averages out does not come back between
features; the rest does, so that features of short lengths differ more (idea: Mack, from memory; formulas: own integration).
"""

from __future__ import annotations

import numpy as np


def correlation_length(deviations: np.ndarray, dy: float) -> float:
    """Distance at which deviations are alike to 1/e, by their autocorrelation.

    Parameters
    ----------
    deviations : ndarray, shape (n,), µm
        Of places along an edge, about their mean or a straight line; not all zero.
    dy : float
        Distance of those places, µm.

    Returns
    -------
    float
        µm.
    """
    count = len(deviations)
    power = np.abs(np.fft.rfft(deviations, 2 * count)) ** 2
    alike = np.fft.irfft(power)[:count]
    alike = alike / alike[0]
    below = int(np.argmax(alike < np.exp(-1.0)))
    if below == 0:
        return float(count * dy)
    share = (alike[below - 1] - np.exp(-1.0)) / (alike[below - 1] - alike[below])
    return float((below - 1 + share) * dy)


def unseen_by_mean(correlation: float, length: float) -> float:
    """Share of an edge's variance that a length does not show, where its mean is removed.

    Parameters
    ----------
    correlation : float
        Length of an exponential correlation, in the unit of `length`.
    length : float

    Examples
    --------
    >>> [round(100 * unseen_by_mean(1.0, one), 2) for one in (10.0, 20.0, 50.0)]
    [18.0, 9.5, 3.92]
    """
    if correlation <= 0.0:
        return 0.0
    ratio = correlation / length
    return float(2.0 * ratio * (1.0 - ratio * (1.0 - np.exp(-1.0 / ratio))))


def unseen_by_line(correlation: float, length: float) -> float:
    """The same where a straight line fitted to the edge is removed, which takes more: its slope follows the edge as well.

    Parameters
    ----------
    correlation : float
        Length of an exponential correlation, in the unit of `length`.
    length : float

    Examples
    --------
    >>> [round(100 * unseen_by_line(1.0, one), 1) for one in (10.0, 20.0, 50.0)]
    [32.2, 18.0, 7.7]
    """
    if correlation <= 0.0:
        return 0.0
    a = (
        length / correlation
    )  # of the covariance exp(-a|s - t|) on 0 to 1, with the slope's function sqrt(12) (t - 1/2)
    slope = 12.0 * (
        1.0 / (6.0 * a) - 0.5 / a**2 + 2.0 / a**4 - np.exp(-a) * (0.5 / a**2 + 2.0 / a**3 + 2.0 / a**4)
    )
    return unseen_by_mean(correlation, length) + float(slope)
