"""What a profile shows: its lines and the gaps between them, with uncertainties after the Guide (JCGM 100)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import hypot, sqrt
from statistics import median

import numpy as np

from pwindow.errors import UnusableInput, shown
from pwindow.metrology.foot import TENTH, FootRule
from pwindow.metrology.instruments import INSTRUMENTS, Instrument
from pwindow.metrology.levelling import Levelled, level
from pwindow.metrology.lines import HALF, Flank, Line, find_lines, low_runs, lowest, unseen_area
from pwindow.metrology.trace import Trace
from pwindow.wording import counted, to_width

_FEW_POINTS = 20  # across a line, below which its shape is hardly seen
_MUCH_INTERPOLATED = 0.2
_WIDER = 1.6  # times a single line's width, from which on one with several ridges is lines that have joined
_MOST_RIDGES = 2  # of one line: squeezed-out ink stands at both edges
_FEWEST_LINES = 3  # of a profile, that show what is usual
_SATELLITE, _LOW = 0.4, 0.7  # of the usual width and height, below both of which it is a drop of ink
_AT_END, _ENDS_HIGH = 5, 0.15  # points of an end, and the share of a line's height at which it is no film
_AS_HIGH = 0.7  # of a line's height, at which both ends are more likely the surface that gaps are cut into
_CLEAR = 5.0  # standard deviations of the film above which its end is none
_UPSIDE_DOWN = "is the scan upside down, or is it of a plate (--of plate)?"
_LITTLE_FILM = 0.1  # share of a profile
_WAVES = 20  # points of the film that are alike, from which on it is no noise
_UNEVEN = 0.1  # share of the step height, from which on the film is uneven
_PRINTED, _DIRECTIONS = "printed", ("left to right", "right to left")
_SURE, _TAILED = 3.0, 0.05
"""Standard uncertainties, and share of the width, from which on a trailing edge has a tail."""
_FITS = 0.2  # of the usual distance of lines, within which missing ones would fit into a gap


@dataclass(frozen=True)
class Value:
    """A measured value and its standard uncertainty, in the same unit."""

    value: float
    error: float

    @property
    def words(self) -> str:
        """Both to two digits of the uncertainty.

        Examples
        --------
        >>> Value(0.68234, 0.0121).words
        '0.682 ± 0.012'
        """
        return f"{to_width(self.value, self.error)} ± {to_width(self.error, self.error)}"


@dataclass(frozen=True, kw_only=True)
class MeasuredLine:
    """A line with the uncertainties of what was measured.

    Attributes
    ----------
    line : Line
    height, width, half_width : Value
        Of its highest ridge, at its foot, and at half of its step height, µm.
    area : Value
        Of its cross-section, µm².
    closed : int
        Gaps that it has closed, being as wide as several lines.
    skirts : tuple of (Value, Value)
        How far its left and its right flank reach from half of the step height to the foot, µm: a tail is long.
    tail : Value or None
        How much further its trailing flank reaches than its leading one, µm; None where the scan does not say on which side
        it was printed first.
    flags : tuple of str
        Why it should be looked at.
    """

    line: Line
    height: Value
    width: Value
    half_width: Value
    area: Value
    closed: int
    skirts: tuple[Value, Value]
    tail: Value | None
    flags: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class MeasuredGap:
    """The gap between two neighbouring lines, from foot to foot.

    Attributes
    ----------
    left, right : float
        Its ends, µm.
    width : Value
        µm.
    satellites : tuple of (float, float)
        Drops of ink in it: the feet of each, µm.
    missing : int
        Lines that are missing in it, by the distance of the others; then it is no gap of the pattern.
    """

    left: float
    right: float
    width: Value
    satellites: tuple[tuple[float, float], ...]
    missing: int

    @property
    def flags(self) -> tuple[str, ...]:
        """Why it should be looked at."""
        drops = ", ".join(f"{right - left:.3g} µm" for left, right in self.satellites)
        found = [f"ink in it, {drops} wide"] if self.satellites else []
        if self.missing:
            found.append(f"{counted(self.missing, 'line is', 'lines are')} missing in it")
        return tuple(found)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A profile and what was measured on it.

    Attributes
    ----------
    levelled : Levelled
    lines : tuple of MeasuredLine
        From left to right.
    gaps : tuple of MeasuredGap
        Those that are open.
    bridged : int
        Gaps that the ink has closed.
    instrument : Instrument
    rule : FootRule
        Where the foot of its lines was taken to be.
    notes : tuple of str
        What of the profile was left out.
    """

    levelled: Levelled
    lines: tuple[MeasuredLine, ...]
    gaps: tuple[MeasuredGap, ...]
    bridged: int
    instrument: Instrument
    rule: FootRule
    notes: tuple[str, ...]


