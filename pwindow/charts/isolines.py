"""Lines of equal value on a map, as one line of a picture."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from contourpy import contour_generator

from pwindow.window.search.inner import InnerSet
from pwindow.window.search.maps import WindowMap


def isolines(
    shown: WindowMap | InnerSet, values: np.ndarray, levels: Iterable[float]
) -> dict[str, np.ndarray | list[float]]:
    """Lines at which values of a map reach levels, found between its set-ups.

    A browser that is sent them need not look for them each time a slider moves.

    Parameters
    ----------
    shown : WindowMap or InnerSet
    values : ndarray, shape (v, s)
        Over volumes and speeds; NaN where nothing is known.
    levels : iterable of float
        In the values' unit.

    Returns
    -------
    dict
        `x`, `y`: speeds and volumes in the units of the map, lines parted by NaN; float32, and empty
        lists where there is no line.
    """
    return lines_at(shown.speeds, shown.volumes, values, levels)


def lines_at(
    x: np.ndarray, y: np.ndarray, values: np.ndarray, levels: Iterable[float]
) -> dict[str, np.ndarray | list[float]]:
    """Lines at which values over a grid reach levels; see `isolines`.

    Parameters
    ----------
    x : ndarray, shape (c,)
    y : ndarray, shape (r,)
    values : ndarray, shape (r, c)
    levels : iterable of float
    """
    lines = contour_generator(x, y, np.ma.masked_invalid(values), line_type="ChunkCombinedNan")
    found = [points for level in levels for points in lines.lines(level)[0] if points is not None]
    if not found:
        return {"x": [], "y": []}
    parted = [part for points in found for part in (points, np.full((1, 2), np.nan))][:-1]
    x, y = np.concatenate(parted).T.astype(np.float32)
    return {"x": x, "y": y}
