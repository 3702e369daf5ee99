"""The window as a picture: joint conformance over speed and cell volume, with the rolls drawn in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.isolines import isolines
from pwindow.charts.labels import as_text, key_note, moved_apart
from pwindow.charts.map_colours import Colours, colours_of, hatched_ground
from pwindow.charts.map_content import MapContent, Spot
from pwindow.charts.palette import FONT, HIDDEN_AXIS, LIGHT, Palette, placed_title
from pwindow.window.search.inner import InnerSet
from pwindow.window.search.maps import WindowMap
from pwindow.wording import asked, listed, speed, volume

(
    MAP,
    LINES,
    ASSURED,
    STATED,
    INNER,
    NOMINAL,
    ELSEWHERE,
    ROLLS,
    ROLL_NAMES,
    BANDS,
    RECOMMENDED,
    CLOSEST,
    HALO,
    CHOSEN,
) = (
    "map",
    "lines",
    "assured",
    "stated",
    "inner",
    "nominal",
    "elsewhere",
    "rolls",
    "roll names",
    "bands",
    "recommended",
    "closest",
    "halo",
    "chosen",
)
HEIGHT = 620
"""Of the figure, px, where its place does not give it one."""
_ABOVE, _BELOW, _LEFT, _RIGHT = 66, 96, 60, 158  # px round the map
_KEY_BELOW, _KEY_LINE = 52, 16  # px from the map; of a line more
_SPECK = 0.006  # half a bar that stands for one speed, as a share of it
_AXES = {"xaxis": "x2", "yaxis": "y2"}
_GAP = "\u00a0"  # from the axis to the names of rolls
_DOTTED, _DASHED, _MIXED = "2px,4px", "7px,4px", "9px,3px,2px,3px"


def map_figure(content: MapContent, palette: Palette = LIGHT, height: int | None = HEIGHT) -> go.Figure:
    """The map as a plotly figure; `update_map` repaints it with other content.

    Parameters
    ----------
    content : MapContent
    palette : Palette
    height : int, optional
        Of the figure, px; None where its place gives it one.
    """
    figure = go.Figure(layout=_layout(palette, height))
    figure.add_trace(hatched_ground(palette))
    figure.add_trace(
        go.Heatmap(
            name=MAP,
            **_AXES,
            showlegend=False,
            colorscale=list(palette.scale),
            hoverongaps=False,
            zsmooth="fast",
            colorbar={
                "title": {"side": "right", "font": {"size": 12}},
                "tickmode": "array",
                "thickness": 12,
                "len": 1.0,
                "xref": "container",
                "x": 1.0,
                "xanchor": "right",
                "xpad": 4,
                "outlinewidth": 0,
                "tickfont": {"size": 12},
            },
        )
    )
    ink = {"color": palette.ink}
    figure.add_trace(_lines(LINES, ink | {"width": 1}))
    figure.add_trace(_lines(NOMINAL, ink | {"width": 2.5, "dash": _DOTTED}))
    figure.add_trace(_lines(STATED, ink | {"width": 2, "dash": _MIXED}))
    figure.add_trace(_lines(INNER, {"color": palette.mark, "width": 2.5}))
    figure.add_trace(_lines(ASSURED, ink | {"width": 4}))
    figure.add_trace(
        _lines(ELSEWHERE, ink | {"width": 1.8, "dash": _DASHED}).update(
            mode="lines+text", textposition="middle right", textfont={"size": 12, "color": palette.ink}
        )
    )
    figure.add_trace(_lines(ROLLS, {"color": palette.roll, "width": 1.2}))
    figure.add_trace(_labels(ROLL_NAMES, palette).update(cliponaxis=False))
    figure.add_trace(
        go.Scatter(
            name=BANDS,
            **_AXES,
            mode="lines",
            line={"color": palette.ink, "width": 7},
            opacity=0.85,
            showlegend=False,
        )
    )
    figure.add_trace(_halo(palette))  # below the diamond, which the ring may stand round
    figure.add_trace(_point(RECOMMENDED, "diamond", 17, palette.paper, palette.mark))
    figure.add_trace(_point(CLOSEST, "diamond-open", 17, palette.paper, palette.mark))
    figure.add_trace(_point(CHOSEN, "circle-open", 20, palette.mark, palette.mark))
    update_map(figure, content, palette)
    return figure


def update_map(figure: go.Figure, content: MapContent, palette: Palette) -> None:
    """Repaint a figure made by `map_figure`; arrays are sent as flat columns, which travel fast.

    Parameters
    ----------
    figure : Figure
    content : MapContent
    palette : Palette
        The one it was drawn in.
    """
    shown = content.window_map
    trace = {item.name: item for item in figure.data}
    colours = colours_of(content)
    painted = colours.values.ravel().astype(np.float32)
    _set_changed(trace[MAP], **_columns(shown), z=painted)
    for name, values, levels in (
        (LINES, colours.values, colours.lines),
        (ASSURED, shown.held, [content.level]),
        (STATED, shown.joint, [] if shown.at_least is None else [content.level]),
        (NOMINAL, shown.margin, [0.0]),
    ):
        _set_changed(trace[name], **isolines(shown, values, levels))
    _set_changed(trace[INNER], **_inner_line(content))
    place = f"%{{x:.1f}} {content.units.speed.name}, %{{y:.2f}} {content.units.volume.name}"
    _set_colours(trace[MAP], colours, place)
    _set_hovers(trace, place, content.units.speed.name)
    _set_changed(trace[ELSEWHERE], **_outlines(content))
    _set_changed(trace[ROLLS], **_roll_lines(content))
    _set_changed(trace[ROLL_NAMES], **_roll_names(content, palette))
    _set_changed(trace[BANDS], **_band_lines(content))
    _set_changed(trace[HALO], x=[content.chosen[0]], y=[content.chosen[1]])
    _set_changed(trace[CHOSEN], x=[content.chosen[0]], y=[content.chosen[1]], text=["selected"])
    closest = None if content.nearest is None else content.nearest.spot
    for name, spot in ((RECOMMENDED, content.recommended), (CLOSEST, closest)):
        _set_changed(
            trace[name],
            x=[] if spot is None else [spot[0]],
            y=[] if spot is None else [spot[1]],
            text=[] if spot is None else [f"{name} {speed(spot[0])} {content.units.speed.name}"],
        )
    _set_axes(figure, content, palette, colours)


def _set_colours(painted: go.Heatmap, colours: Colours, place: str) -> None:
    hover = f"{place}<br>{colours.hover}<extra></extra>"
    if (painted.zmin, painted.zmax, painted.hovertemplate) == (colours.low, colours.high, hover):
        return
    painted.update(zmin=colours.low, zmax=colours.high, hovertemplate=hover)
    painted.colorbar.update(tickvals=colours.ticks, ticktext=colours.tick_words, title_text=colours.title)


def _set_hovers(trace: Mapping[str, go.Scatter], place: str, speeds: str) -> None:
    words = dict.fromkeys((RECOMMENDED, CLOSEST, CHOSEN), f"%{{text}}<br>{place}<extra></extra>")
    words[BANDS] = f"speed band of roll %{{text}}<br>%{{x:.1f}} {speeds}<extra></extra>"
    for name, hover in words.items():
        if trace[name].hovertemplate != hover:
            trace[name].hovertemplate = hover


def _set_changed(part: Any, **values: Any) -> None:
    """Set only what differs: what is set travels to the page and is drawn again."""
    for name, value in values.items():
        before = part[name]
        if before is None or len(before) != len(value) or not _same(before, value):
            part[name] = value


def _same(before: Any, value: Any) -> bool:
    if isinstance(value, np.ndarray):
        return np.array_equal(before, value, equal_nan=True)
    return list(before) == list(value)


def _columns(shown: WindowMap) -> dict[str, np.ndarray]:
    y, x = np.meshgrid(shown.volumes, shown.speeds, indexing="ij")
    return {"x": x.ravel().astype(np.float32), "y": y.ravel().astype(np.float32)}


def _labels(name: str, palette: Palette) -> go.Scatter:
    return go.Scatter(
        name=name,
        mode="text",
        textfont={"size": 12, "color": palette.ink},
        hoverinfo="skip",
        showlegend=False,
        **_AXES,
    )


def _lines(name: str, line: dict) -> go.Scatter:
    return go.Scatter(name=name, mode="lines", line=line, hoverinfo="skip", showlegend=False, **_AXES)


def _point(name: str, symbol: str, size: int, fill: str, edge: str) -> go.Scatter:
    return go.Scatter(
        name=name,
        **_AXES,
        cliponaxis=False,
        mode="markers",
        showlegend=False,
        marker={"symbol": symbol, "size": size, "color": fill, "line": {"color": edge, "width": 3}},
    )


def _halo(palette: Palette) -> go.Scatter:
    """A ring of the ground's colour under the mark of the selected set-up, which keeps it off the map."""
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
            "color": palette.paper,
            "line": {"color": palette.paper, "width": 7},
        },
    )


