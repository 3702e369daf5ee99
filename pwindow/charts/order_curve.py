"""Which plate to order where only its line width or only its gap was varied: a curve for each plate process."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.labels import as_text
from pwindow.charts.order_content import (
    OrderContent,
    key_of,
    layout,
    order_notes,
    orders_trace,
    padded,
    place_words,
    subtitle_of,
)
from pwindow.charts.palette import PERCENT_TICKS, Palette
from pwindow.window.orders import OrderMap
from pwindow.wording import asked

CURVE, LEVEL = "curve", "level"
"""Names of the curves, and of the line of the assurance level."""
_NAMES = {"plate_width": "plate width", "plate_gap": "plate gap"}
_DASHES = ("solid", "dash", "dot", "dashdot")
_BETWEEN = 0.1  # of the width, between two plots


def curves_figure(content: OrderContent, palette: Palette, height: int | None) -> go.Figure:
    """Draw the fastest assured speed along what was varied; where no plate is assured the highest probability.

    Parameters
    ----------
    content : OrderContent
    palette : Palette
    height : int, optional
        Of the figure, px; None where its place gives it one.
    """
    drawn = {name: _varied(content.found.maps, name) for name in _NAMES}
    drawn = {name: maps for name, maps in drawn.items() if maps}
    assured = any(np.isfinite(one.fastest[one.tried]).any() for maps in drawn.values() for one in maps)
    words = "fastest assured speed" if assured else "highest probability of meeting all requirements"
    figure = go.Figure(layout=layout(content, words, subtitle_of(content), palette, height))
    for at, (name, maps) in enumerate(drawn.items()):
        _add_plot(figure, content, name, maps, (at, len(drawn)), palette, assured=assured)
    key = "&nbsp;&nbsp;&nbsp; ".join([*_level_key(content, assured=assured), *content.marks])
    figure.layout.annotations = [*figure.layout.annotations, key_of(key, palette)]
    return figure


def _varied(maps: Sequence[OrderMap], name: str) -> list[OrderMap]:
    """Maps of the processes that had several plate widths, or gaps, within what was tried."""
    return [one for one in maps if len(_axis(one, name)) > 1 and one.tried.any()]


def _axis(shown: OrderMap, name: str) -> np.ndarray:
    return shown.widths if name == "plate_width" else shown.gaps


def _add_plot(
    figure: go.Figure,
    content: OrderContent,
    name: str,
    maps: Sequence[OrderMap],
    place: tuple[int, int],
    palette: Palette,
    *,
    assured: bool,
) -> None:
    at, count = place
    number = "" if at == 0 else str(at + 1)
    axes = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
    for order, shown in enumerate(maps):
        look = {"color": palette.rolls[2 + order % 3], "width": 3, "dash": _DASHES[order % len(_DASHES)]}
        figure.add_trace(_curve(content, shown, name, look, assured=assured).update(**axes))
    if not assured:
        figure.add_trace(_level_line(content, maps, name, palette).update(**axes))
    up = "speed" if assured else "conformance"
    for shown in maps:
        figure.add_trace(orders_trace(content, shown.process, name, up, palette).update(**axes))
    _set_axes(figure, content, name, maps, place, palette, assured=assured)
    middle = [float(np.mean(figure.layout[f"{axis}axis{number}"].range)) for axis in "xy"]
    marked = {"xref": axes["xaxis"], "yref": axes["yaxis"]}
    notes = [
        note | marked
        for one in maps
        for note in order_notes(content, one.process, (name, up), middle, palette)
    ]
    names = [
        _name_note(trace, one) | marked
        for trace, one in zip(figure.data[-_traces(maps, assured=assured) :], maps)
    ]
    figure.layout.annotations = [*figure.layout.annotations, *(note for note in names if note), *notes]


def _traces(maps: Sequence[OrderMap], *, assured: bool) -> int:
    return 2 * len(maps) + (not assured)


def _values(content: OrderContent, shown: OrderMap, *, assured: bool) -> np.ndarray:
    values = content.units.speed.of(shown.fastest) if assured else shown.best
    return np.where(shown.tried, values, np.nan).ravel()


def _curve(content: OrderContent, shown: OrderMap, name: str, line: dict, *, assured: bool) -> go.Scatter:
    unit = content.units.length
    return go.Scatter(
        name=CURVE,
        x=unit.of(_axis(shown, name)),
        y=_values(content, shown, assured=assured),
        mode="lines",
        connectgaps=False,
        line=line,
        text=place_words(content, shown).ravel(),
        customdata=shown.best.ravel(),
        hovertemplate=f"{_NAMES[name]} %{{x:.1f}} {unit.name}<br>%{{text}}<br>"
        f"all requirements met: %{{customdata:.1%}} at the best set-up<extra>{as_text(shown.process)}</extra>",
    )


def _level_line(content: OrderContent, maps: Sequence[OrderMap], name: str, palette: Palette) -> go.Scatter:
    ends = content.units.length.of(np.concatenate([_axis(one, name) for one in maps]))
    level = content.product.assurance.level
    return go.Scatter(
        name=LEVEL,
        x=[float(ends.min()), float(ends.max())],
        y=[level, level],
        mode="lines",
        line={"color": palette.ink, "width": 1.5, "dash": "dash"},
        hoverinfo="skip",
    )


def _level_key(content: OrderContent, *, assured: bool) -> list[str]:
    level = asked(content.product.assurance.level)
    return [f"no curve: {level} not reached"] if assured else [f"╌╌ {level} probability"]


def _name_note(trace: go.Scatter, shown: OrderMap) -> dict:
    """The process, at the end of its curve; {} where it has none."""
    known = np.flatnonzero(np.isfinite(np.asarray(trace.y, float)))
    if not len(known):
        return {}
    return {
        "x": float(trace.x[known[-1]]),
        "y": float(trace.y[known[-1]]),
        "text": as_text(shown.process or "plate process not named"),
        "showarrow": False,
        "xanchor": "left",
        "xshift": 6,
        "font": {"size": 13, "color": trace.line.color},
    }


def _set_axes(
    figure: go.Figure,
    content: OrderContent,
    name: str,
    maps: Sequence[OrderMap],
    place: tuple[int, int],
    palette: Palette,
    *,
    assured: bool,
) -> None:
    at, count = place
    number, unit = "" if at == 0 else str(at + 1), content.units.length
    wide = (1.0 + _BETWEEN) / count
    low, high = padded(unit.of(np.concatenate([_axis(one, name) for one in maps])))
    figure.layout[f"xaxis{number}"] = palette.axis | {
        "title": {"text": f"{_NAMES[name]}, {unit.name}", "standoff": 8},
        "fixedrange": True,
        "anchor": f"y{number}",
        "domain": [at * wide, min((at + 1) * wide - _BETWEEN, 1.0)],
        "range": [low, high + 0.2 * (high - low)],  # room for the names of the processes
    }
    figure.layout[f"yaxis{number}"] = (
        palette.axis
        | {"fixedrange": True, "anchor": f"x{number}"}
        | (_speed_axis(content, maps) if assured else _share_axis())
    )


def _speed_axis(content: OrderContent, maps: Sequence[OrderMap]) -> dict:
    top = max(float(np.nanmax(_values(content, one, assured=True), initial=0.0)) for one in maps)
    words = f"fastest assured speed, {content.units.speed.name}"
    return {"title": {"text": words, "standoff": 6}, "range": [0.0, 1.15 * top]}


def _share_axis() -> dict:
    return {"title": {"text": "highest probability", "standoff": 6}, "range": [-0.03, 1.04], **PERCENT_TICKS}
