"""Intervals of a mean, of the next print, and of most prints."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.special import nctdtrit, ndtri, stdtrit

_LEAST = 1e-6  # share of a print's variance to which a mean can be known


def intervals(
    mean: np.ndarray,
    of_mean: np.ndarray,
    spread: float | np.ndarray,
    df_of_mean: float | np.ndarray,
    df: float,
    level: float,
    *,
    most: bool = True,
) -> dict[str, np.ndarray]:
    """Intervals at m set-ups, on the modelled scale.

    Parameters
    ----------
    mean : ndarray, shape (m,)
    of_mean : ndarray, shape (m,)
        Estimated variance of the mean.
    spread : float or ndarray, shape (m,)
        Estimated variance of a print about its mean.
    df_of_mean, df : float or ndarray, shape (m,)
        Degrees of freedom of the two.
    level : float
    most : bool
        Whether to give the tolerance limits, which take longer than all else.

    Returns
    -------
    dict of str to ndarray, shape (m,)
        ``mean``; ``mean_ci_low``, ``mean_ci_high`` for the mean over many prints; ``obs_ci_low``,
        ``obs_ci_high`` for the next print; and ``most_low``, ``most_high``, each of which a share
        `level` of all prints keeps with confidence `level`: one-sided tolerance limits by the
        non-central t (ISO 16269-6; Krishnamoorthy & Mathew 2009, Statistical Tolerance Regions, 3.2).
    """
    reaches = {
        "mean_ci": stdtrit(df_of_mean, 0.5 + level / 2) * np.sqrt(of_mean),
        "obs_ci": stdtrit(df, 0.5 + level / 2) * np.sqrt(of_mean + spread),
    }
    if most:
        known = np.maximum(of_mean, _LEAST * spread)
        distance = ndtri(level) * np.sqrt(spread / known)
        reaches["most"] = nctdtrit(df, distance, level) * np.sqrt(known)
    columns = {"mean": mean}
    for name, reach in reaches.items():
        columns[f"{name}_low"], columns[f"{name}_high"] = mean - reach, mean + reach
    return columns


def turned(columns: Mapping[str, Any]) -> dict[str, Any]:
    """Intervals of what falls where their quantity rises: each low end is a high one, and the reverse."""
    other = {"low": "high", "high": "low"}
    found = {}
    for name in columns:
        kind, _, end = name.rpartition("_")
        found[name] = columns[f"{kind}_{other[end]}" if end in other else name]
    return found
