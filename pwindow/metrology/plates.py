"""What a profile across a plate shows: raised lines with the shape of their tops, and gaps with lips and depth.

A plate prints with its surface, so a profile is levelled on that, and everything is measured from there down. An edge is
where the wall of a gap, as steep as between a fifth and two thirds of its depth, meets the surface; of a gap deeper than
`DEEPEST` only that much is looked at, because the ink sees no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.optimize import curve_fit

from pwindow.errors import UnusableInput
from pwindow.metrology.features import Value
from pwindow.metrology.instruments import INSTRUMENTS, Instrument
from pwindow.metrology.levelling import Levelled, level
from pwindow.metrology.lines import HALF, STEEP, Flank, Line, find_lines, local_parabolas
from pwindow.metrology.trace import Trace

DEEPEST = 30.0
"""Depth below the surface down to which walls are looked at, µm (common practice, no source: grooves of fine gaps are 10 to
22 µm deep)."""
SURFACE_RULE = "where the wall meets the surface"
"""Where an edge of a plate lies, as rows of a plate file say it."""
_STRETCHED = (
    HALF / (STEEP[1] - STEEP[0]) * np.sqrt(2.0)
)  # of a crossing's error, by the steepness that leads on from it
_LIP_REACH = 40.0  # µm from an edge within which its lip stands
_LIP_CROWN = 0.6  # share of a lip's height above which its crest is a parabola
_CLEAR = 4.0  # standard uncertainties above which something is a lip
_INSET = 0.15  # of a line's width at either side that is left out of the shape of its top
_ROUNDED = 10.0  # times its width: a larger radius is flat
_FEWEST = 7  # points of a crest or a top
_SEEN = 3.0  # standard uncertainties from which on a curvature is one


@dataclass(frozen=True, kw_only=True)
class Lip:
    """The raised rim of a gap.

    Attributes
    ----------
    place : Value
        Of its crest, µm along the profile.
    height : Value
        Above the surface, µm.
    """

    place: Value
    height: Value


@dataclass(frozen=True, kw_only=True)
class PlateGap:
    """A gap of a plate: cut into its surface, or between two raised lines.

    Attributes
    ----------
    left, right : float
        Its edges at the surface, µm.
    width : Value
        At the surface, µm.
    depth : Value or None
        µm; None where the instrument saw nothing of its bottom.
    lips : tuple of (Lip or None)
        At its left and right edge.
    lip_width : Value
        From crest to crest, µm; from edge to crest, or edge to edge, where there is no lip.
    flags : tuple of str
        Why it should be looked at.
    """

    left: float
    right: float
    width: Value
    depth: Value | None
    lips: tuple[Lip | None, Lip | None]
    lip_width: Value
    flags: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PlateLine:
    """A raised line of a plate, between two gaps.

    Attributes
    ----------
    left, right : float
        Edges of its top, µm.
    width : Value
        Of its top, µm.
    radius : Value or None
        Of a rounded top, µm; None of a flat one.
    """

    left: float
    right: float
    width: Value
    radius: Value | None


@dataclass(frozen=True, kw_only=True)
class MeasuredPlate:
    """A profile across a plate and what was measured on it.

    Attributes
    ----------
    levelled : Levelled
        Depths below the surface, µm: downwards is positive.
    lines : tuple of PlateLine
    gaps : tuple of PlateGap
    instrument : Instrument
    """

    levelled: Levelled
    lines: tuple[PlateLine, ...]
    gaps: tuple[PlateGap, ...]
    instrument: Instrument


def measure_plate(
    trace: Trace, instrument: Instrument = INSTRUMENTS["optical"], surface: np.ndarray | None = None
) -> MeasuredPlate:
    """Level a profile across a plate on its surface, and measure its gaps and the lines between them.

    Parameters
    ----------
    trace : Trace
    instrument : Instrument
    surface : ndarray of bool, shape (n,), optional
        Points of the printing surface; found unless given.

    Raises
    ------
    UnusableInput
        If too little of it is surface, or nothing lies clearly below it.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.linspace(0.0, 300.0, 3001)
    >>> walls = np.minimum(np.abs(x - 150.0) - 25.0, 0.0) * 2.0
    >>> found = measure_plate(Trace(name="a groove", x=x, z=np.maximum(walls, -12.0)))
    >>> round(found.gaps[0].width.value, 2), round(found.gaps[0].depth.value, 2)
    (50.0, 12.0)
    """
    levelled = level(replace(trace, z=-trace.z), surface, plate=True)
    walls = replace(levelled, height=np.minimum(levelled.height, DEEPEST))
    grooves = find_lines(walls)
    if not grooves:
        raise UnusableInput(
            f"{trace.name}: nothing on it is clearly below the surface (noise {1e3 * levelled.noise:.3g} nm); check that "
            "it crosses a gap, and the unit of its heights"
        )
    edges = [(_edge(groove.left, groove.step), _edge(groove.right, groove.step)) for groove in grooves]
    lands = _lands(levelled, edges)
    return MeasuredPlate(
        levelled=levelled,
        lines=tuple(_line(levelled, one[1], other[0], instrument) for one, other in pairwise(edges)),
        gaps=tuple(
            _gap(levelled, groove, pair, room, instrument)
            for groove, pair, room in zip(grooves, edges, lands)
        ),
        instrument=instrument,
    )


def _edge(wall: Flank, depth: float) -> Value:
    """Where a wall of a gap of a depth meets the surface, and its standard uncertainty, µm."""
    outwards = np.sign(wall.foot - wall.half)
    place = wall.half + (outwards * HALF * depth / wall.slope if np.isfinite(wall.slope) else 0.0)
    stretched = _STRETCHED if np.isfinite(wall.slope) else 0.0
    return Value(float(place), float(wall.half_error * np.hypot(1.0, stretched)))


def _lands(levelled: Levelled, edges: Sequence[tuple[Value, Value]]) -> list[tuple[float, float]]:
    """How far to the left and to the right of each gap its lips may stand: to the middle of the land beside it."""
    x = levelled.trace.x
    ends = [
        float(x[0]),
        *((one[1].value + other[0].value) / 2 for one, other in pairwise(edges)),
        float(x[-1]),
    ]
    return [
        (min(left.value - ends[at], _LIP_REACH), min(ends[at + 1] - right.value, _LIP_REACH))
        for at, (left, right) in enumerate(edges)
    ]


def _gap(
    levelled: Levelled,
    groove: Line,
    edges: tuple[Value, Value],
    room: tuple[float, float],
    instrument: Instrument,
) -> PlateGap:
    left, right = edges
    lips = (
        _lip(levelled, left.value - room[0], left.value, instrument),
        _lip(levelled, right.value, right.value + room[1], instrument),
    )
    crests = [edge if lip is None else lip.place for lip, edge in zip(lips, edges)]
    depth = _depth(levelled, groove, instrument)
    return PlateGap(
        left=left.value,
        right=right.value,
        width=_between(left, right, instrument),
        depth=depth,
        lips=lips,
        lip_width=_between(crests[0], crests[1], instrument),
        flags=tuple(_flags(groove, depth)),
    )


def _between(left: Value, right: Value, instrument: Instrument) -> Value:
    width = right.value - left.value
    error = np.sqrt(left.error**2 + right.error**2 + (instrument.along * width) ** 2)
    return Value(width, float(error))


def _depth(levelled: Levelled, groove: Line, instrument: Instrument) -> Value | None:
    """Of the middle third of a gap below the surface, as ISO 5436-1 takes it of a groove; None where nothing of that was seen."""
    x, seen = levelled.trace.x, levelled.trace.seen
    inside = (x > groove.left.foot) & (x < groove.right.foot) & seen
    low = x[inside][levelled.height[inside] > HALF * levelled.height[inside].max()]
    middle, width = (low[0] + low[-1]) / 2, low[-1] - low[0]
    below = levelled.height[(np.abs(x - middle) <= width / 6) & seen]
    if len(below) == 0:
        return None
    depth = float(below.mean())
    noise = levelled.noise * np.sqrt(min(levelled.independent, len(below)) / len(below))
    error = np.sqrt(instrument.height_error(depth) ** 2 + noise**2 + levelled.offset_error(middle) ** 2)
    return Value(depth, float(error))


def _lip(levelled: Levelled, start: float, end: float, instrument: Instrument) -> Lip | None:
    """The highest crest of a stretch beside an edge, by a parabola through its crown; None where there is none."""
    x = levelled.trace.x
    inside = (x >= start) & (x <= end) & levelled.trace.seen
    along, above = x[inside], -levelled.height[inside]
    if len(along) < 2 * _FEWEST:
        return None
    noise = levelled.noise * np.sqrt(levelled.independent)
    half = int(np.clip(len(along) // 16, 2, 40)) if noise else 1
    smooth = local_parabolas(above, half)
    top = int(np.argmax(smooth))
    if smooth[top] <= max(
        _CLEAR * noise / np.sqrt(half), 1e-9 * np.ptp(levelled.height[levelled.trace.seen])
    ):
        return None
    low = np.flatnonzero(smooth < _LIP_CROWN * smooth[top])
    first = int(low[low < top].max(initial=-1)) + 1
    last = int(low[low > top].min(initial=len(along)))
    if last - first < _FEWEST:
        first, last = max(top - _FEWEST // 2, 0), min(top + _FEWEST // 2 + 1, len(along))
    at = along[first:last] - along[top]
    model = np.column_stack([np.ones(len(at)), at, at**2])
    (base, slope, bend), *_ = np.linalg.lstsq(model, above[first:last], rcond=None)
    if bend >= 0.0:
        return None
    place = -slope / (2.0 * bend)
    covariance = noise**2 * np.linalg.inv(model.T @ model)
    of_place = np.array([0.0, -1.0 / (2.0 * bend), slope / (2.0 * bend**2)])
    of_height = np.array([1.0, place, place**2])
    height = float(base + slope * place + bend * place**2)
    error = np.sqrt(of_height @ covariance @ of_height + levelled.offset_error(float(along[top])) ** 2)
    if height <= _CLEAR * error:
        return None
    return Lip(
        place=Value(float(along[top] + place), float(np.sqrt(of_place @ covariance @ of_place))),
        height=Value(height, float(np.hypot(error, instrument.height_error(height)))),
    )


def _line(levelled: Levelled, left: Value, right: Value, instrument: Instrument) -> PlateLine:
    return PlateLine(
        left=left.value,
        right=right.value,
        width=_between(left, right, instrument),
        radius=_radius(levelled, left.value, right.value),
    )


def _radius(levelled: Levelled, left: float, right: float) -> Value | None:
    """Radius of the top of a line by an arc of a circle; None where it is flat."""
    x, width = levelled.trace.x, right - left
    inside = (x >= left + _INSET * width) & (x <= right - _INSET * width) & levelled.trace.seen
    if inside.sum() < _FEWEST:
        return None
    at, above = x[inside] - (left + right) / 2, -levelled.height[inside]
    model = np.column_stack([np.ones(len(at)), at, at**2])
    (top, slope, bend), *_ = np.linalg.lstsq(model, above, rcond=None)
    noise = _scatter(above - model @ (top, slope, bend))
    error = 2.0 * noise * float(np.sqrt(np.linalg.inv(model.T @ model)[2, 2]))
    curvature = -2.0 * float(bend)
    if curvature <= max(_SEEN * error, 1.0 / (_ROUNDED * width)):
        return None
    start = (float(top), float(slope) / curvature, 1.0 / curvature)
    (_, _, radius), covariance = curve_fit(
        _arc, at, above, start, sigma=np.full(len(at), noise), absolute_sigma=True
    )
    return Value(float(radius), float(np.sqrt(covariance[2, 2])))


def _scatter(residuals: np.ndarray) -> float:
    """Standard deviation of residuals of a top, larger where neighbours are alike, as if they were fewer."""
    deviation = float(residuals.std()) or 1e-12
    alike = float(np.clip((residuals[1:] * residuals[:-1]).mean() / deviation**2, 0.0, 0.95))
    return deviation * float(np.sqrt((1.0 + alike) / (1.0 - alike)))


def _arc(at: np.ndarray, top: float, middle: float, radius: float) -> np.ndarray:
    """Upper arc of a circle whose crest is at `top` over `middle`."""
    return top - radius + np.sqrt(np.maximum(radius**2 - (at - middle) ** 2, 0.0))


def _flags(groove: Line, depth: Value | None) -> list[str]:
    found = [] if depth is not None else ["its bottom was not seen: no depth"]
    if groove.interpolated > 0.2:
        found.append(f"{100 * groove.interpolated:.0f} % of its width was not seen and is interpolated")
    if groove.peak >= DEEPEST * (1.0 - 1e-9):
        found.append(f"deeper than {DEEPEST:g} µm: its walls are looked at down to there")
    return found
