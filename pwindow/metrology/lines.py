"""Printed lines of a levelled profile: found without being told where, and measured.

The foot of a line is where its profile crosses a tenth of its step height, unless another rule is given. Crossings are read from the best
non-decreasing curve through the flank (isotonic regression): it averages noise without moving a steep edge, which every
filter of fixed width does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.integrate import trapezoid
from scipy.ndimage import uniform_filter1d
from scipy.optimize import isotonic_regression

from pwindow.errors import UnusableInput
from pwindow.metrology.foot import TENTH, FootRule
from pwindow.metrology.levelling import Levelled
from pwindow.metrology.stretches import quantile, stretches
from pwindow.metrology.trace import MISSING

FOOT, HALF = TENTH.share, 0.5
"""Shares of the step height at which a line usually has its foot, and its half height."""
_CLEAR = 5.0  # standard deviations of the film's smoothed noise above which something is a line
_LEAST_POINTS, _LOW_POINTS = 6, 12
_TOP = 0.8  # share of the peak height that a flank is followed to
_CORE = 1.0 / 3.0  # of a width: what ISO 5436-1 takes of the top, and leaves out beside it
_ROUNDS = 4
_CLIFF = 0.5  # share of a flank's height between two points from which on it is a cliff
_CROWN = 0.6  # share of the height above which a line's top is smoothed
_SHARES = (0.08, 0.15, 0.3, 0.55, 0.98)  # of the top that a parabola spans
_AGREE = 1.5  # standard deviations within which wider parabolas agree with narrower ones
_CHOSEN = 1.4  # times a parabola's own deviation: its width and place were chosen by the same noise
STEEP = (0.2, 0.8 * _TOP)
"""Shares of the step height between which a flank's steepness is taken."""
_THIRD = 0.3  # share of the step height up to which a flank is looked at for what is near its foot
_SKIRT = 1.5  # of the distance between a tenth and three tenths of the height: what of the foot's skirt the area takes in
_FLAT = 0.5131  # standard deviation of Chernoff's distribution, see `_crossing_error`


@dataclass(frozen=True, kw_only=True)
class Flank:
    """One side of a line.

    Attributes
    ----------
    foot, half : float
        Where the profile crosses the height of the foot, and half of the step height, µm.
    start : float
        Beyond the foot, where nothing of the line is left, µm: where its area begins.
    slope, foot_slope : float
        Mean steepness between a fifth and two thirds of the step height, and just above the foot, µm/µm; infinite at a
        cliff between two points.
    foot_error, half_error : float
        Standard uncertainties of `foot` and `half` by noise and sampling, µm.
    """

    foot: float
    half: float
    start: float
    slope: float
    foot_slope: float
    foot_error: float
    half_error: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """A printed line of a profile.

    Attributes
    ----------
    left, right : Flank
    peak, peak_error : float
        Height of its highest ridge above the film, and its standard uncertainty by noise, µm.
    step : float
        Step height in the sense of ISO 5436-1, µm: of the middle third of the top above the film beside it.
    foot : float
        Height of its foot above the film, µm.
    area : float
        Of its cross-section, µm².
    ridges : tuple of (float, float)
        Place and height of each ridge, µm; two with a saddle between them are a double ridge.
    saddle : float or None
        Lowest height between its ridges, µm.
    interpolated : float
        Share of its width where the instrument saw nothing.
    points : int
        That its width holds.
    """

    left: Flank
    right: Flank
    peak: float
    peak_error: float
    step: float
    foot: float
    area: float
    ridges: tuple[tuple[float, float], ...]
    saddle: float | None
    interpolated: float
    points: int

    @property
    def width(self) -> float:
        """At the foot, µm."""
        return self.right.foot - self.left.foot

    @property
    def half_width(self) -> float:
        """At half of the step height, µm."""
        return self.right.half - self.left.half

    @property
    def mean_height(self) -> float:
        """Area over width at the foot, µm."""
        return self.area / self.width

    @property
    def section_factor(self) -> float:
        """Area over peak height times width at the foot."""
        return self.area / (self.peak * self.width)


