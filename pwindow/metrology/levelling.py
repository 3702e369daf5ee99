"""Levelling of a profile on the bare film beside and between the lines.

Tilt is found without being told where the lines are: a straight line through as many points as possible, with as few
as possible below it, because nothing printed lies below the film. It is then fitted to the bare film alone, which
leaves the flanks of the lines as they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from pwindow.errors import UnusableInput
from pwindow.metrology.trace import Trace

_BLOCKS, _DRAWS = 250, 250  # blocks of a profile, and lines that are tried through two of them
_NEAR = 3.0  # standard deviations of the film within which a point belongs to it
_FAR = 5.0  # standard deviations from the film at which a point is none of it
_CREST = 0.3  # µm from the line through the crests of rounded lines at which a plate's surface ends
_STEEPEST = 0.2  # slope of a scan: nobody mounts a print at more than 11 degrees (common practice, no source)
_BELOW = 3.0  # points above the film that one point below it outweighs
_GUARD = 0.04  # of a line's width that is left out of the film beside it
_QUIET, _QUIET_NORMAL = 0.25, 0.31864  # share of the smallest bends, and that quantile of |N(0, 1)|
_FEWEST = 20  # points of bare film
_ROUNDS = 6


@dataclass(frozen=True, kw_only=True)
class Levelled:
    """A profile above its bare film.

    Attributes
    ----------
    trace : Trace
    height : ndarray, shape (n,), µm
        Above the film; NaN where the instrument saw nothing.
    film : ndarray of bool, shape (n,)
        Points that the film was fitted to.
    slope : float
        Of the film before levelling, µm/µm.
    offset : float
        Of the film before levelling at x = 0, µm.
    noise : float
        Standard deviation of points of the film, µm.
    independent : float
        Points that the film's noise stays alike for: 1 where each point is independent.
    """

    trace: Trace
    height: np.ndarray
    film: np.ndarray
    slope: float
    offset: float
    noise: float
    independent: float

    @property
    def regions(self) -> tuple[tuple[float, float], ...]:
        """Stretches of bare film that it was levelled on, µm."""
        x, edges = self.trace.x, np.flatnonzero(np.diff(np.r_[0, self.film.astype(int), 0]))
        return tuple((float(x[a]), float(x[b - 1])) for a, b in zip(edges[::2], edges[1::2]))

    def offset_error(self, x: float) -> float:
        """Standard uncertainty of the film's height at a place, µm; see JCGM 100, 5.1 and H.3.

        Parameters
        ----------
        x : float
            µm.
        """
        at = self.trace.x[self.film]
        count = max(len(at) / self.independent, 2.0)
        spread = float(np.var(at)) or 1.0
        return self.noise * float(np.sqrt((1.0 + (x - at.mean()) ** 2 / spread) / count))


def level(trace: Trace, film: np.ndarray | None = None, *, plate: bool = False) -> Levelled:
    """Level a profile on its bare film.

    Parameters
    ----------
    trace : Trace
    film : ndarray of bool, shape (n,), optional
        Points that are bare film; found unless given.
    plate : bool, default False
        Whether it is the surface of a plate, turned upside down: lips stand off it on the other side, and of rounded lines
        little more than the crests is seen of it.

    Raises
    ------
    UnusableInput
        If too little of it is bare film.
    """
    found = _film(trace, plate=plate) if film is None else film & trace.seen
    if int(found.sum()) < _FEWEST:
        raise UnusableInput(
            f"{trace.name}: only {int(found.sum())} points of bare film beside the lines, too few to level on; measure "
            "a longer trace, or say which stretch is bare"
        )
    slope, offset = np.polyfit(trace.x[found], trace.z[found], 1)
    height = trace.z - offset - slope * trace.x
    noise, independent = _noise(height, found)
    return Levelled(
        trace=trace,
        height=height,
        film=found,
        slope=float(slope),
        offset=float(offset),
        noise=noise,
        independent=independent,
    )


def _film(trace: Trace, *, plate: bool) -> np.ndarray:
    """Points of bare film, at a distance from the lines; of a plate's surface, at a distance from lips too."""
    seen = trace.seen
    if int(seen.sum()) < _FEWEST:
        return seen
    x, z = trace.x[seen], trace.z[seen]
    slope, offset, width = _lowest_line(x, z)
    film = np.zeros(len(x), bool)
    if plate:
        above = z - offset - slope * x
        film = np.abs(above) < _CREST
        width = _robust_deviation(above[film])
    for _ in range(_ROUNDS):
        above = z - offset - slope * x
        now = _away_from_lines(above, width)
        if plate:
            now &= np.abs(above) < _FAR * max(width, 1e-12)
        if int(now.sum()) < _FEWEST or np.array_equal(now, film):
            break
        film = now
        slope, offset = np.polyfit(x[film], z[film], 1)
        width = _robust_deviation((z - offset - slope * x)[film])
    whole = np.zeros(len(trace.x), bool)
    whole[np.flatnonzero(seen)[film]] = True
    return whole


