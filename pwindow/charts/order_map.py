"""Which plate to order, as a picture: the fastest assured speed over plate width and plate gap of each process."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.isolines import lines_at
from pwindow.charts.labels import as_text
from pwindow.charts.map_colours import hatched_ground
from pwindow.charts.order_content import (
    CERTAIN,
    OrderContent,
    key_of,
    layout,
    order_notes,
    orders_trace,
    padded,
    place_words,
    subtitle_of,
)
from pwindow.charts.order_curve import curves_figure
from pwindow.charts.palette import HIDDEN_AXIS, LIGHT, PERCENT_TICKS, Palette
from pwindow.window.orders import OrderMap
from pwindow.wording import asked

GROUND, MAP, LINES, ASSURED, SURE = "ground", "map", "lines", "assured", "sure"
"""Names of traces, each once for a process."""
HEIGHT = 470
"""Of the figure, px, where its place does not give it one."""
_COLUMNS = 3
_ROOM = 0.05  # of the width, between two maps
_FINE = 120  # cells along an axis, so that the ends of the colours are hidden under the outline
_THIN = (0.25, 0.5, 0.75)
_SURE_ENDS = (0.05, 0.95)
_OF_SURE = "╌╌ where that outline lies with 90 % probability"
_ROOM_RIGHT = 84  # px


@dataclass(frozen=True, kw_only=True)
class _Scale:
    """What the colours of all maps stand for.

    Attributes
    ----------
    of_speed : bool
        Fastest assured speeds; best probabilities where no plate is assured.
    low, high : float
    title : str
    """

    of_speed: bool
    low: float
    high: float
    title: str

    def bar(self, palette: Palette) -> dict:
        """The colour axis that the maps share."""
        ticks = {"nticks": 7} if self.of_speed else PERCENT_TICKS
        return {
            "colorscale": list(palette.scale),
            "cmin": self.low,
            "cmax": self.high,
            "colorbar": {
                "title": {"text": self.title, "side": "right", "font": {"size": 12}},
                "thickness": 12,
                "len": 1.0,
                "xref": "container",
                "x": 1.0,
                "xanchor": "right",
                "xpad": 4,
                "outlinewidth": 0,
                "tickfont": {"size": 12},
                **ticks,
            },
        }


def order_figure(content: OrderContent, palette: Palette = LIGHT, height: int | None = HEIGHT) -> go.Figure:
    """Draw maps of the processes that had several plate widths and gaps; curves where none had both.

    Parameters
    ----------
    content : OrderContent
        One that is `drawable`.
    palette : Palette
    height : int, optional
        Of the figure, px; None where its place gives it one.
    """
    maps = [one for one in content.found.maps if min(len(one.widths), len(one.gaps)) > 1 and one.tried.any()]
    return _maps_figure(content, maps, palette, height) if maps else curves_figure(content, palette, height)


def _maps_figure(
    content: OrderContent, maps: Sequence[OrderMap], palette: Palette, height: int | None
) -> go.Figure:
    scale = _scale(content, maps)
    left_out = [one.process or "not named" for one in content.found.maps if one not in maps]
    words = "fastest assured speed" if scale.of_speed else "highest probability of meeting all requirements"
    figure = go.Figure(layout=layout(content, words, subtitle_of(content, left_out), palette, height))
    figure.layout.margin.r = _ROOM_RIGHT
    figure.layout.coloraxis = scale.bar(palette)
    for at, shown in enumerate(maps):
        _add_axes(figure, content, maps, at, palette)
        _add_map(figure, content, shown, at, scale, palette)
    notes = [note for at, one in enumerate(maps) for note in _notes(figure, content, one, at, palette)]
    figure.layout.annotations = [*notes, key_of(_key(content, maps, scale), palette)]
    return figure


def _scale(content: OrderContent, maps: Sequence[OrderMap]) -> _Scale:
    """Of speeds where any plate of the maps is assured, else of probabilities."""
    unit = content.units.speed
    speeds = np.concatenate([one.fastest[one.tried & np.isfinite(one.fastest)] for one in maps])
    if len(speeds):
        low, high = unit.of(float(speeds.min())), unit.of(float(speeds.max()))
        room = 0.0 if high > low else 0.05 * high
        return _Scale(
            of_speed=True, low=low - room, high=high + room, title=f"fastest assured speed, {unit.name}"
        )
    top = max(float(one.best[one.tried].max()) for one in maps)
    return _Scale(
        of_speed=False,
        low=0.0,
        high=max(top, 1e-3),
        title="highest probability",
    )


def _number(at: int) -> str:
    """What the names of a map's axes end with; those of its ground are one less."""
    return str(2 * at + 2)


def _axes(at: int) -> dict[str, str]:
    return {"xaxis": f"x{_number(at)}", "yaxis": f"y{_number(at)}"}


def _ground_axes(at: int) -> dict[str, str]:
    number = str(2 * at + 1) if at else ""
    return {"xaxis": f"x{number}", "yaxis": f"y{number}"}