def measure(
    trace: Trace,
    instrument: Instrument = INSTRUMENTS["optical"],
    film: np.ndarray | None = None,
    rule: FootRule = TENTH,
) -> Measured:
    """Level a profile, find its lines, and measure them and the gaps between them.

    Parameters
    ----------
    trace : Trace
    instrument : Instrument
    film : ndarray of bool, shape (n,), optional
        Points that are bare film; found unless given.
    rule : FootRule
        Where the foot of a line lies.

    Raises
    ------
    UnusableInput
        If too little of it is bare film, there is no line, or one cannot be followed down to the film.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.linspace(0.0, 300.0, 3001)
    >>> domes = sum(np.clip(1.0 - ((x - at) / 30.0) ** 2, 0.0, None) for at in (80.0, 180.0))
    >>> found = measure(Trace(name="two domes", x=x, z=domes + 0.01 * x))
    >>> [round(one.area.value, 2) for one in found.lines], round(found.gaps[0].width.value, 1)
    ([40.0, 40.0], 43.0)
    """
    levelled = _level(trace, film)
    found = find_lines(levelled, rule)
    lines = _without_satellites(found)
    drops = [(drop.left.foot, drop.right.foot) for drop in found if drop not in lines] + low_runs(
        levelled, found
    )
    if not lines:
        raise UnusableInput(
            f"{trace.name}: nothing on it is clearly higher than the film{_instead(levelled)}"
        )
    joined = _joined(lines)
    return Measured(
        levelled=levelled,
        lines=tuple(
            _measured(levelled, line, instrument, closed) for line, closed in zip(lines, joined, strict=True)
        ),
        gaps=tuple(_gaps(levelled, lines, sorted(drops), instrument)),
        bridged=sum(joined),
        instrument=instrument,
        rule=rule,
        notes=tuple(_left_out(levelled, lines)),
    )


def _level(trace: Trace, film: np.ndarray | None) -> Levelled:
    """As `level`, whose refusal says also that the trace shows lines when it is turned upside down."""
    try:
        return level(trace, film)
    except UnusableInput as problem:
        if film is not None or not _shows_lines(replace(trace, z=-trace.z)):
            raise
        raise UnusableInput(f"{problem}; turned upside down it shows lines: {_UPSIDE_DOWN}") from problem


def _shows_lines(trace: Trace) -> bool:
    try:
        return bool(find_lines(level(trace, plate=True)))
    except UnusableInput:
        return False


def _instead(levelled: Levelled) -> str:
    """What a profile without a line shows, and what to do."""
    low, ends = lowest(levelled), [height for _, height in _ends(levelled)]
    if low is not None:
        return f", but at {low[0]:.4g} µm it lies {low[1]:.3g} µm below the film: {_UPSIDE_DOWN}"
    if max(ends) > _CLEAR * levelled.noise:
        return (
            f" but what reaches an end of it, {max(ends):.3g} µm high: is the film bent like a bowl? Point out where it is "
            "bare, or measure from film to film"
        )
    return (
        f" (noise {1e3 * levelled.noise:.3g} nm); check that it crosses a line, and the unit of its heights"
    )


def _ends(levelled: Levelled) -> list[tuple[str, float]]:
    """Both sides of a profile, and how high they lie above the film, µm."""
    seen = np.flatnonzero(levelled.trace.seen)
    sides = (("left", seen[:_AT_END]), ("right", seen[-_AT_END:]))
    return [(side, float(np.median(levelled.height[at]))) for side, at in sides]


