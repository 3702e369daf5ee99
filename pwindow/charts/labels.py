"""Where labels stand: apart from one another, and clear of what is drawn."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

LETTER, LINE = 7.2, 18.0  # px of a label's text at 13 px: width of a letter, height of a line
Box = tuple[float, float, float, float]
"""Left, right, bottom, top."""


def title(text: str, *lines: str, width: int = 64) -> str:
    """A title that is wrapped and escaped, with small lines below it, which are HTML already."""
    head = "<br>".join(map(escape, textwrap.wrap(text, width)))
    return head + "".join(f"<br><sub>{line}</sub>" for line in lines if line)


def covered(box: Box, points: np.ndarray) -> int:
    """How many points, shape (m, 2), a box covers."""
    left, right, bottom, top = box
    x, y = points.T
    return int(((x > left) & (x < right) & (y > bottom) & (y < top)).sum())


def overlap(box: Box, others: Iterable[Box]) -> bool:
    """Whether a box lies over one of others.

    Examples
    --------
    >>> overlap((0, 2, 0, 2), [(1, 3, 1, 3)]), overlap((0, 2, 0, 2), [(2, 3, 0, 2)])
    (True, False)
    """
    return any(box[0] < b[1] and b[0] < box[1] and box[2] < b[3] and b[2] < box[3] for b in others)


def moved_apart(values: Sequence[float], room: float, within: tuple[float, float]) -> list[float]:
    """Places for labels near their values, at least `room` apart, in the order of the values.

    Examples
    --------
    >>> moved_apart([1.0, 1.0, 5.0], 1.0, (0.0, 10.0))
    [0.5, 1.5, 5.0]
    """
    order = np.argsort(values, kind="stable")
    clusters: list[list[float]] = []  # [sum of values, count]
    for value in np.asarray(values, float)[order]:
        clusters.append([value, 1])
        while len(clusters) > 1 and _end(clusters[-2], room) > _start(clusters[-1], room) - room:
            total, count = clusters.pop()
            clusters[-1] = [clusters[-1][0] + total, clusters[-1][1] + count]
    sorted_places = [_start(cluster, room) + at * room for cluster in clusters for at in range(cluster[1])]
    if not sorted_places:
        return []
    moved = np.asarray(sorted_places) - max(sorted_places[-1] - within[1], 0.0)
    places = np.empty(len(values))
    places[order] = moved + max(within[0] - moved[0], 0.0)
    return places.tolist()


def _start(cluster: Sequence[float], room: float) -> float:
    return cluster[0] / cluster[1] - room * (cluster[1] - 1) / 2.0


def _end(cluster: Sequence[float], room: float) -> float:
    return cluster[0] / cluster[1] + room * (cluster[1] - 1) / 2.0
