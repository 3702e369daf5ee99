"""Levelling of a profile on the bare film beside and between the lines.

Tilt is found without being told where the lines are: a straight line through as many points as possible, with as few
as possible below it, because nothing printed lies below the film. It is then fitted to the bare film alone, which
leaves the flanks of the lines as they are. A film that is bent takes a parabola in its place, where many more points lie on
one, or where the film itself tells it from a straight line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from types import MappingProxyType

import numpy as np
from numpy.polynomial import Polynomial
from scipy.ndimage import uniform_filter1d

from pwindow.errors import UnusableInput
from pwindow.metrology.stretches import quantile, stretches
from pwindow.metrology.trace import Trace

STRAIGHT, BENT = 1, 2
"""Degrees of what the film lies on."""
_BLOCKS = 250  # of a profile
_DRAWS = MappingProxyType({STRAIGHT: 250, BENT: 150})  # curves that are tried through two or three blocks
_APART = 0.05  # share of the profile that lies between those
_CLEARLY = 1.1  # times the points on the best line that a parabola must have on it
_TOLD = 4.0  # standard deviations of the bend by which a film is told from a straight one
_NEAR = 3.0  # standard deviations of the film within which a point belongs to it
_FAR = 5.0  # standard deviations from the film at which a point is none of it
_CREST = 0.3  # µm from the line through the crests of rounded lines at which a plate's surface ends
_STEEPEST = 0.2  # slope of a scan: nobody mounts a print at more than 11 degrees (common practice, no source)
_WAVES = 0.01  # of the lines' height: what waves of the film are looked for at first
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
    base : Polynomial
        The film before levelling, µm, against x in µm: a straight line, or a parabola where it is bent.
    noise : float
        Standard deviation of points of the film, µm.
    independent : float
        Points that the film's noise stays alike for: 1 where each point is independent.
    """

    trace: Trace
    height: np.ndarray
    film: np.ndarray
    base: Polynomial
    noise: float
    independent: float

    @property
    def regions(self) -> tuple[tuple[float, float], ...]:
        """Stretches of bare film that it was levelled on, µm."""
        x = self.trace.x
        return tuple((float(x[a]), float(x[b - 1])) for a, b in zip(*stretches(self.film)))

    @property
    def slope(self) -> float:
        """Of the film before levelling in the middle of the profile, µm/µm."""
        return float(self.base.deriv()(np.mean(self.base.domain)))

    @property
    def bend(self) -> float:
        """How far the film stands above the straight line between its ends in the middle of the profile, µm."""
        return -float(self.base.coef[2]) if self.base.degree() == BENT else 0.0

    @cached_property
    def _spread(self) -> np.ndarray:
        """Covariance of the coefficients of the film over the variance of an independent point."""
        return np.linalg.inv(_powers(self.base, self.trace.x[self.film])[1])

    @cached_property
    def _offset_noise(self) -> float:
        """Standard deviation of what the film is fitted to, as if its points were independent, µm."""
        return self.noise * float(
            np.sqrt(min(self.independent, self.film.sum() / (self.base.degree() + 1.0)))
        )

    def offset_error(self, x: float) -> float:
        """Standard uncertainty of the film's height at a place, µm; see JCGM 100, 5.1 and H.3.

        Parameters
        ----------
        x : float
            µm.
        """
        offset, scale = self.base.mapparms()
        powers = (offset + scale * x) ** np.arange(self.base.degree() + 1)
        return self._offset_noise * float(np.sqrt(powers @ self._spread @ powers))


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
        If too little of it is bare film, or every line through it would be too steep.
    """
    found = _film(trace, plate=plate) if film is None else film & trace.seen
    if int(found.sum()) < _FEWEST:
        raise UnusableInput(
            f"{trace.name}: only {int(found.sum())} points of bare film beside the lines, too few to level on; measure "
            "a longer trace, or say which stretch is bare"
        )
    base = _base(trace, found)
    height = trace.z - base(trace.x)
    noise, independent = _noise(height, found)
    return Levelled(trace=trace, height=height, film=found, base=base, noise=noise, independent=independent)


def _base(trace: Trace, film: np.ndarray) -> Polynomial:
    """A straight line through the film, or a parabola where the film tells it from one."""
    x, z, ends = trace.x[film], trace.z[film], (trace.x[0], trace.x[-1])
    straight, bent = (_fitted(x, z, degree, ends) for degree in (STRAIGHT, BENT))
    if not _spans(x, ends):
        return straight
    left = np.full(len(trace.x), np.nan)
    left[film] = z - bent(x)
    noise, independent = _noise(left, film)
    error = noise * np.sqrt(independent * np.linalg.inv(_powers(bent, x)[1])[2, 2])
    least = max(_TOLD * error, 1e-6 * float(np.nanmax(np.abs(trace.z - straight(trace.x)))))
    return bent if abs(bent.coef[2]) > least else straight


def _fitted(x: np.ndarray, z: np.ndarray, degree: int, ends: Sequence[float] | np.ndarray) -> Polynomial:
    """As `Polynomial.fit`, by the normal equations: of these degrees, on -1 to 1, they lose nothing that matters."""
    powers, products = _powers(Polynomial(np.zeros(degree + 1), domain=ends), x)
    return Polynomial(np.linalg.solve(products, z @ powers), domain=ends)


def _powers(base: Polynomial, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Powers of places on the scale of a curve, shape (n, degree + 1), and their products."""
    offset, scale = base.mapparms()
    powers = np.vander(offset + scale * x, base.degree() + 1, increasing=True)
    return powers, powers.T @ powers