def _domains(count: int, at: int) -> tuple[list[float], list[float]]:
    columns = min(count, _COLUMNS)
    rows = -(-count // columns)
    row, column = divmod(at, columns)
    wide, high = (1.0 + _ROOM) / columns, (1.0 + 3 * _ROOM) / rows
    top = 1.0 - row * high
    bottom = max(top - high + 3 * _ROOM, 0.0)
    return [column * wide, min(column * wide + wide - _ROOM, 1.0)], [bottom, top]


def _add_axes(
    figure: go.Figure, content: OrderContent, maps: Sequence[OrderMap], at: int, palette: Palette
) -> None:
    """Axes of a map, the same for all, and hidden ones of its ground."""
    across, up = _domains(len(maps), at)
    unit, number, hidden = content.units.length, _number(at), _ground_axes(at)
    figure.layout[f"xaxis{hidden['xaxis'][1:]}"] = HIDDEN_AXIS | {"domain": across, "anchor": hidden["yaxis"]}
    figure.layout[f"yaxis{hidden['yaxis'][1:]}"] = HIDDEN_AXIS | {"domain": up, "anchor": hidden["xaxis"]}
    shared = palette.axis | {"fixedrange": True}
    first = at % _COLUMNS == 0
    figure.layout[f"xaxis{number}"] = shared | {
        "title": {"text": f"plate width, {unit.name}", "standoff": 8},
        "overlaying": hidden["xaxis"],
        "anchor": f"y{number}",
        "side": "bottom",
        "range": padded(unit.of(np.concatenate([one.widths for one in maps]))),
    }
    figure.layout[f"yaxis{number}"] = shared | {
        "title": {"text": f"plate gap, {unit.name}" if first else "", "standoff": 6},
        "overlaying": hidden["yaxis"],
        "anchor": f"x{number}",
        "side": "left",
        "showticklabels": first,
        "range": padded(unit.of(np.concatenate([one.gaps for one in maps]))),
    }


def _add_map(
    figure: go.Figure, content: OrderContent, shown: OrderMap, at: int, scale: _Scale, palette: Palette
) -> None:
    unit, axes = content.units.length, _axes(at)
    widths, gaps = unit.of(shown.widths), unit.of(shown.gaps)
    best = np.where(shown.tried, shown.best, np.nan)
    level = content.product.assurance.level
    figure.add_trace(hatched_ground(palette).update(**_ground_axes(at)))
    figure.add_trace(_paper(content, shown, palette).update(**axes))
    figure.add_trace(_colours(content, shown, scale).update(**axes))
    thin = [share for share in _THIN if share < level]
    for name, levels, look in (
        (LINES, thin, {"color": palette.quiet, "width": 1}),
        (ASSURED, [level], {"color": palette.ink, "width": 4}),
    ):
        line = lines_at(widths, gaps, best, levels)
        figure.add_trace(go.Scatter(name=name, **line, **axes, mode="lines", line=look, hoverinfo="skip"))
    if shown.sure is not None:
        sure = lines_at(widths, gaps, np.where(shown.tried, shown.sure, np.nan), _SURE_ENDS)
        look = {"color": palette.ink, "width": 1.5, "dash": "dash"}
        figure.add_trace(go.Scatter(name=SURE, **sure, **axes, mode="lines", line=look, hoverinfo="skip"))
    figure.add_trace(orders_trace(content, shown.process, "plate_width", "plate_gap", palette).update(**axes))


def _paper(content: OrderContent, shown: OrderMap, palette: Palette) -> go.Heatmap:
    """Plain ground under all plates that were tried, which says what they do."""
    unit = content.units.length
    return go.Heatmap(
        name=GROUND,
        x=unit.of(shown.widths),
        y=unit.of(shown.gaps),
        z=np.where(shown.tried, np.minimum(shown.best, CERTAIN), np.nan),
        text=place_words(content, shown),
        customdata=_artwork(content, shown),
        hovertemplate=f"plate width %{{x:.1f}} {unit.name}, plate gap %{{y:.1f}} {unit.name}<br>"
        f"artwork %{{customdata[0]:.1f}} × %{{customdata[1]:.1f}} {unit.name}<br>%{{text}}<br>"
        f"all requirements met: %{{z:.1%}} at the best set-up<extra>{as_text(shown.process)}</extra>",
        hoverongaps=False,
        colorscale=[palette.paper, palette.paper],
        showscale=False,
    )


def _artwork(content: OrderContent, shown: OrderMap) -> np.ndarray:
    """Artwork line and gap of each plate, shape (g, w, 2)."""
    making, direction = content.found.making.of(shown.process), content.product.pattern.direction
    lines = [making.artwork_width(float(one), direction).value for one in shown.widths]
    gaps = [making.artwork_gap(float(one)).value for one in shown.gaps]
    grid = np.stack(np.meshgrid(lines, gaps), axis=-1)
    return content.units.length.of(grid).astype(np.float32)


def _colours(content: OrderContent, shown: OrderMap, scale: _Scale) -> go.Heatmap:
    """Colours up to the outline: cells are finer than those that were worked out."""
    gap, width = (_finer(axis) for axis in (shown.gaps, shown.widths))

    def at(values: np.ndarray) -> np.ndarray:
        return _between((shown.gaps, shown.widths), values, (gap, width))

    tried = shown.tried[np.ix_(_nearest(shown.gaps, gap), _nearest(shown.widths, width))]
    if scale.of_speed:
        reached = at(shown.best) >= content.product.assurance.level
        shown_values = content.units.speed.of(at(_continued(shown.fastest)))
        values = np.where(tried & reached, shown_values, np.nan)
    else:
        values = np.where(tried, at(shown.best), np.nan)
    unit = content.units.length
    return go.Heatmap(
        name=MAP,
        x=unit.of(width).astype(np.float32),
        y=unit.of(gap).astype(np.float32),
        z=values.astype(np.float32),
        coloraxis="coloraxis",
        hoverinfo="skip",
        hoverongaps=False,
    )


def _finer(axis: np.ndarray) -> np.ndarray:
    return np.linspace(axis[0], axis[-1], _FINE)


def _nearest(axis: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Positions on an axis next to places."""
    return np.abs(np.subtract.outer(places, axis)).argmin(axis=1)


def _continued(values: np.ndarray) -> np.ndarray:
    """Values with what is missing taken from those beside it, along plate widths first."""
    return _filled(_filled(values).T).T


def _filled(values: np.ndarray) -> np.ndarray:
    """Rows with what is missing taken from the values beside it; rows without any value stay as they are."""
    places, filled = np.arange(values.shape[1]), values.copy()
    for row in filled:
        there = np.isfinite(row)
        if there.any():
            row[:] = np.interp(places, places[there], row[there])
    return filled


def _between(
    axes: tuple[np.ndarray, np.ndarray], values: np.ndarray, places: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Values over gaps and widths at finer ones, linear along both."""
    along = np.array([np.interp(places[1], axes[1], row) for row in values])
    return np.array([np.interp(places[0], axes[0], column) for column in along.T]).T


def _notes(
    figure: go.Figure, content: OrderContent, shown: OrderMap, at: int, palette: Palette
) -> list[dict]:
    """The process above its map, shares beside thin lines, and speeds beside orders."""
    across, up = _domains(_count(figure), at)
    name = {
        "text": f"<b>{as_text(shown.process or 'plate process not named')}</b>",
        "xref": "paper",
        "yref": "paper",
        "x": across[0],
        "y": up[1],
        "xanchor": "left",
        "yanchor": "bottom",
        "yshift": 2,
        "showarrow": False,
        "font": {"size": 13},
    }
    middle = [float(np.mean(figure.layout[f"{axis}axis{_number(at)}"].range)) for axis in "xy"]
    axes = {"xref": f"x{_number(at)}", "yref": f"y{_number(at)}"}
    orders = order_notes(content, shown.process, ("plate_width", "plate_gap"), middle, palette)
    return [name, *_shares(content, shown, axes, palette), *(note | axes for note in orders)]


def _count(figure: go.Figure) -> int:
    return sum(trace.name == MAP for trace in figure.data)


def _shares(content: OrderContent, shown: OrderMap, axes: dict, palette: Palette) -> list[dict]:
    """What thin lines stand for, on each near the middle of its longest stretch."""
    unit, level = content.units.length, content.product.assurance.level
    best = np.where(shown.tried, shown.best, np.nan)
    notes = []
    for share in _THIN:
        if share >= level:
            continue
        line = lines_at(unit.of(shown.widths), unit.of(shown.gaps), best, [share])
        if len(line["x"]) < 4:
            continue
        spot = _middle(np.column_stack([line["x"], line["y"]]))
        notes.append(
            {
                **axes,
                "x": float(spot[0]),
                "y": float(spot[1]),
                "text": asked(share),
                "showarrow": False,
                "font": {"size": 11, "color": palette.ink},
                "bgcolor": palette.veil,
                "borderpad": 1,
            }
        )
    return notes


def _middle(points: np.ndarray) -> np.ndarray:
    """The middle of the longest stretch of a line whose stretches are parted by NaN."""
    parted = np.isnan(points[:, 0])
    stretches = [part[~np.isnan(part[:, 0])] for part in np.split(points, np.flatnonzero(parted))]
    longest = max(stretches, key=len)
    return longest[len(longest) // 2]


def _key(content: OrderContent, maps: Sequence[OrderMap], scale: _Scale) -> str:
    level = content.product.assurance.level
    outlined = any(one.best[one.tried].max() >= level for one in maps)
    parts = [
        f"<b>━━</b> {asked(level)} probability" if outlined else "",
        _OF_SURE if outlined and any(one.sure is not None for one in maps) else "",
        "── lower probabilities" if scale.of_speed else "── probabilities",
        *content.marks,
        "▨ not tried",
    ]
    return "&nbsp;&nbsp;&nbsp; ".join(filter(None, parts))