def find_lines(levelled: Levelled, rule: FootRule = TENTH) -> tuple[Line, ...]:
    """The printed lines of a levelled profile, from left to right.

    Parameters
    ----------
    levelled : Levelled
        Lines that its ends cut through are left out.
    rule : FootRule
        Where the foot of a line lies.

    Raises
    ------
    UnusableInput
        If a line cannot be followed down to the film: a gap beside it would be taken for a wider one.
    """
    x, height = levelled.trace.x, _without_voids(levelled)
    runs = list(_runs(levelled, height))
    middles = [(before[1] + after[0]) // 2 for before, after in zip(runs, runs[1:])]
    rooms = zip([0, *middles], [*middles, len(x)])
    found = []
    for run, room in zip(runs, rooms):
        if run[0] == 0 or run[1] == len(x) - 1:
            continue
        line = _line(levelled, height, run, room, rule)
        if line is None:
            raise UnusableInput(
                f"{levelled.trace.name}: the line between {x[run[0]]:.4g} and {x[run[1]]:.4g} µm cannot be followed down "
                "to the film on both sides; measure it again, with less noise or more film beside it"
            )
        found.append(line)
    return tuple(found)


def lowest(levelled: Levelled) -> tuple[float, float] | None:
    """Place and depth of what lies deepest below the film, µm; None where nothing is clearly below it."""
    smooth, floor = _smoothed(levelled, _without_voids(levelled))
    at = int(smooth.argmin())
    return (float(levelled.trace.x[at]), -float(smooth[at])) if smooth[at] < -floor else None


def low_runs(levelled: Levelled, lines: Iterable[Line]) -> list[tuple[float, float]]:
    """Ends of what is clearly above the film and too low for a line, beside lines, µm.

    Parameters
    ----------
    levelled : Levelled
    lines : iterable of Line
        Those that were found.
    """
    x, height = levelled.trace.x, _without_voids(levelled)
    smooth, floor = _smoothed(levelled, height)
    free = smooth > floor
    for line in lines:
        reach = line.width / 2  # skirts and halos belong to the line
        free &= (x < line.left.foot - reach) | (x > line.right.foot + reach)
    inside = [(a, b - 1) for a, b in zip(*stretches(free)) if b - a >= _LOW_POINTS and a > 0 and b < len(x)]
    return [(float(x[a]), float(x[b])) for a, b in inside]


def _smoothed(levelled: Levelled, height: np.ndarray) -> tuple[np.ndarray, float]:
    """Heights, smoothed, and from where on they are clearly above the film."""
    window = max(1, len(height) // 400)
    smooth = uniform_filter1d(height, window, mode="nearest")
    noise = levelled.noise * np.sqrt(min(levelled.independent, window) / window)
    return smooth, max(_CLEAR * noise, 1e-9 * float(np.abs(smooth).max()))


def _without_voids(levelled: Levelled) -> np.ndarray:
    """Heights with voids bridged by straight lines."""
    seen = levelled.trace.seen
    return np.interp(levelled.trace.x, levelled.trace.seen_at, levelled.height[seen])


def _runs(levelled: Levelled, height: np.ndarray) -> Iterator[tuple[int, int]]:
    """First and last index of each stretch that is clearly above the film."""
    smooth, floor = _smoothed(levelled, height)
    high = smooth > floor
    if not high.any():
        return
    tall = quantile(smooth[high], 0.9)
    above = smooth > max(floor, FOOT * tall / 2)
    begins, ends = stretches(above)
    for first, last in _joined(levelled, height, list(zip(begins, ends - 1)), tall):
        if last - first + 1 >= _LEAST_POINTS and smooth[first : last + 1].max() > 2 * FOOT * tall:
            yield int(first), int(last)


def _joined(
    levelled: Levelled, height: np.ndarray, runs: list[tuple[int, int]], tall: float
) -> list[tuple[int, int]]:
    """Runs joined where the profile between two stays above the foot of a line: a saddle, and no gap."""
    noise = levelled.noise * np.sqrt(levelled.independent)
    foot = FOOT * tall / 2
    needed = int(np.ceil((_CLEAR * noise / foot) ** 2))  # points whose mean shows whether there is film
    joined = runs[:1]
    for first, last in runs[1:]:
        between = height[joined[-1][1] + 1 : first]
        window = max(1, min(len(between) // 2, needed))
        means = np.convolve(between, np.full(window, 1.0 / window), mode="valid")
        if len(between) and means.min() > foot + 2.0 * noise / np.sqrt(window):
            joined[-1] = joined[-1][0], last
        else:
            joined.append((first, last))
    return joined


def _line(
    levelled: Levelled,
    height: np.ndarray,
    run: tuple[int, int],
    room: tuple[int, int],
    rule: FootRule,
) -> Line | None:
    """The line in a run, which may use the film in its room."""
    first, last = run
    x = levelled.trace.x
    crest = _top(levelled, height, first, last)
    top, peak = crest.height, crest.peak
    left = _rising(x, height, room[0], _up_to(top, first, peak))
    right = _rising(x[::-1], height[::-1], len(x) - room[1], _up_to(top[::-1], len(x) - 1 - last, peak))
    step, used = peak, None
    for _ in range(_ROUNDS):
        begin, end = (side.crossing(FOOT * step) for side in (left, right))
        if begin is None or end is None:
            return None
        now = _Used.of(x, begin, end)
        if now == used:
            break
        used, step = now, _step_height(levelled, height, now)
    foot = rule.height(step, levelled.noise)
    one, other = (_flank(levelled, side, step, foot) for side in (left, right))
    if one is None or other is None:
        return None
    inside = (x >= one.foot) & (x <= other.foot)
    ridges, saddle = _ridges(levelled, top, inside, step, crest.half)
    return Line(
        left=one,
        right=other,
        peak=peak,
        peak_error=float(np.hypot(crest.error, _unseen_crest(levelled, top, peak, other.foot - one.foot))),
        step=step,
        foot=foot,
        area=_area(x, height, one.start, other.start),
        ridges=ridges,
        saddle=saddle,
        interpolated=float(1.0 - levelled.trace.seen[inside].mean()),
        points=int(inside.sum()),
    )


@dataclass(frozen=True)
class _Top:
    """The top of a line: heights over all points (nothing elsewhere), its peak, and half of the parabolas' points."""

    height: np.ndarray
    peak: float
    error: float
    half: int


def _top(levelled: Levelled, height: np.ndarray, first: int, last: int) -> _Top:
    """The top of a run, smoothed by local parabolas.

    The widest parabolas are taken that leave no more than the noise of the film, and at the peak agree with all
    narrower ones within their noise (Lepski's rule). Without noise nothing is smoothed.
    """
    own, kept = np.full(len(height), -np.inf), height[first : last + 1]
    own[first : last + 1] = kept
    high = first + np.flatnonzero(kept > _CROWN * quantile(kept, 0.95))
    begin, end = int(high[0]), int(high[-1]) + 1
    noise = levelled.noise * np.sqrt(levelled.independent)
    chosen = _Top(own, float(kept.max()), noise, 0)
    smaller: list[tuple[np.ndarray, float]] = []
    narrower: dict[float, np.ndarray] = {}
    for share in _SHARES if noise else ():
        half = int(share * (end - begin) / 2)
        if half < 2:
            continue
        smooth = local_parabolas(height[begin:end], half)
        span = 2 * half + 1
        weight = (
            3.0 * (3.0 * span**2 - 7.0) / (4.0 * span * (span**2 - 4.0))
        )  # of the middle point in its parabola
        rim = half // 2
        at = rim + int(np.argmax(smooth[rim : len(smooth) - rim]))
        apart = [abs(smooth[at] - other[at]) / deviation for other, deviation in smaller]
        away = height[begin:end] - smooth
        left = float(away @ away) / (len(away) * levelled.noise**2 * (1.0 - weight))
        fits = left <= 1.0 + np.sqrt(2.0 * levelled.independent / (end - begin))
        if max(apart, default=0.0) <= _AGREE and (fits or not smaller):
            bias = _left_of_crest(share, {other: curve[at] - smooth[at] for other, curve in narrower.items()})
            top = own.copy()
            top[begin:end] = smooth
            chosen = _Top(
                top, float(smooth[at]), float(np.hypot(_CHOSEN * noise * np.sqrt(weight), bias)), half
            )
        smaller.append((smooth, noise * float(np.sqrt(weight))))
        narrower[share] = smooth
    return chosen


def _left_of_crest(share: float, lost: Mapping[float, float]) -> float:
    """What a parabola of a share of the top takes off a sharp crest, by what it lost beyond the last two narrower ones."""
    return max((abs(one) * share / (share - other) for other, one in list(lost.items())[-2:]), default=0.0)


def _unseen_crest(levelled: Levelled, top: np.ndarray, peak: float, width: float) -> float:
    """Standard uncertainty of a peak by what was not seen beside it, µm: the sag of a dome over that distance."""
    if levelled.trace.whole:
        return 0.0
    at = levelled.trace.x[int(np.argmax(top))]
    apart = max(_unseen_around(levelled, at + side * levelled.trace.step) for side in (-1.0, 1.0))
    return peak * (apart / width) ** 2 if apart > levelled.trace.step else 0.0


def local_parabolas(values: np.ndarray, half: int) -> np.ndarray:
    """Values smoothed by the parabola of least squares through each and `half` at either side; at the ends by the last.

    As `scipy.signal.savgol_filter` with ``mode="interp"``, in a tenth of the time, of which most would go into its ends.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least ``2 * half + 1``, evenly spaced.
    half : int
        At least 1.
    """
    basis, weights = _parabolas(half)
    span = len(basis)
    smooth = np.empty(len(values))
    smooth[half : len(values) - half] = np.convolve(values, weights, mode="valid")
    smooth[:half] = basis[:half] @ (values[:span] @ basis)
    smooth[len(values) - half :] = basis[half + 1 :] @ (values[-span:] @ basis)
    return smooth


@lru_cache(maxsize=64)
def _parabolas(half: int) -> tuple[np.ndarray, np.ndarray]:
    """An orthonormal basis of parabolas on a point and `half` at either side, and what each weighs in the middle one."""
    at = np.arange(-half, half + 1) / half
    basis, _ = np.linalg.qr(np.vander(at, 3))
    return basis, basis @ basis[half]


def _up_to(top: np.ndarray, first: int, peak: float) -> int:
    """Index where a flank that starts at `first` ends: where it first reaches nearly the peak."""
    return first + int(np.argmax(top[first:] >= _TOP * peak))


@dataclass(frozen=True)
class _Rising:
    """A flank as a non-decreasing curve, read outside in: places of its points, µm, and heights."""

    x: np.ndarray
    height: np.ndarray

    def crossing(self, level: float) -> float | None:
        """Where it crosses a height, between its points; None where it does not."""
        beyond = int(self.height.searchsorted(level, side="right"))
        if not 0 < beyond < len(self.height):
            return None
        (low, high), (before, after) = (
            own[beyond - 1 : beyond + 1].tolist() for own in (self.height, self.x)
        )
        if high - low > _CLIFF * self.height[-1]:  # the edge is anywhere between the two points
            return (before + after) / 2
        return before + (after - before) * (level - low) / (high - low)


def _rising(x: np.ndarray, height: np.ndarray, start: int, end: int) -> _Rising:
    """The flank from a start on the film to an end on the top."""
    return _Rising(x[start : end + 1], isotonic_regression(height[start : end + 1]).x)


def _flank(levelled: Levelled, side: _Rising, step: float, at: float) -> Flank | None:
    """A flank of a line of a step height, with its foot at a height."""
    tenth, half, low, high, third = (side.crossing(share * step) for share in (FOOT, HALF, *STEEP, _THIRD))
    foot = side.crossing(at)
    if foot is None or tenth is None or half is None or low is None or high is None:
        return None
    slope = abs((STEEP[1] - STEEP[0]) * step / (high - low)) if high != low else np.inf
    run = 0.0 if third is None else abs(third - tenth)
    foot_slope = (_THIRD - FOOT) * step / run if run else np.inf
    skirt = max(_SKIRT * run, 2.0 * levelled.trace.step)
    outermost = float(side.x[0])
    return Flank(
        foot=foot,
        half=half,
        start=max(outermost, tenth - skirt) if outermost < half else min(outermost, tenth + skirt),
        slope=float(slope),
        foot_slope=float(foot_slope),
        foot_error=_crossing_error(levelled, foot, foot_slope),
        half_error=_crossing_error(levelled, half, slope),
    )


def _crossing_error(levelled: Levelled, place: float, slope: float) -> float:
    """Standard uncertainty of a crossing of a flank of a steepness, µm, by noise and sampling.

    The error of an isotonic fit (Brunk 1970) over the steepness, and a step of the scan taken as uniform; a crossing that was
    not seen is anywhere between the points that were. Two cliffs are a step apart more or less at most, which two of their
    standard uncertainties together cover.
    """
    step, noise = levelled.trace.step, levelled.noise * np.sqrt(levelled.independent)
    apart = _unseen_around(levelled, place)
    if not np.isfinite(slope) or slope * step > 3.0 * levelled.noise:
        return float(apart / np.sqrt(8.0))
    return float(
        np.hypot(apart / np.sqrt(12.0), _FLAT * (4.0 * noise**2 * slope * step) ** (1.0 / 3.0) / slope)
    )


def _unseen_around(levelled: Levelled, place: float) -> float:
    """Distance of the seen points on both sides of a place, µm; a step of the scan where none is missing."""
    step, seen = levelled.trace.step, levelled.trace.seen_at
    if levelled.trace.whole:
        return step
    after = min(max(int(seen.searchsorted(place)), 1), len(seen) - 1)
    apart = float(seen[after] - seen[after - 1])
    return apart if apart > MISSING * step else step


def unseen_area(levelled: Levelled, line: Line) -> float:
    """Standard uncertainty of a line's area by what was not seen of it, µm².

    Over each stretch between two seen points the flank may fall anywhere, and a dome sags.

    Parameters
    ----------
    levelled : Levelled
    line : Line
    """
    if levelled.trace.whole:
        return 0.0
    seen = levelled.trace.seen
    x, height = levelled.trace.x[seen], levelled.height[seen]
    apart, rise = np.diff(x), np.diff(height)
    missing = (
        (apart > MISSING * levelled.trace.step) & (x[1:] > line.left.start) & (x[:-1] < line.right.start)
    )
    apart, rise = apart[missing], rise[missing]
    sag = line.peak * (apart / line.width) ** 2
    return float(np.sqrt(np.sum(apart**2 * (rise**2 / 12.0 + (2.0 / 3.0 * sag) ** 2))))


@dataclass(frozen=True)
class _Used:
    """Points by which ISO 5436-1 takes a step height: the middle third, and beyond a third of the width on both sides."""

    before: slice
    middle: slice
    after: slice

    @classmethod
    def of(cls, x: np.ndarray, left: float, right: float) -> _Used:
        """Those of a line between its feet, with at least one point in the middle."""
        ends = np.array([-1.5, -0.5 - _CORE, -_CORE / 2, _CORE / 2, 0.5 + _CORE, 1.5])
        a, b, c, d, e, f = x.searchsorted((left + right) / 2 + (right - left) * ends).tolist()
        return cls(slice(a, b), slice(c, max(d, c + 1)), slice(e, f))


def _step_height(levelled: Levelled, height: np.ndarray, used: _Used) -> float:
    """Step height by ISO 5436-1: one straight line is fitted to the film, with the top a step above it.

    Where a neighbour leaves no film on one side, the film of the whole profile is taken, which is at zero.
    """
    before, after = (part.start + np.flatnonzero(levelled.film[part]) for part in (used.before, used.after))
    if min(len(before), len(after)) < _LEAST_POINTS:
        return float(height[used.middle].mean())
    at = np.concatenate([before, np.arange(used.middle.start, used.middle.stop), after])
    place = levelled.trace.x[at]
    model = np.ones((3, len(at)))
    model[1] = (place - place[0]) / (place[-1] - place[0]) - 0.5
    model[2, : len(before)] = model[2, len(at) - len(after) :] = -1.0
    return 2.0 * float(np.linalg.solve(model @ model.T, model @ height[at])[2])


def _area(x: np.ndarray, height: np.ndarray, left: float, right: float) -> float:
    ends = np.array([left, right])
    first, last = x.searchsorted(left, side="right"), x.searchsorted(right)
    at_ends = np.interp(ends, x, height)
    heights = np.concatenate([at_ends[:1], height[first:last], at_ends[1:]])
    return float(trapezoid(heights, np.concatenate([ends[:1], x[first:last], ends[1:]])))


def _ridges(
    levelled: Levelled, top: np.ndarray, inside: np.ndarray, step: float, half: int
) -> tuple[tuple[tuple[float, float], ...], float | None]:
    """Ridges of a line that stand clearly apart, and the lowest saddle between them."""
    at = np.flatnonzero(inside & (top >= _CROWN * top.max()))
    at = np.arange(at[0], at[-1] + 1)
    own, x = np.maximum(top[at], 0.0), levelled.trace.x[at]
    noise = levelled.noise * np.sqrt(levelled.independent / max(half, 1))
    apart = max(FOOT * step, _CLEAR * noise)
    peaks = _peaks(own, apart)
    ridges = tuple((float(x[one]), float(own[one])) for one in peaks)
    if len(peaks) < 2:
        return ridges, None
    return ridges, float(min(own[a:b].min() for a, b in zip(peaks, peaks[1:])))


def _peaks(heights: np.ndarray, apart: float) -> list[int]:
    """Indices of peaks with saddles between them that lie so far below the lower of both."""
    before, after = np.maximum.accumulate(heights), np.maximum.accumulate(heights[::-1])[::-1]
    if float((np.minimum(before, after) - heights).max()) < apart:
        return [int(heights.argmax())]
    from scipy.signal import find_peaks  # takes half a second to load, and most lines have one ridge

    found, _ = find_peaks(np.pad(heights, 1), prominence=apart, plateau_size=1)
    peaks: list[int] = []
    for one in (found - 1).tolist():
        if peaks and min(heights[peaks[-1]], heights[one]) - heights[peaks[-1] : one].min() < apart:
            continue  # of equal height: each counts as prominent, however shallow the saddle between them
        peaks.append(one)
    return peaks