def _spans(x: np.ndarray, ends: tuple[float, float]) -> bool:
    """Whether places lie in both outer quarters of a profile and between them: what a bend is seen from."""
    share = (x - ends[0]) / (ends[1] - ends[0])
    return bool((share < 0.25).any() and (share > 0.75).any() and (np.abs(share - 0.5) < 0.2).any())


def _film(trace: Trace, *, plate: bool) -> np.ndarray:
    """Points of bare film, at a distance from the lines; of a plate's surface, at a distance from lips too."""
    seen = trace.seen
    if int(seen.sum()) < _FEWEST:
        return seen
    x, z = trace.x[seen], trace.z[seen]
    waves = 0.0 if plate else _WAVES * _rise(z)
    found = _lowest_curve(x, z, waves)
    if found is None:
        raise UnusableInput(
            f"{trace.name}: its film would be steeper than {_STEEPEST:g} µm/µm; check the units of positions and heights, or "
            "measure it again on a level stage"
        )
    base, width = found
    film = np.zeros(len(x), bool)
    if plate:
        above = z - base(x)
        film = np.abs(above) < _CREST
        width = _robust_deviation(above[film])
    for _ in range(_ROUNDS):
        above = z - base(x)
        now = _away_from_lines(above, width, waves)
        if plate:
            now &= np.abs(above) < _FAR * max(width, 1e-12)
        if int(now.sum()) < _FEWEST or np.array_equal(now, film):
            break
        film = now
        base = _fitted(x[film], z[film], base.degree(), base.domain)
        width = _robust_deviation((z - base(x))[film])
    whole = np.zeros(len(trace.x), bool)
    whole[np.flatnonzero(seen)[film]] = True
    return whole