def _left_out(levelled: Levelled, lines: Sequence[Line]) -> Iterator[str]:
    """What reaches an end of the profile, a line that is cut or a film that has a step; and how its film is not flat."""
    x, step = levelled.trace.x, float(np.median([line.step for line in lines]))
    ends = _ends(levelled)
    if min(height for _, height in ends) > _AS_HIGH * step:
        yield (
            "both of its ends lie as high as its lines, and what reaches them is left out: does it begin and end on a line, or "
            f"{_UPSIDE_DOWN}"
        )
        ends = []
    for side, height in ends:
        if height < -_ENDS_HIGH * step:
            yield (
                f"its {side} end lies {-height:.3g} µm below what is taken for film: point out where the film is bare"
            )
        if height > _ENDS_HIGH * step:
            yield (
                f"its {side} end lies {height:.3g} µm above the film: what reaches it is left out; is a line cut there, or "
                "is the film bent?"
            )
    if levelled.bend:
        side = "above" if levelled.bend > 0.0 else "below"
        yield f"the film is bent: its middle lies {abs(levelled.bend):.3g} µm {side} its ends; that is levelled out"
    if levelled.independent > _WAVES and levelled.noise > _UNEVEN * step:
        yield (
            f"the film is uneven by {levelled.noise:.2g} µm over some {levelled.independent * levelled.trace.step:.2g} µm, "
            "which widths and heights follow: point out where it is bare and even"
        )
    if levelled.film.sum() < _LITTLE_FILM * len(x):
        yield (
            f"only {100 * levelled.film.mean():.0f} % of it is bare film: look whether the film is bent, and point out where "
            "it is bare"
        )


def _without_satellites(lines: Sequence[Line]) -> list[Line]:
    """Lines without drops of ink beside them, which are much narrower and lower than what is usual on the profile."""
    if len(lines) < _FEWEST_LINES:
        return list(lines)
    width, step = (float(np.median([getattr(line, name) for line in lines])) for name in ("width", "step"))
    return [line for line in lines if line.width >= _SATELLITE * width or line.step >= _LOW * step]


def _joined(lines: Sequence[Line]) -> list[int]:
    """For each line how many gaps it has closed.

    A line that has several ridges and is much wider than a single one is several, as many as fit into it. A single one is
    as wide as the narrowest, or as what is left of one with more than the two ridges that a line may have.
    """
    widths = np.array([line.width for line in lines])
    single = min(
        float(widths.min()), *(_of_one(line) for line in lines if len(line.ridges) > _MOST_RIDGES), np.inf
    )
    gaps = [other.left.foot - one.right.foot for one, other in pairwise(lines)]
    pitch = single + (float(np.median(gaps)) if gaps else 0.0)
    found = []
    for line, width in zip(lines, widths):
        ridges = len(line.ridges)
        if ridges > 1 and width > _WIDER * single:
            found.append(max(1, round((width - single) / pitch)))
        else:
            found.append(ridges - 1 if ridges > _MOST_RIDGES else 0)
    return found


def _of_one(line: Line) -> float:
    """Width of each of the lines that have joined, a ridge each."""
    places = [place for place, _ in line.ridges]
    return line.width - float(places[-1] - places[0])


def _measured(levelled: Levelled, line: Line, instrument: Instrument, closed: int) -> MeasuredLine:
    middle = (line.left.foot + line.right.foot) / 2
    film, noise = levelled.offset_error(middle), levelled.noise * sqrt(levelled.independent)
    step = levelled.trace.step
    span = line.right.start - line.left.start
    height = hypot(instrument.height_error(line.peak), line.peak_error, film)
    cliffs = sum(flank.slope * step > line.step / 2 for flank in (line.left, line.right))
    scale = instrument.height_error(line.peak) / line.peak
    area = hypot(
        noise * sqrt(step * span),
        film * span,
        hypot(scale, instrument.along) * line.area,
        line.step * step * sqrt(cliffs / 12.0),
        unseen_area(levelled, line),
    )
    skirts = _skirt(line.left), _skirt(line.right)
    tail = _tail(levelled.trace, *skirts)
    return MeasuredLine(
        line=line,
        height=Value(line.peak, height),
        width=Value(line.width, _width_error(levelled, line, instrument, foot=True)),
        half_width=Value(line.half_width, _width_error(levelled, line, instrument, foot=False)),
        area=Value(line.area, area),
        closed=closed,
        skirts=skirts,
        tail=tail,
        flags=tuple(_flags(line, closed, tail)),
    )


