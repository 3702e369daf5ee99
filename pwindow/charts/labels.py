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


class Labels:
    """Places for the labels of one plot, each found with those before it in mind; lengths as shares of the plot.

    Parameters
    ----------
    drawn : ndarray, shape (m, 2)
        Points of what labels had better not cover, closely spaced.
    plot : (float, float)
        Width and height of the plot in px, at the least: in a larger one labels have more room.
    reaches : sequence of (float, float)
        How far from its point a label may stand, px sideways and upwards.
    """

    def __init__(self, drawn: np.ndarray, plot: tuple[float, float], reaches: Sequence[tuple[float, float]]):
        self._drawn, self._plot, self._taken = drawn, np.asarray(plot), []
        self._reaches = [(right * x, up * y) for x, y in reaches for right in (1, -1) for up in (1, -1)]

    def place(self, spots: np.ndarray, costs: np.ndarray, letters: int) -> tuple[int, dict]:
        """The best of the points that a label may belong to, and where its text stands.

        Parameters
        ----------
        spots : ndarray, shape (m, 2)
        costs : ndarray, shape (m,)
            What speaks against each point, in points that are covered.
        letters : int

        Returns
        -------
        int
            Position in `spots`.
        dict
            ``ax``, ``ay``, ``xanchor``, ``yanchor`` of an annotation.
        """
        found = min(
            (
                (cost + self._cost(spot, reach, letters), at, reach)
                for at, (spot, cost) in enumerate(zip(spots, costs))
                for reach in self._reaches
            ),
        )
        _, at, (x, y) = found
        self._taken.append(self._box(spots[at], (x, y), letters))
        self._drawn = np.vstack([self._drawn, self._leader(spots[at], (x, y))])
        return at, {"ax": x, "ay": -y, "xanchor": "left" if x > 0 else "right", "yanchor": "middle"}

    def _box(self, spot: np.ndarray, reach: tuple[float, float], letters: int) -> Box:
        wide, tall = LETTER * letters / self._plot[0], LINE / self._plot[1]
        x, y = spot + np.asarray(reach) / self._plot
        left = x if reach[0] > 0 else x - wide
        return left, left + wide, y - tall / 2, y + tall / 2

    def _leader(self, spot: np.ndarray, reach: tuple[float, float]) -> np.ndarray:
        return spot + np.linspace(0.1, 0.95, 20)[:, None] * np.asarray(reach) / self._plot

    def _cost(self, spot: np.ndarray, reach: tuple[float, float], letters: int) -> float:
        box, leader = self._box(spot, reach, letters), self._leader(spot, reach)
        outside = box[0] < 0 or box[1] > 1 or box[2] < 0 or box[3] > 1
        crossed = sum(covered(other, leader) for other in self._taken)
        return (
            1e4 * overlap(box, self._taken)
            + 1e3 * outside
            + 50 * crossed
            + 3 * covered(box, self._drawn)
            + 0.1 * np.hypot(*reach)
        )


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