@dataclass(frozen=True)
class _Blocks:
    """A profile by the middle of its blocks, and the deviation of a block from the film."""

    x: np.ndarray
    z: np.ndarray
    deviation: float

    @classmethod
    def of(cls, x: np.ndarray, z: np.ndarray, waves: float) -> _Blocks:
        size = max(1, len(x) // _BLOCKS)
        count = len(x) // size
        bx, bz = (_middles(values[: count * size].reshape(count, size)) for values in (x, z))
        bends = np.abs(np.diff(bz, 2))  # small on the film alone, which may be less than half of the profile
        deviation = quantile(bends, _QUIET) / (_QUIET_NORMAL * np.sqrt(6.0))
        return cls(bx, bz, max(deviation, waves) or 1e-9 * (float(np.ptp(bz)) or 1.0))

    def score(self, curves: np.ndarray) -> np.ndarray:
        """Of curves, shape (k, blocks): blocks on each, less those below it, which weigh more."""
        away = self.z - curves
        near = _NEAR * self.deviation
        below, on_or_below = (np.count_nonzero(away < at, axis=1) for at in (-near, near))
        return on_or_below - (1.0 + _BELOW) * below

    def refined(self, curve: np.ndarray, degree: int) -> tuple[Polynomial, float]:
        """A curve through the blocks that lie on a curve, shape (blocks,), and its score."""
        on = np.abs(self.z - curve) < _NEAR * self.deviation
        base = _fitted(self.x[on], self.z[on], degree, (self.x[0], self.x[-1]))
        return base, float(self.score(base(self.x)[None])[0])


def _rise(heights: np.ndarray) -> float:
    """How high lines rise, whatever the tilt and the bend of the film: by differences over a tenth of the profile."""
    apart = max(1, len(heights) // 10)
    rises = heights[apart:] - heights[:-apart]
    at = np.linspace(-1.0, 1.0, len(rises))
    level = rises - _fitted(at, rises, STRAIGHT, (-1.0, 1.0))(at)
    return (quantile(level, 0.98) - quantile(level, 0.02)) / 2.0


def _lowest_curve(x: np.ndarray, z: np.ndarray, waves: float) -> tuple[Polynomial, float] | None:
    """The straight line that most points lie on and few below, or such a parabola; and the deviation of blocks from it.

    None where every line is too steep.
    """
    blocks = _Blocks.of(x, z, waves)
    curves = {degree: blocks.refined(curve, degree) for degree, curve in _best_curves(blocks)}
    if STRAIGHT not in curves:
        return None
    line, of_line = curves[STRAIGHT]
    if BENT in curves:
        parabola, score = curves[BENT]
        on = np.abs(blocks.z - parabola(blocks.x)) < _NEAR * blocks.deviation
        sag, ends = abs(float(parabola.coef[2])), (float(x[0]), float(x[-1]))
        if score > _CLEARLY * max(of_line, 0.0) and sag < np.ptp(z - line(x)) and _spans(blocks.x[on], ends):
            return parabola, blocks.deviation
    return line, blocks.deviation


def _best_curves(blocks: _Blocks) -> Iterator[tuple[int, np.ndarray]]:
    """By degree, the best of many curves through as few blocks as make one, shape (blocks,)."""
    u = (blocks.x - blocks.x[0]) / np.ptp(blocks.x)
    for degree, at in _drawn(len(u)).items():
        places = np.sort(u[at], axis=1)
        at = at[(np.diff(places, axis=1) > _APART).all(axis=1)]
        powers = np.vander(u, degree + 1, increasing=True)
        coefficients = np.linalg.solve(powers[at], blocks.z[at][..., None])[..., 0]
        steep = np.abs(coefficients[:, 1] + (coefficients[:, 2] if degree == BENT else 0.0))
        coefficients = coefficients[steep < _STEEPEST * np.ptp(blocks.x)]
        curves = coefficients @ powers.T
        if len(curves):
            yield degree, curves[int(np.argmax(blocks.score(curves)))]


@lru_cache(maxsize=16)
def _drawn(blocks: int) -> Mapping[int, np.ndarray]:
    """By degree, the blocks that curves are put through."""
    rng = np.random.default_rng(0)
    return {degree: rng.integers(0, blocks, (draws, degree + 1)) for degree, draws in _DRAWS.items()}


def _away_from_lines(above: np.ndarray, deviation: float, waves: float) -> np.ndarray:
    """Points of the film, without what is near a line; what is no higher than its waves is none."""
    window = max(1, len(above) // 400)
    smooth = uniform_filter1d(above, window, mode="nearest")
    lines = smooth > _NEAR * max(deviation / np.sqrt(window), waves, 1e-12)
    first, last = stretches(lines)
    long = last - first > 2 * window
    lines = np.zeros(len(above), bool)
    for a, b in zip(first[long], last[long]):
        guard = int(np.ceil(_GUARD * (b - a))) + window
        lines[max(a - guard, 0) : b + guard] = True
    return ~lines & (np.abs(above) < _FAR * max(deviation * np.sqrt(window), waves, 1e-12))


def _robust_deviation(values: np.ndarray) -> float:
    return 1.4826 * quantile(np.abs(values - quantile(values, 0.5)), 0.5)


def _middles(values: np.ndarray) -> np.ndarray:
    """Median of each row."""
    ranked, count = np.sort(values, axis=1), values.shape[1]
    return (ranked[:, (count - 1) // 2] + ranked[:, count // 2]) / 2.0


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
