"""Labels: names as plotly shows them, and where labels stand, apart from one another and clear of what is drawn."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from pwindow.product import Assurance

LETTER, LINE = 7.2, 18.0  # px of a label's text at 13 px: width of a letter, height of a line
_DRAWN = ((1.0, 3.2), (1.0, 1.2))
Box = tuple[float, float, float, float]
"""Left, right, bottom, top."""


def as_text(name: object) -> str:
    """A name in a text of plotly, which takes a small part of HTML.

    Examples
    --------
    >>> as_text("<b>2047</b>")
    '&lt;b&gt;2047&lt;/b&gt;'
    """
    return escape(str(name))


def asked_for(assurance: Assurance) -> str:
    """The assurance that is required, beside its line.

    Examples
    --------
    >>> asked_for(Assurance(0.95)), asked_for(Assurance(0.95, confidence=0.9))
    ('required:<br>95 %', 'required:<br>95 % with<br>90 %<br>confidence')
    """
    return f"required:<br>{assurance.words.replace(' with ', ' with<br>').replace(' confidence', '<br>confidence')}"


def title(text: str, *lines: str, width: int = 64) -> str:
    """A title that is wrapped, with small lines below it.

    Parameters
    ----------
    text : str
    *lines : str
        With names `as_text`; empty ones are left out.
    width : int, default 64
        Characters at which the title wraps.
    """
    head = "<br>".join(map(as_text, textwrap.wrap(text, width)))
    return head + "".join(f"<br><sub>{line}</sub>" for line in lines if line)


def key_note(text: str, left: float, below: float, colour: str | None = None) -> dict:
    """What the marks of a picture stand for, under its plots.

    Parameters
    ----------
    text : str
    left : float
        Margin to the left of the plots, px.
    below : float
        Room above it, px.
    colour : str, optional
        That of the figure's text unless given.
    """
    return {
        "xref": "paper",
        "x": 0,
        "xanchor": "left",
        "xshift": 12 - left,
        "yref": "paper",
        "y": 0,
        "yanchor": "top",
        "yshift": -below,
        "showarrow": False,
        "align": "left",
        "text": text,
        "font": {"size": 12} | ({} if colour is None else {"color": colour}),
    }


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
    plot : (int, int)
        Width and height of the plot in px, for which labels keep off what is drawn and off leaders of others.
    reaches : sequence of (float, float)
        How far from its point a label may stand, px sideways and upwards.
    letter : float
        Width of a letter of a label's text, px.
    drawn_at : pair of (float, float)
        How many times as wide and as high the plot may be drawn, from and to: labels stand apart from one another in
        all of them.
    """

    def __init__(
        self,
        drawn: np.ndarray,
        plot: tuple[int, int],
        reaches: Sequence[tuple[float, float]],
        letter: float = LETTER,
        drawn_at: tuple[tuple[float, float], tuple[float, float]] = _DRAWN,
    ):
        self._plot, self._letter, self._drawn_at = np.asarray(plot), letter, drawn_at
        self._reaches = np.array([(x * a, y * b) for x, y in reaches for a in (1, -1) for b in (1, -1)])
        self._drawn, self._taken = np.zeros(plot, bool), np.zeros(plot, bool)
        self._placed: list[tuple[np.ndarray, np.ndarray]] = []
        self._draw(drawn)

    def place(self, spots: np.ndarray, costs: np.ndarray, letters: int) -> tuple[int, dict]:
        """The best of the points that a label may belong to, and where its text stands.

        Parameters
        ----------
        spots : ndarray, shape (m, 2)
            In shares of the plot's width and height.
        costs : ndarray, shape (m,)
            What speaks against each point, in px that are covered.
        letters : int
            Of the text.

        Returns
        -------
        int
            Position in `spots`.
        dict
            ``ax``, ``ay``, ``xanchor``, ``yanchor`` of an annotation.
        """
        at_px = spots[:, None, :] * self._plot  # (m, 1, 2)
        text = at_px + self._reaches  # (m, r, 2)
        wide, right = self._letter * letters, self._reaches[:, 0] > 0
        left = np.where(right, text[..., 0], text[..., 0] - wide)
        box = np.stack([left, left + wide, text[..., 1] - LINE / 2, text[..., 1] + LINE / 2])
        along = np.linspace(0.25, 0.95, 20)[:, None, None, None]
        leader = at_px + along * self._reaches  # (20, m, r, 2)
        outside = (box[0] < 0) | (box[1] > self._plot[0]) | (box[2] < 0) | (box[3] > self._plot[1])
        cost = (
            costs[:, None]
            + 1e4 * self._meets(spots, box - np.repeat(at_px.T, 2, axis=0).swapaxes(1, 2))
            + 1e3 * outside
            + 50 * self._under(self._taken, leader)
            + 3 * self._inside(self._drawn, box)
            + 20 * self._under(self._drawn, leader)
            + 0.1 * np.hypot(*self._reaches.T)
        )
        at, reach = np.unravel_index(np.argmin(cost), cost.shape)
        self._placed.append((spots[at], box[:, at, reach] - np.repeat(at_px[at, 0], 2)))
        ends = box[:, at, reach].round().astype(int).clip(min=0)
        self._taken[ends[0] : ends[1], ends[2] : ends[3]] = True
        self._draw(leader[:, at, reach] / self._plot)
        x, y = self._reaches[reach].tolist()
        return int(at), {"ax": x, "ay": -y, "xanchor": "left" if x > 0 else "right", "yanchor": "middle"}

    def _meets(self, spots: np.ndarray, box: np.ndarray) -> np.ndarray:
        """Whether boxes meet a label in any size of the plot, shape (m, r); boxes are px from their spots."""
        met = np.zeros(box.shape[1:], bool)
        for spot, label in self._placed:
            both = np.ones_like(met)
            for axis in (0, 1):
                low, high = label[2 * axis] - box[2 * axis + 1], label[2 * axis + 1] - box[2 * axis]
                apart = (spots[:, axis] - spot[axis])[:, None] * self._plot[axis]
                near, far = (apart * times for times in self._drawn_at[axis])
                both &= (np.minimum(near, far) < high) & (np.maximum(near, far) > low)
            met |= both
        return met

    def _draw(self, points: np.ndarray) -> None:
        px = np.floor(points * self._plot).astype(int)
        px = px[((px >= 0) & (px < self._plot)).all(axis=1)]
        self._drawn[tuple(px.T)] = True

    def _inside(self, mask: np.ndarray, box: np.ndarray) -> np.ndarray:
        """How many px of a mask boxes cover, by a table of sums; shape (m, r)."""
        sums = np.pad(mask.cumsum(0).cumsum(1), ((1, 0), (1, 0)))
        left, right = (np.clip(np.rint(end), 0, self._plot[0]).astype(int) for end in box[:2])
        low, high = (np.clip(np.rint(end), 0, self._plot[1]).astype(int) for end in box[2:])
        return sums[right, high] - sums[left, high] - sums[right, low] + sums[left, low]

    def _under(self, mask: np.ndarray, leader: np.ndarray) -> np.ndarray:
        """How many points of lines to labels lie on a mask; shape (m, r)."""
        px = np.clip(np.floor(leader).astype(int), 0, self._plot - 1)
        return mask[px[..., 0], px[..., 1]].sum(axis=0)


