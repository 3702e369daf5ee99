"""Heights that are none: numbers that stand for points which were not seen, and single points far off."""

from __future__ import annotations

import numpy as np

from pwindow.errors import UnusableInput
from pwindow.wording import counted, listed

_NOTHING_SEEN = (-9999.0, -99999.0, -999999.0, 9999.0, 99999.0, 999999.0, -32768.0, 32767.0)
"""Numbers by which instruments say that nothing was seen, in whatever unit (common practice, no source)."""
_FAR_OFF = 15.0  # usual differences of neighbours
_ALIKE = 0.25  # share of a spike that the points beside it may differ by
_REPEATED = 5  # points of one number from which on it is no chance,
_MOSTLY = 0.8  # and their share of all points of that number
_SAMPLE = 200_000  # differences that the usual one is taken from at most


def seen_alone(name: str, z: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """Heights without numbers that stand for nothing seen, and without points far off all of their neighbours.

    Parameters
    ----------
    name : str
        Of the file, for messages.
    z : ndarray, shape (n,) or (ny, nx)
        Heights as the file has them, in its unit; neighbours in a map are those in a row.

    Returns
    -------
    ndarray
        NaN where nothing was seen.
    tuple of str
        What was left out.

    Raises
    ------
    UnusableInput
        If one number stands again and again where heights break off: it may be no height.
    """
    notes = []
    unseen = np.isin(z, _NOTHING_SEEN)
    if unseen.any():
        said = listed([f"{value:g}" for value in np.unique(z[unseen])])
        notes.append(f"{int(unseen.sum())} cells of {said} are read as not seen")
        z = np.where(unseen, np.nan, z)
    rows = np.atleast_2d(z)
    far = _FAR_OFF * _usual_difference(rows)
    if (found := _repeated_break(rows, far)) is not None:
        value, count = found
        raise UnusableInput(
            f"{name}: {count} points are exactly {value:g} where the heights beside them are far from it, which looks "
            "like points that were not seen; leave those cells empty"
        )
    spikes = [_spikes(row, far) for row in rows]
    if count := sum(int(row.sum()) for row in spikes):
        notes.append(
            counted(
                count,
                "single point far from its neighbours is left out",
                "single points far from their neighbours are left out",
            )
        )
        z = np.where(np.reshape(spikes, z.shape), np.nan, z)
    return z, tuple(notes)


def _usual_difference(rows: np.ndarray) -> float:
    """Of neighbouring heights: the middle one of those that are not zero."""
    apart = []
    for row in rows[:: max(1, rows.size // _SAMPLE)]:
        known = row[np.isfinite(row)]
        apart.append(np.abs(np.diff(known)))
    differences = np.concatenate(apart)
    differences = differences[differences > 0.0]
    return float(np.median(differences)) if len(differences) else 0.0


def _repeated_break(rows: np.ndarray, far: float) -> tuple[float, int] | None:
    """A number that stands nearly always far from what is beside it on both sides, and how often it stands."""
    found = [np.repeat(*_breaks(row, far)) for row in rows]
    values, counts = np.unique(np.concatenate(found), return_counts=True)
    for at in np.argsort(-counts):
        if counts[at] < _REPEATED:
            return None
        if counts[at] > _MOSTLY * np.count_nonzero(rows == values[at]):
            return float(values[at]), int(counts[at])
    return None


def _breaks(row: np.ndarray, far: float) -> tuple[np.ndarray, np.ndarray]:
    """Heights of a row that break off from those on both sides, and for how many points each stands."""
    edges = np.flatnonzero(np.diff(np.r_[np.nan, row, np.nan]) != 0.0)
    first, length = edges[:-1], np.diff(edges)
    value, padded = row[first], np.r_[np.nan, row, np.nan]
    with np.errstate(invalid="ignore"):
        breaks = (np.abs(padded[first] - value) > far) & (np.abs(padded[first + length + 1] - value) > far)
    return value[breaks], length[breaks]


def _spikes(row: np.ndarray, far: float) -> np.ndarray:
    """Single points far above or far below both neighbours, where these and theirs are alike."""
    if len(row) < 5:
        return np.zeros(len(row), bool)
    far_left, left, own, right, far_right = (row[at : len(row) - 4 + at] for at in range(5))
    with np.errstate(invalid="ignore"):
        apart = np.minimum(np.abs(own - left), np.abs(own - right))
        same_side = (own - left) * (own - right) > 0.0
        beside = np.max([np.abs(left - right), np.abs(left - far_left), np.abs(right - far_right)], axis=0)
        found = same_side & (apart > far) & (beside < _ALIKE * apart)
    return np.r_[False, False, found, False, False]
