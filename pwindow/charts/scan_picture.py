"""The picture of a scan: a profile of a print or a plate, or a topography, with what was measured on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.labels import as_text, title
from pwindow.charts.palette import FONT, LIGHT, Palette, placed_title
from pwindow.metrology.areas import MeasuredArea
from pwindow.metrology.features import Measured, MeasuredLine
from pwindow.metrology.foot import TENTH
from pwindow.metrology.plates import MeasuredPlate
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace
from pwindow.wording import amount, counted

HEIGHT = 440  # px
_MOST_POINTS = 3000  # of a profile that are drawn: more are not told apart
_MOST_CELLS = 300  # of a topography, along either axis
_OVER = 1.12  # times the highest point that the axis ends at, so that numbers of lines have room
_UNDER = 0.12
_SPREAD = (2.0, 98.0)  # percentiles of heights that colours span


def scan_figure(
    scan: Trace | Topography,
    outcome: Measured | MeasuredArea | MeasuredPlate | str,
    palette: Palette = LIGHT,
) -> go.Figure:
    """Draw a scan with what was measured on it; as it is where nothing could be.

    Parameters
    ----------
    scan : Trace or Topography
    outcome : Measured, MeasuredArea, MeasuredPlate or str
        Or why it could not be measured.
    palette : Palette
    """
    if isinstance(outcome, Measured):
        return _profile(outcome, palette)
    if isinstance(outcome, MeasuredPlate):
        return _plate(outcome, palette)
    if isinstance(scan, Topography):
        shown = outcome.topography if isinstance(outcome, MeasuredArea) else scan
        return _map(shown, outcome if isinstance(outcome, MeasuredArea) else None, palette)
    figure = go.Figure()
    _curve(figure, scan.x, scan.z, palette)
    _finish(figure, scan.name, ("as it was measured, not levelled",), "height, µm", palette)
    return figure


def _plate(found: MeasuredPlate, palette: Palette) -> go.Figure:
    levelled = found.levelled
    x, height = levelled.trace.x, -levelled.height
    figure = go.Figure()
    _film(figure, levelled.regions, palette)
    _curve(figure, x, height, palette)
    _marks(figure, [(place, 0.0) for gap in found.gaps for place in (gap.left, gap.right)], "edge", palette)
    lips = [lip for gap in found.gaps for lip in gap.lips if lip is not None]
    _marks(figure, [(lip.place.value, lip.height.value) for lip in lips], "crest of a lip", palette)
    for at, gap in enumerate(found.gaps, 1):
        middle, words = (gap.left + gap.right) / 2, f"gap {at}<br>{amount(gap.width.value)} µm"
        figure.add_annotation(x=middle, y=0.0, yshift=-26, text=words, showarrow=False)
    key = (
        f'<span style="color:{palette.quiet}"><b>━━</b></span> printing surface that it is levelled on',
        f'<span style="color:{palette.mark}">●</span> edges, and crests of lips',
    )
    said = "&nbsp;&nbsp;&nbsp; ".join(key)
    _finish(figure, levelled.trace.name, (said,), "height above the surface, µm", palette)
    figure.update_xaxes(title_text="across the plate, µm", range=[float(x[0]), float(x[-1])])
    return figure


def _profile(found: Measured, palette: Palette) -> go.Figure:
    levelled = found.levelled
    x, height = levelled.trace.x, levelled.height
    figure = go.Figure()
    for line in found.lines:
        _filled(figure, x, height, line, palette)
    _film(figure, levelled.regions, palette)
    _curve(figure, x, height, palette)
    _feet(figure, found.lines, palette)
    top = float(np.nanmax(height))
    for at, line in enumerate(found.lines, 1):
        middle = (line.line.left.foot + line.line.right.foot) / 2
        joined = f": {counted(line.closed, 'gap', 'gaps')} bridged" if line.closed else ""
        figure.add_annotation(x=middle, y=line.line.peak, yshift=12, text=f"{at}{joined}", showarrow=False)
    key = (
        f'<span style="color:{palette.quiet}"><b>━━</b></span> bare film',
        f'<span style="color:{palette.mark}">●</span> foot, at {found.rule.words}',
        "numbers: lines",
    )
    _finish(
        figure, levelled.trace.name, ("&nbsp;&nbsp;&nbsp; ".join(key),), "height above the film, µm", palette
    )
    figure.update_yaxes(range=[-_UNDER * top, _OVER * top])
    figure.update_xaxes(range=[float(x[0]), float(x[-1])])
    return figure


def _curve(figure: go.Figure, x: np.ndarray, z: np.ndarray, palette: Palette) -> None:
    x, z = _thinned(x, z)
    figure.add_scatter(
        x=x,
        y=z,
        mode="lines",
        line={"color": palette.ink, "width": 1.2},
        hovertemplate="%{x:.2f} µm<br>%{y:.4f} µm<extra></extra>",
    )


def _thinned(x: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The lowest and the highest point of each stretch, so that none of a profile's extremes is lost."""
    size = -(-2 * len(x) // _MOST_POINTS)
    if size < 3:
        return x, z
    starts = np.arange(0, len(x), size)
    low = np.minimum.reduceat(np.where(np.isfinite(z), z, np.inf), starts)
    high = np.maximum.reduceat(np.where(np.isfinite(z), z, -np.inf), starts)
    unseen = ~np.isfinite(low)
    both = np.column_stack([low, high])
    both[unseen] = np.nan
    return np.repeat(x[starts], 2), both.ravel()


def _filled(
    figure: go.Figure, x: np.ndarray, height: np.ndarray, line: MeasuredLine, palette: Palette
) -> None:
    inside = (x >= line.line.left.start) & (x <= line.line.right.start) & np.isfinite(height)
    along, above = _thinned(x[inside], height[inside])
    figure.add_scatter(
        x=along,
        y=above,
        mode="lines",
        line={"width": 0},
        fill="tozeroy",
        fillcolor=palette.scale[2],
        hoverinfo="skip",
    )


def _film(figure: go.Figure, regions: Sequence[tuple[float, float]], palette: Palette) -> None:
    along = [place for low, high in regions for place in (low, high, None)]
    figure.add_scatter(
        x=along,
        y=[None if place is None else 0.0 for place in along],
        mode="lines",
        line={"color": palette.quiet, "width": 6},
        opacity=0.6,
        hoverinfo="skip",
    )


def _feet(figure: go.Figure, lines: Sequence[MeasuredLine], palette: Palette) -> None:
    ends = [(flank.foot, one.line.foot) for one in lines for flank in (one.line.left, one.line.right)]
    _marks(figure, ends, "foot", palette)


def _marks(figure: go.Figure, places: Sequence[tuple[float, float]], what: str, palette: Palette) -> None:
    figure.add_scatter(
        x=[place for place, _ in places],
        y=[height for _, height in places],
        mode="markers",
        marker={"color": palette.mark, "size": 7},
        hovertemplate=f"{what} at %{{x:.2f}} µm<extra></extra>",
    )


def _map(scan: Topography, found: MeasuredArea | None, palette: Palette) -> go.Figure:
    z, dx, dy = _coarser(scan)
    low, high = np.nanpercentile(z, _SPREAD)
    figure = go.Figure()
    figure.add_heatmap(
        z=z,
        x0=0.0,
        dx=dx,
        y0=0.0,
        dy=dy,
        zmin=float(low),
        zmax=float(high),
        colorscale=list(palette.scale),
        colorbar={"title": {"text": "height, µm", "side": "right"}, "thickness": 12, "outlinewidth": 0},
        hovertemplate="%{x:.1f} µm across, %{y:.1f} µm along<br>%{z:.3f} µm<extra></extra>",
    )
    for line in () if found is None else found.lines:
        for edge in (line.left, line.right):
            step = max(1, len(edge.place) // _MOST_CELLS)
            figure.add_scatter(
                x=edge.place[::step],
                y=np.arange(len(edge.place))[::step] * scan.dy,
                mode="lines",
                line={"color": palette.mark, "width": 1},
                hoverinfo="skip",
            )
    said = (
        "not measured"
        if found is None
        else f"edges at {TENTH.words}; inspected {amount(found.length / 1e3)} mm along lines"
    )
    _finish(figure, scan.name, (said,), "along the lines, µm", palette)
    figure.update_xaxes(range=[0.0, dx * z.shape[1]])
    figure.update_yaxes(range=[0.0, dy * z.shape[0]])
    return figure


def _coarser(scan: Topography) -> tuple[np.ndarray, float, float]:
    """Means of blocks of a grid, and the distances between them."""
    rows, columns = (-(-size // _MOST_CELLS) for size in scan.z.shape)
    height, width = (size // step * step for size, step in zip(scan.z.shape, (rows, columns)))
    blocks = scan.z[:height, :width].reshape(height // rows, rows, width // columns, columns)
    seen = np.isfinite(blocks)
    count = seen.sum(axis=(1, 3))
    total = np.where(seen, blocks, 0.0).sum(axis=(1, 3))
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / count, np.nan), columns * scan.dx, rows * scan.dy


def _finish(figure: go.Figure, name: str, said: Sequence[str], vertical: str, palette: Palette) -> None:
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 13, "color": palette.ink},
        height=HEIGHT,
        margin={"l": 70, "r": 30, "t": 80, "b": 56},
        title=placed_title(title(as_text(name), *said)),
        hovermode="closest",
    )
    figure.update_xaxes(palette.axis, title={"text": "across the lines, µm", "standoff": 8}, fixedrange=True)
    figure.update_yaxes(palette.axis, title={"text": vertical, "standoff": 8}, fixedrange=True)