def _inner_line(content: MapContent) -> dict:
    """Round the set-ups that reach the level all at once."""
    inner = content.inner
    if inner is None or inner.least is None:
        return {"x": [], "y": []}
    return isolines(inner, inner.share, [inner.least])


def _label_spot(shown: WindowMap, level: float, taken: Sequence[float]) -> Spot | None:
    """A place on the line of a level that is as far as any from volumes where something else is."""
    for ends in reversed(shown.edges(level)):
        known = np.flatnonzero(np.isfinite(ends))
        if len(known):
            at = _clear_row(shown.volumes[known], taken)
            return float(ends[known][at]), float(shown.volumes[known][at])
    return None


def _clear_row(volumes: np.ndarray, taken: Sequence[float]) -> int:
    """Which of some volumes is farthest from those that are taken, and from both ends."""
    lines = [volumes[0], volumes[-1], *taken]
    return int(np.abs(np.subtract.outer(volumes, lines)).min(axis=1).argmax())


def _outlines(content: MapContent) -> dict[str, list]:
    """The ends of the assured region at other pressures, each with its pressure beside it."""
    taken = _volumes(content)
    x, y, text = [], [], []
    for name, shown in content.elsewhere:
        spot = _label_spot(shown, content.level, taken)
        if spot is None:
            continue
        line = isolines(shown, shown.held, [content.level])
        x += [*line["x"], None, spot[0], None]
        y += [*line["y"], None, spot[1], None]
        text += [""] * (len(line["x"]) + 1) + [2 * _GAP + name, ""]
    return {"x": x, "y": y, "text": text}


