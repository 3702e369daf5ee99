"""The window as a picture: joint conformance over speed and cell volume, with the rolls drawn in."""

from __future__ import annotations

from typing import Any

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.labels import as_text, moved_apart
from pwindow.charts.map_colours import Colours, colours_of, hatched_ground
from pwindow.charts.map_content import MapContent
from pwindow.charts.palette import FONT, HIDDEN_AXIS, LIGHT, SCALE, Palette, placed_title
from pwindow.window.search.maps import WindowMap
from pwindow.wording import asked, percent, speed, volume

MAP, LINES, ASSURED, NOMINAL, ROLLS, BANDS, RECOMMENDED, CLOSEST, HALO, CHOSEN = (
    "map",
    "lines",
    "assured",
    "nominal",
    "rolls",
    "bands",
    "recommended",
    "closest",
    "halo",
    "chosen",
)
HEIGHT = 590
"""Of the figure, px."""
_ABOVE, _BELOW = 94, 132  # px, what stands above and below the map
_SCALE_BELOW = 65  # px from the map to the scale of its colours, past the name of the speed axis
_SPECK = 0.006  # half a bar that stands for one speed, as a share of it
_AXES = {"xaxis": "x2", "yaxis": "y2"}


def map_figure(content: MapContent, palette: Palette = LIGHT, height: int = HEIGHT) -> go.Figure:
    """The map as a plotly figure; `update_map` repaints it with other content.

    Parameters
    ----------
    content : MapContent
    palette : Palette
        Of what stands beside the map; on the map the colours are those that its own scale needs.
    height : int
        Of the figure, px.
    """
    figure = go.Figure(layout=_layout(palette, height))
    figure.add_trace(hatched_ground(palette))
    common = {"hoverinfo": "skip", "showscale": False, "showlegend": False, **_AXES}
    figure.add_trace(
        go.Heatmap(
            name=MAP,
            **_AXES,
            colorscale=SCALE,
            hoverongaps=False,
            zsmooth="fast",
            colorbar={
                "title": {"side": "top"},
                "orientation": "h",
                "tickmode": "array",
                "thickness": 12,
                "len": 1.0,
                "x": 0.5,
                "y": -_SCALE_BELOW / (height - _ABOVE - _BELOW),
                "yanchor": "top",
                "outlinewidth": 0,
            },
        )
    )
    figure.add_trace(_level_lines(common))
    figure.add_trace(_contour(NOMINAL, 0, {"color": LIGHT.paper, "width": 3.5, "dash": "3px,4px"}, common))
    figure.add_trace(_contour(ASSURED, content.level, {"color": LIGHT.ink, "width": 4}, common))
    figure.add_trace(
        go.Scatter(
            name=ROLLS,
            mode="lines",
            line={"color": palette.roll, "width": 1.2},
            hoverinfo="skip",
            showlegend=False,
            **_AXES,
        )
    )
    figure.add_trace(
        go.Scatter(
            name=BANDS,
            **_AXES,
            mode="lines",
            line={"color": LIGHT.ink, "width": 7},
            opacity=0.85,
            showlegend=False,
            hovertemplate="speed band of roll %{text}<br>%{x:.1f} m/min<extra></extra>",
        )
    )
    figure.add_trace(_halo())  # below the diamond, which the ring may stand round
    figure.add_trace(_point(RECOMMENDED, "diamond", 17, LIGHT.paper, LIGHT.mark))
    figure.add_trace(_point(CLOSEST, "diamond-open", 17, LIGHT.paper, LIGHT.mark))
    figure.add_trace(_point(CHOSEN, "circle-open", 20, LIGHT.mark, LIGHT.mark))
    update_map(figure, content)
    return figure


def update_map(figure: go.Figure, content: MapContent) -> None:
    """Repaint a figure made by `map_figure`; arrays are sent as flat columns, which travel fast."""
    shown = content.window_map
    grid = _columns(shown)
    joint = shown.joint.ravel().astype(np.float32)
    trace = {item.name: item for item in figure.data}
    margin = shown.margin.ravel().astype(np.float32)
    colours = colours_of(content)
    painted = colours.values.astype(np.float32)
    for name, values in ((MAP, painted), (LINES, painted), (ASSURED, joint), (NOMINAL, margin)):
        _set_changed(trace[name], **grid, z=values)
    _set_colours(trace[MAP], trace[LINES], colours)
    if trace[ASSURED].contours.start != content.level:
        trace[ASSURED].contours.update(start=content.level, end=content.level)
    _set_changed(trace[ROLLS], **_roll_lines(content))
    _set_changed(trace[BANDS], **_band_lines(content))
    _set_changed(trace[HALO], x=[content.chosen[0]], y=[content.chosen[1]])
    _set_changed(trace[CHOSEN], x=[content.chosen[0]], y=[content.chosen[1]], text=["looked at"])
    closest = None if content.nearest is None else content.nearest.spot
    for name, spot in ((RECOMMENDED, content.recommended), (CLOSEST, closest)):
        _set_changed(
            trace[name],
            x=[] if spot is None else [spot[0]],
            y=[] if spot is None else [spot[1]],
            text=[] if spot is None else [f"{name} {speed(spot[0])} m/min"],
        )
    _set_axes(figure, content)