def moved_apart(values: Sequence[float], room: float, within: tuple[float, float]) -> list[float]:
    """Places for labels near their values, at least `room` apart, in the order of the values.

    Parameters
    ----------
    values : sequence of float
    room : float
        In the unit of the values.
    within : (float, float)
        Ends between which places lie, as far as there is room.

    Examples
    --------
    >>> moved_apart([1.0, 1.0, 5.0], 1.0, (0.0, 10.0))
    [0.5, 1.5, 5.0]
    """
    order = np.argsort(values, kind="stable")
    clusters: list[tuple[float, int]] = []  # sum of values, and their count
    for value in np.asarray(values, float)[order]:
        clusters.append((value, 1))
        while len(clusters) > 1 and _end(clusters[-2], room) > _start(clusters[-1], room) - room:
            total, count = clusters.pop()
            clusters[-1] = (clusters[-1][0] + total, clusters[-1][1] + count)
    sorted_places = [_start(cluster, room) + at * room for cluster in clusters for at in range(cluster[1])]
    if not sorted_places:
        return []
    moved = np.asarray(sorted_places) - max(sorted_places[-1] - within[1], 0.0)
    places = np.empty(len(values))
    places[order] = moved + max(within[0] - moved[0], 0.0)
    return places.tolist()


def _start(cluster: tuple[float, int], room: float) -> float:
    return cluster[0] / cluster[1] - room * (cluster[1] - 1) / 2.0


def _end(cluster: tuple[float, int], room: float) -> float:
    return cluster[0] / cluster[1] + room * (cluster[1] - 1) / 2.0