def _volumes(content: MapContent) -> list[float]:
    """Where the rolls lie on the axis."""
    return [content.units.volume.of(roll.cell_volume) for roll in content.rolls]


def _roll_lines(content: MapContent) -> dict[str, list]:
    ends = [*_padded(content.window_map.speeds), None]
    return {
        "x": ends * len(content.rolls),
        "y": [y for at in _volumes(content) for y in (at, at, None)],
    }


def _band_lines(content: MapContent) -> dict[str, list]:
    x, y, text = [], [], []
    labels = {roll.id: roll.label for roll in content.rolls}
    names = ("speed_low_m_min", "speed_high_m_min", "cell_volume_cm3_m2")
    units = (content.units.speed, content.units.speed, content.units.volume)
    ends = [unit.of(content.bands[name]) for unit, name in zip(units, names)]
    for low, high, cells, roll in zip(*ends, content.bands["roll"]):
        one = _SPECK * low * (low == high)  # a single speed would be no bar
        x += [low - one, high + one, None]
        y += [cells, cells, None]
        text += [as_text(labels.get(roll, roll))] * 3
    return {"x": x, "y": y, "text": text}


def _layout(palette: Palette, height: int | None) -> dict:
    axis = palette.axis
    return {
        **palette.look,
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "margin": {"l": _LEFT, "r": _RIGHT, "t": _ABOVE, "b": _BELOW},
        "height": height,
        "uirevision": "keep",
        "hovermode": "closest",
        "dragmode": False,
        "title": placed_title("") | {"pad": {"l": 12, "t": 14}, "font": {"size": 15}},
        "xaxis": HIDDEN_AXIS,
        "yaxis": HIDDEN_AXIS,
        "xaxis2": axis
        | {
            "title": {"standoff": 10},
            "fixedrange": True,
            "overlaying": "x",
            "anchor": "y2",
            "side": "bottom",
        },
        "yaxis2": axis
        | {
            "title": {"standoff": 6},
            "fixedrange": True,
            "overlaying": "y",
            "anchor": "x2",
            "side": "left",
        },
    }


def _set_axes(figure: go.Figure, content: MapContent, palette: Palette, colours: Colours) -> None:
    shown = content.window_map
    title = as_text(content.title) + f'<br><span style="font-size:12px">{_subtitle(content)}</span>'
    if figure.layout.title.text != title:
        figure.layout.title.text = title
    for axis, words in (
        (figure.layout.xaxis2, f"press speed, {content.units.speed.name}"),
        (figure.layout.yaxis2, f"cell volume, {content.units.volume.name}"),
    ):
        if axis.title.text != words:
            axis.title.text = words
    below = _BELOW + _KEY_LINE * (content.inner is not None)
    if figure.layout.margin.b != below:
        figure.layout.margin.b = below
    _set_changed(figure.layout.xaxis2, range=_padded(shown.speeds))
    _set_changed(figure.layout.yaxis2, range=_padded(shown.volumes))
    notes = [
        key_note(_key(content, colours, palette), _LEFT, _KEY_BELOW),
        *_spot_note(content, palette),
    ]
    row_notes = [(note.text, note.y) for note in figure.layout.annotations]
    if row_notes != [(note["text"], note["y"]) for note in notes]:
        figure.layout.annotations = notes