def _set_colours(painted: go.Heatmap, lines: go.Contour, colours: Colours) -> None:
    if (painted.zmin, painted.zmax, painted.hovertemplate) == (colours.low, colours.high, _hover(colours)):
        return
    painted.update(zmin=colours.low, zmax=colours.high, hovertemplate=_hover(colours))
    painted.colorbar.update(tickvals=colours.ticks, ticktext=colours.tick_words, title_text=colours.title)
    start, end, size = colours.lines
    lines.update(zmin=colours.low, zmax=colours.high)
    lines.contours.update(start=start, end=end, size=size, labelformat=colours.line_format)


def _hover(colours: Colours) -> str:
    return f"%{{x:.1f}} m/min, %{{y:.2f}} cm³/m²<br>{colours.hover}<extra></extra>"


def _set_changed(part: Any, **values: Any) -> None:
    """Set only what differs: what is set travels to the page and is drawn again."""
    for name, value in values.items():
        before = getattr(part, name)
        if before is None or len(before) != len(value) or not _same(before, value):
            setattr(part, name, value)


def _same(before: Any, value: Any) -> bool:
    if isinstance(value, np.ndarray):
        return np.array_equal(before, value, equal_nan=True)
    return list(before) == list(value)


def _columns(shown: WindowMap) -> dict[str, np.ndarray]:
    y, x = np.meshgrid(shown.volumes, shown.speeds, indexing="ij")
    return {"x": x.ravel().astype(np.float32), "y": y.ravel().astype(np.float32)}


def _level_lines(common: dict) -> go.Contour:
    """Thin lines: light on the dark half of the scale, dark on the bright."""
    light, dark = LIGHT.paper, LIGHT.ink
    return go.Contour(
        name=LINES,
        line={"width": 1},
        colorscale=[[0, light], [0.5, light], [0.5, dark], [1, dark]],
        contours={"coloring": "lines", "showlabels": True, "labelfont": {"size": 12}},
        connectgaps=False,
        **common,
    )


def _contour(name: str, level: float, line: dict, common: dict) -> go.Contour:
    """One contour line."""
    contours = {"start": level, "end": level, "size": 1, "coloring": "none"}
    return go.Contour(name=name, line=line, contours=contours, connectgaps=False, **common)


def _point(name: str, symbol: str, size: int, fill: str, edge: str) -> go.Scatter:
    return go.Scatter(
        name=name,
        **_AXES,
        cliponaxis=False,
        mode="markers",
        showlegend=False,
        marker={"symbol": symbol, "size": size, "color": fill, "line": {"color": edge, "width": 3}},
        hovertemplate="%{text}<br>%{x:.1f} m/min, %{y:.2f} cm³/m²<extra></extra>",
    )


def _halo() -> go.Scatter:
    """A light ring under the mark of the set-up looked at, which some of the map is as dark as."""
    return go.Scatter(
        name=HALO,
        **_AXES,
        cliponaxis=False,
        mode="markers",
        showlegend=False,
        hoverinfo="skip",
        marker={
            "symbol": "circle-open",
            "size": 20,
            "color": LIGHT.paper,
            "line": {"color": LIGHT.paper, "width": 7},
        },
    )


def _roll_lines(content: MapContent) -> dict[str, list]:
    ends = [*_padded(content.window_map.speeds), None]
    return {
        "x": ends * len(content.rolls),
        "y": [y for roll in content.rolls for y in (roll.cell_volume,) * 2 + (None,)],
    }


def _band_lines(content: MapContent) -> dict[str, list]:
    x, y, text = [], [], []
    names = ["speed_low_m_min", "speed_high_m_min", "cell_volume_cm3_m2", "roll"]
    for low, high, cells, roll in zip(*(content.bands[name] for name in names)):
        one = _SPECK * low * (low == high)  # a single speed would be no bar
        x += [low - one, high + one, None]
        y += [cells, cells, None]
        text += [as_text(roll)] * 3
    return {"x": x, "y": y, "text": text}


