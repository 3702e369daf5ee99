"""Directions of lines, told apart by the quarter turn."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def angles(values: ArrayLike) -> np.ndarray:
    """Directions of lines as one of a quarter turn: 0 along the web, 90 across, whatever side a diagonal leans to.

    Parameters
    ----------
    values : array_like, shape (n,), deg

    Returns
    -------
    ndarray of str, shape (n,)
        Whole degrees.

    Examples
    --------
    >>> angles([0.0, 180.0, -45.0, 135.0, 90.0]).tolist()
    ['0', '0', '45', '45', '90']
    """
    turned = np.abs(np.asarray(values, dtype=float)) % 180.0
    return np.array([f"{one:.0f}" for one in np.minimum(turned, 180.0 - turned)], dtype=object)