def _roll_names(content: MapContent, palette: Palette) -> dict[str, list]:
    """Names and volumes of the rolls, beside their lines, under a heading."""
    right = _padded(content.window_map.speeds)[1]
    low, high = _padded(content.window_map.volumes)
    named = [(roll, at) for roll, at in zip(content.rolls, _volumes(content)) if low <= at <= high]
    places = moved_apart([at for _, at in named], 0.042 * (high - low), (low, high))
    words = [
        f"{_GAP}{as_text(roll.id)} · {volume(at)}" + f"<br>{_GAP}(planned)" * roll.planned
        for roll, at in named
    ]
    return {
        "x": [right] * (len(named) + 1),
        "y": [*places, high],
        "text": [*words, f"{_GAP}roll · volume"],
        "textposition": [*["middle right"] * len(named), "top right"],
        "textfont.color": [*[palette.ink] * len(named), palette.quiet],
    }


def _subtitle(content: MapContent) -> str:
    fit = f"fit {content.fit}" * bool(content.fit)
    if content.nearest is None:
        return fit or " "
    away = "" if content.nearest.spot else ", at another plate or pressure"
    best = f"no roll reaches {content.assurance.words}; closest {content.nearest.words(content.level)}{away}"
    return f"<b>{best}</b>" + f" · {fit}" * bool(fit and not away)


def _key(content: MapContent, colours: Colours, palette: Palette) -> str:
    """What the marks stand for, each beside a sign like it."""
    levels = listed([f"{100 * level:.{colours.decimals}f} %" for level in colours.lines])
    thin = f"── {levels}" * bool(levels)
    bands = "▬▬ speed band" * (content.nearest is None)
    spot = (
        "◇ recommended" * (content.recommended is not None)
        if content.nearest is None
        else "◇ closest" * (content.nearest.spot is not None)
    )
    lines = (
        _outline_key(content),
        _apart(bands, spot, "○ selected", "▨ not tried", thin),
        _inner_key(content, palette),
    )
    return "<br>".join(filter(None, lines))


def _inner_key(content: MapContent, palette: Palette) -> str:
    """What the outline of set-ups that reach the level together means; "" where it is not asked for."""
    if content.inner is None:
        return ""
    if content.inner.least is None:
        return f"no set-ups reach {content.assurance.words} together"
    sign = f'<span style="color:{palette.mark}"><b>━━</b></span>'
    outside = "; ◇ lies outside" * (not _inside(content.inner, content.recommended))
    return f"{sign} inside, all set-ups jointly: {content.assurance.words}{outside}"


def _inside(inner: InnerSet, spot: Spot | None) -> bool:
    """Whether a spot is one of the set-ups that reach the level together; where there is none, it is none outside."""
    if spot is None or inner.least is None:
        return True
    at = (
        np.abs(axis - value).argmin() for axis, value in ((inner.volumes, spot[1]), (inner.speeds, spot[0]))
    )
    return bool(inner.share[tuple(at)] >= inner.least)


def _outline_key(content: MapContent) -> str:
    level, sure = asked(content.level), content.assurance.sure
    others = "╌╌ other pressures" * bool(content.elsewhere)
    if sure:
        return _apart(f"<b>━━</b> {level}{sure}, ─·─ without", others, "⋯⋯ half or more fail")
    averages = "⋯⋯ average at a limit: half or more fail"
    if content.nearest is not None:
        return averages
    return _apart(f"<b>━━</b> {level} probability", others, averages)


def _apart(*words: str) -> str:
    return "&nbsp;&nbsp;&nbsp; ".join(filter(None, words))


def _spot_note(content: MapContent, palette: Palette) -> list[dict]:
    """Words beside the recommended set-up or the closest, towards the middle of the map."""
    nearest = content.nearest
    spot = content.recommended if nearest is None else nearest.spot
    if spot is None:
        return []
    (x, y), shown = spot, content.window_map
    left = x > (shown.speeds[0] + shown.speeds[-1]) / 2
    above = y < (shown.volumes[0] + shown.volumes[-1]) / 2
    words = (
        f"{speed(x)} {content.units.speed.name}"
        if nearest is None
        else f"closest: {speed(x)} {content.units.speed.name}, {nearest.words(content.level)}"
    )
    return [
        {
            "x": x,
            "y": y,
            "xref": "x2",
            "yref": "y2",
            "ax": -34 if left else 34,
            "ay": -34 if above else 34,
            "xanchor": "right" if left else "left",
            "text": f"<b>{words}</b>",
            "showarrow": True,
            "arrowhead": 0,
            "standoff": 11,
            "arrowcolor": palette.ink,
            "font": {"size": 13, "color": palette.ink},
            "bgcolor": palette.veil,
            "borderpad": 3,
        }
    ]


def _padded(values: np.ndarray) -> list[float]:
    low, high = float(values.min()), float(values.max())
    room = (high - low) * 0.04 or 0.1 * high
    return [low - room, high + room]