def _layout(palette: Palette, height: int) -> dict:
    axis = palette.axis
    return {
        **palette.look,
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "margin": {"l": 62, "r": 108, "t": _ABOVE, "b": _BELOW},
        "height": height,
        "uirevision": "keep",
        "hovermode": "closest",
        "title": placed_title("") | {"pad": {"l": 12, "t": 8}, "font": {"size": 16}},
        "xaxis": HIDDEN_AXIS,
        "yaxis": HIDDEN_AXIS,
        "xaxis2": axis
        | {"title": {"text": "press speed, m/min"}, "overlaying": "x", "anchor": "y2", "side": "bottom"},
        "yaxis2": axis
        | {"title": {"text": "cell volume, cm³/m²"}, "overlaying": "y", "anchor": "x2", "side": "left"},
    }


def _set_axes(figure: go.Figure, content: MapContent) -> None:
    shown = content.window_map
    title = as_text(content.title)
    if figure.layout.title.text != title:
        figure.layout.title.text = title
    _set_changed(figure.layout.xaxis2, range=_padded(shown.speeds))
    _set_changed(figure.layout.yaxis2, range=_padded(shown.volumes))
    notes = []
    low, high = _padded(shown.volumes)
    named = [roll for roll in content.rolls if low <= roll.cell_volume <= high]
    places = moved_apart([roll.cell_volume for roll in named], 0.042 * (high - low), (low, high))
    for roll, place in zip(named, places):
        notes.append(
            {
                "xref": "paper",
                "x": 1.0,
                "xanchor": "left",
                "xshift": 4,
                "yref": "y2",
                "y": place,
                "yanchor": "middle",
                "text": f"roll {as_text(roll.id)} · {volume(roll.cell_volume)}"
                + "<br>(planned)" * roll.planned,
                "align": "left",
                "showarrow": False,
                "font": {"size": 12},
            }
        )
    notes.append(
        {
            "xref": "paper",
            "x": 0,
            "yref": "paper",
            "y": 1,
            "yanchor": "bottom",
            "xanchor": "left",
            "showarrow": False,
            "text": _legend(content),
            "align": "left",
            "font": {"size": 12},
        }
    )
    notes += _closest_note(content)
    row_notes = [(note.text, note.y) for note in figure.layout.annotations]
    if row_notes != [(note["text"], note["y"]) for note in notes]:
        figure.layout.annotations = notes


def _legend(content: MapContent) -> str:
    fit = f" · fit {content.fit}" * bool(content.fit)
    if content.nearest is None:
        return (
            f"<b>heavy outline</b> joint conformance {asked(content.level)} · <b>thin</b> 25 and 75 %"
            "<br><b>thick bars</b> speed bands of the rolls · <b>hatched</b> not tried"
            f"<br><b>dotted</b> predicted means meet every requirement{fit}"
        )
    return (
        f"<b>No roll reaches {asked(content.level)}</b>: the colours tell how close it comes"
        f"<br><b>closest set-up</b> {percent(content.nearest.joint, content.level)}"
        f"{'' if content.nearest.spot else ', at another plate or pressure'} · <b>hatched</b> not tried"
        f"<br><b>dotted</b> predicted means meet every requirement{fit}"
    )


def _closest_note(content: MapContent) -> list[dict]:
    """Words beside the closest set-up, towards the middle of the map."""
    if content.nearest is None or content.nearest.spot is None:
        return []
    (x, y), shown = content.nearest.spot, content.window_map
    left = x > (shown.speeds[0] + shown.speeds[-1]) / 2
    above = y < (shown.volumes[0] + shown.volumes[-1]) / 2
    return [
        {
            "x": x,
            "y": y,
            "xref": "x2",
            "yref": "y2",
            "ax": -34 if left else 34,
            "ay": -34 if above else 34,
            "xanchor": "right" if left else "left",
            "text": f"<b>closest: {speed(x)} m/min, {percent(content.nearest.joint, content.level)}</b>",
            "showarrow": True,
            "arrowhead": 0,
            "standoff": 11,
            "arrowcolor": LIGHT.ink,
            "font": {"size": 13, "color": LIGHT.ink},
            "bgcolor": LIGHT.veil,
            "borderpad": 3,
        }
    ]


def _padded(values: np.ndarray) -> list[float]:
    low, high = float(values.min()), float(values.max())
    room = (high - low) * 0.04 or 0.1 * high
    return [low - room, high + room]