def _lowest_line(x: np.ndarray, z: np.ndarray) -> tuple[float, float, float]:
    """Slope, offset and deviation of the line that most points lie on and few below."""
    size = max(1, len(x) // _BLOCKS)
    count = len(x) // size
    bx = np.median(x[: count * size].reshape(count, size), axis=1)
    bz = np.median(z[: count * size].reshape(count, size), axis=1)
    bends = np.abs(np.diff(bz, 2))  # small on the film alone, which may be less than half of the profile
    deviation = float(np.quantile(bends, _QUIET)) / (_QUIET_NORMAL * np.sqrt(6.0)) or 1e-9 * (
        np.ptp(bz) or 1.0
    )
    rng = np.random.default_rng(0)
    first, second = rng.integers(0, count, (2, _DRAWS))
    apart = np.abs(bx[first] - bx[second]) > 0.05 * np.ptp(bx)
    first, second = first[apart], second[apart]
    slopes = (bz[second] - bz[first]) / (bx[second] - bx[first])
    first, slopes = first[np.abs(slopes) < _STEEPEST], slopes[np.abs(slopes) < _STEEPEST]
    away = bz - (bz[first] - slopes * bx[first])[:, None] - slopes[:, None] * bx
    on = (np.abs(away) < _NEAR * deviation).sum(axis=1)
    best = int(np.argmax(on - _BELOW * (away < -_NEAR * deviation).sum(axis=1)))
    return float(slopes[best]), float(bz[first[best]] - slopes[best] * bx[first[best]]), float(deviation)


def _away_from_lines(above: np.ndarray, deviation: float) -> np.ndarray:
    """Points of the film, without what is near a line."""
    window = max(1, len(above) // 400)
    smooth = uniform_filter1d(above, window, mode="nearest")
    lines = smooth > _NEAR * max(deviation / np.sqrt(window), 1e-12)
    edges = np.flatnonzero(np.diff(np.r_[0, lines.astype(int), 0]))
    long = [(a, b) for a, b in zip(edges[::2], edges[1::2]) if b - a > 2 * window]
    lines = np.zeros(len(above), bool)
    for a, b in long:
        guard = int(np.ceil(_GUARD * (b - a))) + window
        lines[max(a - guard, 0) : b + guard] = True
    return ~lines & (np.abs(above) < _FAR * max(deviation, 1e-12) * np.sqrt(window))


def _robust_deviation(values: np.ndarray) -> float:
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _noise(height: np.ndarray, film: np.ndarray) -> tuple[float, float]:
    """Standard deviation of points of the film, and for how many of them it stays alike."""
    deviation = float(height[film].std(ddof=2))
    if deviation <= 1e-12 * float(np.nanmax(np.abs(height))):
        return 0.0, 1.0
    alike, own = 1.0, np.where(film, height, np.nan) / deviation
    for lag in range(1, 200):
        product = own[lag:] * own[:-lag]
        known = np.isfinite(product)
        if known.sum() < _FEWEST:
            break
        correlation = float(product[known].mean())
        if correlation < 0.05:
            break
        alike += 2.0 * correlation
    return deviation, alike
