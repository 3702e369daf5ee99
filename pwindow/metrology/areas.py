"""Lines and gaps of a topography: edges along the lines, their raggedness, and where gaps are narrow or bridged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.ndimage import uniform_filter1d

from pwindow.errors import UnusableInput
from pwindow.metrology.features import MeasuredLine, Value, measure
from pwindow.metrology.instruments import INSTRUMENTS, Instrument
from pwindow.metrology.levelling import level
from pwindow.metrology.raggedness import correlation_length, unseen_by_line, unseen_by_mean
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace

_COARSE = 400_000  # points that a plane is fitted to at most
_ROUNDS = 2
_FEW_LENGTHS = 10.0  # correlation lengths along a line, below which raggedness is hardly known (common practice, no source)


@dataclass(frozen=True, kw_only=True)
class Edge:
    """One edge of a line along it.

    Attributes
    ----------
    place : ndarray, shape (ny,), µm
        Where the edge lies in each row; NaN where the line is broken, or ink crosses the gap beside it.
    broken : ndarray of bool, shape (ny,)
        Rows where the line is broken.
    angle : float
        Of the straight line fitted to it, µm/µm.
    roughness : float
        Standard deviation about that straight line, µm.
    correlation_length : float
        Distance at which its deviations are alike to 1/e, µm.
    unseen : float
        Share of its variance that the inspected length does not show, by removing a straight line; it lies between the
        means of lines instead.
    """

    place: np.ndarray
    broken: np.ndarray
    angle: float
    roughness: float
    correlation_length: float
    unseen: float


@dataclass(frozen=True, kw_only=True)
class LineAlong:
    """A line of a topography.

    Attributes
    ----------
    measured : MeasuredLine
        Of the mean cross-section, with the mean width along it.
    left, right : Edge
    width_roughness : float
        Standard deviation of the width along the line, µm.
    narrowest : float
        Smallest width, µm; zero where the line is broken.
    breaks : int
        Stretches where it is broken.
    voids : float
        Share of its area that ink is missing from (IEC 62899-402-3).
    """

    measured: MeasuredLine
    left: Edge
    right: Edge
    width_roughness: float
    narrowest: float
    breaks: int
    voids: float


@dataclass(frozen=True, kw_only=True)
class GapAlong:
    """A gap of a topography.

    Attributes
    ----------
    width : Value
        Mean along it where it is open, µm.
    narrowest : float
        Smallest along it, µm; zero where it is bridged.
    bridges : int
        Places where ink crosses it.
    bridged : float
        Share of its length that ink crosses.
    raggedness, correlation_length : float
        Standard deviation of its width along a gap without end, by what is seen of it, and the distance at which widths
        are alike to 1/e, µm; NaN where it is nowhere open.
    """

    width: Value
    narrowest: float
    bridges: int
    bridged: float
    raggedness: float
    correlation_length: float


@dataclass(frozen=True, kw_only=True)
class MeasuredArea:
    """A topography and what was measured on it.

    Attributes
    ----------
    topography : Topography
        Levelled, lines from row to row.
    lines : tuple of LineAlong
    gaps : tuple of GapAlong
    length : float
        That was inspected along the lines, µm.
    noise : float
        Standard deviation of a point of bare film, µm.
    instrument : Instrument
    """

    topography: Topography
    lines: tuple[LineAlong, ...]
    gaps: tuple[GapAlong, ...]
    length: float
    noise: float
    instrument: Instrument


def measure_area(topography: Topography, instrument: Instrument = INSTRUMENTS["optical"]) -> MeasuredArea:
    """Level a topography on its bare film, and measure its lines and gaps along their length.

    Parameters
    ----------
    topography : Topography
        Lines run nearly along its rows or its columns.
    instrument : Instrument

    Raises
    ------
    UnusableInput
        If too little of it is bare film, or there is no line.
    """
    turned = topography.along_columns()
    turned, noise = _levelled(turned)
    mean = measure(_mean_trace(turned), instrument)
    if not mean.lines:
        raise UnusableInput(f"{topography.name}: there is no line")
    lines = [one for one in mean.lines if not one.closed]
    if len(lines) < len(mean.lines):
        raise UnusableInput(
            f"{topography.name}: gaps are bridged over the whole length; nothing can be said of its lines"
        )
    edges = [_edges(turned, one, noise) for one in lines]
    found = tuple(_along(turned, one, *pair, instrument) for one, pair in zip(lines, edges))
    gaps = tuple(
        _gap(turned, (one, other), (left[1], right[0]), instrument)
        for (one, left), (other, right) in pairwise(zip(lines, edges))
    )
    return MeasuredArea(
        topography=turned,
        lines=found,
        gaps=gaps,
        length=turned.dy * turned.z.shape[0],
        noise=noise,
        instrument=instrument,
    )


def _mean_trace(topography: Topography) -> Trace:
    x = np.arange(topography.z.shape[1]) * topography.dx
    with np.errstate(invalid="ignore"):
        seen = np.isfinite(topography.z).any(axis=0)
        mean = np.full(len(x), np.nan)
        mean[seen] = np.nanmean(topography.z[:, seen], axis=0)
    return Trace(name=topography.name, x=x, z=mean, file=topography.file, sha256=topography.sha256)


def _levelled(topography: Topography) -> tuple[Topography, float]:
    """Without the plane of the bare film, or the surface of second order that a bent one lies on, and the deviation of single
    points of film from it.

    The film is found on the mean cross-section, once the tilt along the lines is removed: the median difference of rows
    that are far apart.
    """
    rows, columns = topography.z.shape
    half = rows // 2
    slope = float(np.nanmedian(topography.z[half:] - topography.z[: rows - half])) / (half * topography.dy)
    z = topography.z - slope * topography.dy * np.arange(rows)[:, None]
    x, y = np.linspace(-1.0, 1.0, columns), np.linspace(-1.0, 1.0, rows)
    deviation, bent = 0.0, False
    for _ in range(_ROUNDS):
        mean = level(_mean_trace(replace(topography, z=z)))
        bent = bent or mean.bend != 0.0
        step = max(1, int(np.sqrt(rows * int(mean.film.sum()) / _COARSE)))
        at = np.flatnonzero(mean.film)[::step]
        part = z[::step, at]
        along, across = np.meshgrid(y[::step], x[at], indexing="ij")
        seen = np.isfinite(part)
        across, along = across[seen], along[seen]
        terms = [np.ones(len(along)), across, along, along**2, *([across**2] if bent else [])]
        model = np.column_stack(terms)
        (base, *of_x_and_y), *_ = np.linalg.lstsq(model, part[seen], rcond=None)
        of_x, of_y, of_yy, of_xx = (*of_x_and_y, 0.0)[:4]
        z = z - base - (of_x * x + of_xx * x**2)
        z -= (of_y * y + of_yy * y**2)[:, None]
        deviation = float(np.std(part[seen] - model @ (base, *of_x_and_y)))
    return replace(topography, z=z), deviation


def _edges(topography: Topography, line: MeasuredLine, noise: float) -> tuple[Edge, Edge]:
    """Both edges of a line in every row, outward from its middle to where it first falls below the foot."""
    level = line.line.foot
    smooth = _smooth(topography, noise, level)
    width, dx = line.line.width, topography.dx
    middle = int((line.line.left.foot + line.line.right.foot) / 2 / dx)
    reach = int(np.ceil(width / dx))
    broken = smooth[:, middle] < level
    left = _outward(smooth[:, max(middle - reach, 0) : middle + 1][:, ::-1], level)
    right = _outward(smooth[:, middle : middle + reach + 1], level)
    places = (middle - left) * dx, (middle + right) * dx
    one, other = (_edge(place, broken, topography.dy) for place in places)
    return one, other


def _smooth(topography: Topography, noise: float, level: float) -> np.ndarray:
    """Heights averaged over as many rows as it takes for the noise to lie well below the foot; voids by their row's neighbours."""
    rows = min(max(1, int(np.ceil((5.0 * noise / level) ** 2))), max(1, topography.z.shape[0] // 20))
    seen = np.isfinite(topography.z)
    if rows == 1 and seen.all():
        return topography.z
    total = uniform_filter1d(np.where(seen, topography.z, 0.0), rows, axis=0, mode="nearest")
    share = uniform_filter1d(seen.astype(float), rows, axis=0, mode="nearest")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(share > 1e-9, total / share, np.nan)


def _outward(heights: np.ndarray, level: float) -> np.ndarray:
    """Distance, in points, from the first column to where each row first falls below a level; NaN where it starts below."""
    below = heights < level
    at = below.argmax(axis=1)
    rows = np.arange(len(heights))
    inner, outer = heights[rows, np.maximum(at - 1, 0)], heights[rows, at]
    with np.errstate(invalid="ignore", divide="ignore"):
        found = at - 1 + (inner - level) / (inner - outer)
    return np.where(below.any(axis=1) & (at > 0), found, np.nan)


def _edge(place: np.ndarray, broken: np.ndarray, dy: float) -> Edge:
    y, known = np.arange(len(place)) * dy, np.isfinite(place)
    if int(known.sum()) < 3:
        return Edge(
            place=place, broken=broken, angle=0.0, roughness=np.nan, correlation_length=np.nan, unseen=np.nan
        )
    slope, offset = np.polyfit(y[known], place[known], 1)
    left = np.where(known, place - offset - slope * y, 0.0)
    roughness = float(np.std(left[known], ddof=2))
    length = correlation_length(left, dy) if roughness > 0 else 0.0
    return Edge(
        place=place,
        broken=broken,
        angle=float(slope),
        roughness=roughness,
        correlation_length=length,
        unseen=unseen_by_line(length, len(place) * dy),
    )


def _along(
    topography: Topography, line: MeasuredLine, left: Edge, right: Edge, instrument: Instrument
) -> LineAlong:
    widths = right.place - left.place
    open_rows = np.isfinite(widths)
    mean = float(np.mean(widths[open_rows])) if open_rows.any() else 0.0
    error = float(np.hypot(line.width.error, instrument.along * mean))
    flags = list(line.flags)
    short = max((edge.correlation_length for edge in (left, right)), default=0.0)
    if short > 0 and topography.dy * len(widths) < _FEW_LENGTHS * short:
        flags.append("shorter than ten correlation lengths of its edges: raggedness is hardly known")
    breaks = _stretches(left.broken)
    if breaks:
        flags.append(f"broken in {breaks} place{'s' if breaks > 1 else ''}")
    return LineAlong(
        measured=replace(line, width=Value(mean, error), flags=tuple(flags)),
        left=left,
        right=right,
        width_roughness=float(np.std(widths[open_rows])) if open_rows.any() else np.nan,
        narrowest=0.0 if breaks or not open_rows.any() else float(np.min(widths[open_rows])),
        breaks=breaks,
        voids=_voids(topography, line, left, right),
    )


def _voids(topography: Topography, line: MeasuredLine, left: Edge, right: Edge) -> float:
    """Share of the points between a line's edges that lie below its foot."""
    x = np.arange(topography.z.shape[1]) * topography.dx
    begin, end = (np.nanmean(edge.place) for edge in (left, right))
    if not np.isfinite([begin, end]).all():
        return 1.0
    inside = (x > begin + 2 * left.roughness) & (x < end - 2 * right.roughness)
    part = topography.z[:, inside]
    seen = np.isfinite(part)
    return float((part[seen] < line.line.foot).mean()) if seen.any() else np.nan


def _gap(
    topography: Topography,
    lines: tuple[MeasuredLine, MeasuredLine],
    edges: tuple[Edge, Edge],
    instrument: Instrument,
) -> GapAlong:
    """The gap between two lines, row by row; ink crosses it where nothing between their tops falls below the foot."""
    one, other = lines
    level = min(one.line.foot, other.line.foot)
    begin, end = (int(line.line.ridges[at][0] / topography.dx) for line, at in ((one, -1), (other, 0)))
    between = _smooth(topography, 0.0, level)[:, begin : end + 1]
    with np.errstate(invalid="ignore"):
        crossed = ~(between < level).any(axis=1) & np.isfinite(between).any(axis=1)
    widths = np.where(crossed, np.nan, edges[1].place - edges[0].place)
    known = np.isfinite(widths)
    mean = float(np.mean(widths[known])) if known.any() else 0.0
    error = float(np.hypot(np.hypot(one.width.error, other.width.error) / 2, instrument.along * mean))
    raggedness, alike = _ragged(widths, topography.dy)
    return GapAlong(
        width=Value(mean, error),
        narrowest=0.0 if crossed.any() or not known.any() else float(np.min(widths[known])),
        bridges=_stretches(crossed),
        bridged=float(crossed.mean()),
        raggedness=raggedness,
        correlation_length=alike,
    )


def _ragged(widths: np.ndarray, dy: float) -> tuple[float, float]:
    """Standard deviation of widths along a gap without end, and their correlation length, µm."""
    known = np.isfinite(widths)
    if int(known.sum()) < 3:
        return np.nan, np.nan
    apart = np.where(known, widths - widths[known].mean(), 0.0)
    if not apart.any():
        return 0.0, 0.0
    alike = correlation_length(apart, dy)
    seen = max(1.0 - unseen_by_mean(alike, len(widths) * dy), 1e-9)
    return float(np.sqrt(np.mean(apart[known] ** 2) / seen)), alike


def _stretches(where: Sequence[bool] | np.ndarray) -> int:
    """How many runs of True there are."""
    return int((np.diff(np.r_[0, np.asarray(where, int)]) == 1).sum())