def _tail(trace: Trace, left: Value, right: Value) -> Value | None:
    """How much further the trailing one of two skirts reaches, by what the header says was printed first."""
    said = trace.header.get(_PRINTED)
    if said is None:
        return None
    if said.strip().lower() not in _DIRECTIONS:
        raise UnusableInput(
            f"{trace.name}: “{_PRINTED}: {shown(said)}” must be {' or '.join(f'“{one}”' for one in _DIRECTIONS)}"
        )
    leading, trailing = (left, right) if said.strip().lower() == _DIRECTIONS[0] else (right, left)
    return Value(trailing.value - leading.value, hypot(trailing.error, leading.error))


def _skirt(flank: Flank) -> Value:
    return Value(abs(flank.half - flank.foot), hypot(flank.half_error, flank.foot_error))


def _width_error(levelled: Levelled, line: Line, instrument: Instrument, *, foot: bool) -> float:
    """By noise at both edges, the film and the step that the rule takes a share of, and distances along the trace."""
    attribute, share = ("foot_error", line.foot / line.step) if foot else ("half_error", HALF)
    edges = hypot(getattr(line.left, attribute), getattr(line.right, attribute))
    rule = hypot(
        levelled.offset_error((line.left.foot + line.right.foot) / 2),
        share * levelled.noise * sqrt(levelled.independent / max(line.points / 3, 1)),
    )
    steepness = "foot_slope" if foot else "slope"
    moved = rule * sum(1.0 / getattr(flank, steepness) for flank in (line.left, line.right))
    return hypot(edges, moved, instrument.along * line.width)


def _gaps(
    levelled: Levelled,
    lines: Sequence[Line],
    drops: Sequence[tuple[float, float]],
    instrument: Instrument,
) -> Iterator[MeasuredGap]:
    for (one, other), missing in zip(pairwise(lines), _missing(lines)):
        inside = [drop for drop in drops if one.right.foot < drop[0] and drop[1] < other.left.foot]
        yield _gap(levelled, (one, other), instrument, tuple(inside), missing)


def _missing(lines: Sequence[Line]) -> list[int]:
    """How many lines are missing in each gap: as many as fit into it at the usual distance, if they do."""
    widths = [other.left.foot - one.right.foot for one, other in pairwise(lines)]
    if len(widths) < _FEWEST_LINES:
        return [0] * len(widths)
    usual = median(widths)
    pitch = usual + median(line.width for line in lines)
    more = [(width - usual) / pitch for width in widths]
    return [round(one) if abs(one - round(one)) < _FITS else 0 for one in more]


def _gap(
    levelled: Levelled,
    beside: tuple[Line, Line],
    instrument: Instrument,
    satellites: tuple[tuple[float, float], ...],
    missing: int,
) -> MeasuredGap:
    one, other = beside
    width = other.left.foot - one.right.foot
    rule = levelled.offset_error((other.left.foot + one.right.foot) / 2)
    moved = rule * (1.0 / other.left.foot_slope + 1.0 / one.right.foot_slope)
    error = hypot(other.left.foot_error, one.right.foot_error, moved, instrument.along * width)
    return MeasuredGap(
        left=one.right.foot,
        right=other.left.foot,
        width=Value(width, error),
        satellites=satellites,
        missing=missing,
    )


def _flags(line: Line, closed: int, tail: Value | None) -> list[str]:
    found = []
    if tail is not None and tail.value > max(_SURE * tail.error, _TAILED * line.width):
        found.append(f"a tail: its trailing edge reaches {tail.words} µm further than its leading one")
    if line.points < _FEW_POINTS:
        found.append(f"only {line.points} points across it")
    if line.interpolated > _MUCH_INTERPOLATED:
        found.append(f"{100 * line.interpolated:.0f} % of its width was not seen and is interpolated")
    if closed:
        found.append(f"as wide as {closed + 1} lines: {closed} gap{'s' if closed > 1 else ''} bridged")
    elif line.saddle is not None:
        found.append(f"{len(line.ridges)} ridges")
    return found
