"""The window of a trial with one cell volume, or one speed: joint conformance along the other."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from pwindow.charts.labels import as_text, asked_for
from pwindow.charts.map_colours import hatched_ground
from pwindow.charts.map_content import MapContent, Spot
from pwindow.charts.palette import FONT, HIDDEN_AXIS, Palette, placed_title
from pwindow.study import Roll
from pwindow.wording import Unit, listed, percent, speed, volume

CURVE, TRIED, BANDS, RECOMMENDED, CLOSEST, CHOSEN = (
    "curve",
    "tried",
    "bands",
    "recommended",
    "closest",
    "chosen",
)
_AXES = {"xaxis": "x2", "yaxis": "y2"}
_SHARES = (-0.03, 1.04)
_NAMED = 5  # rolls that were not tried
_SAME = 1e-6  # relative difference of volumes that are one


def curve_figure(content: MapContent, palette: Palette, height: int | None) -> go.Figure:
    """Draw the joint conformance probability along the one setting that was varied.

    Parameters
    ----------
    content : MapContent
        Of one cell volume, or of one speed.
    palette : Palette
    height : int, optional
        Of the figure, px; None where its place gives it one.
    """
    figure = go.Figure(layout=_layout(content, palette, height))
    x, joint = _curve(content)
    figure.add_trace(hatched_ground(palette))
    figure.add_trace(_tried(x, joint, palette))
    figure.add_trace(
        go.Scatter(
            name=CURVE, **_AXES, x=x, y=joint, mode="lines", connectgaps=False,
            line={"color": palette.ink, "width": 3, "simplify": False}, text=_hover_texts(content, x, joint),
            hovertemplate="%{text}<extra></extra>",
        )
    )  # fmt: skip
    figure.add_trace(_bands(content, palette))
    closest = None if content.nearest is None else content.nearest.spot
    for name, spot, symbol, size, fill in (
        (RECOMMENDED, content.recommended, "diamond", 17, palette.paper),
        (CLOSEST, closest, "diamond-open", 17, palette.paper),
        (CHOSEN, content.chosen, "circle-open", 20, palette.mark),
    ):
        figure.add_trace(_mark(name, _place(content, spot), symbol, size, fill, palette))
    figure.layout.annotations = _notes(content, palette)
    return figure


def update_curve(figure: go.Figure, content: MapContent, palette: Palette) -> None:
    """Repaint a figure made by `curve_figure` with other content of the same form.

    Parameters
    ----------
    figure : Figure
    content : MapContent
    palette : Palette
        The one it was drawn in.
    """
    fresh = curve_figure(content, palette, figure.layout.height)
    for old, new in zip(figure.data, fresh.data):
        old.update(x=new.x, y=new.y, text=new.text)
    figure.layout.xaxis2.range = fresh.layout.xaxis2.range
    figure.layout.title.text = fresh.layout.title.text
    figure.layout.shapes, figure.layout.annotations = fresh.layout.shapes, fresh.layout.annotations


def axis_title(content: MapContent) -> str:
    """What the curve runs along."""
    words = "press speed" if _along(content) == "speed" else "cell volume"
    return f"{words}, {_unit(content).name}"


def _unit(content: MapContent) -> Unit:
    return content.units.speed if _along(content) == "speed" else content.units.volume


def _along(content: MapContent) -> str:
    if content.along is None:
        raise ValueError("the trial varied speed and cell volume: its window is a map, not a curve")
    return content.along


def _curve(content: MapContent) -> tuple[np.ndarray, np.ndarray]:
    shown = content.window_map
    return (shown.volumes if content.along == "cell_volume" else shown.speeds), shown.held.ravel()


def _bounded(content: MapContent) -> str:
    """That the curve is what the probability is at least, where a confidence is asked for."""
    return f", at least{content.assurance.sure}" if content.assurance.sure else ""


def _hover_texts(content: MapContent, x: np.ndarray, joint: np.ndarray) -> list[str]:
    unit = _unit(content)
    return [
        f"{unit.write(at)} {unit.name}<br>all requirements met{_bounded(content)}: {percent(share, content.level)}"
        if np.isfinite(share)
        else ""
        for at, share in zip(x, joint)
    ]


def _tried(x: np.ndarray, joint: np.ndarray, palette: Palette) -> go.Scatter:
    """Plain ground under the part of the axis that the trial region has."""
    known = x[np.isfinite(joint)]
    low, high = (float(known[0]), float(known[-1])) if len(known) else (0.0, 0.0)
    return go.Scatter(
        name=TRIED,
        **_AXES,
        x=[low, low, high, high] if high > low else [],
        y=[_SHARES[0], _SHARES[1], _SHARES[1], _SHARES[0]] if high > low else [],
        fill="toself",
        fillcolor=palette.paper,
        mode="lines",
        line={"width": 1, "color": palette.quiet},
        hoverinfo="skip",
    )


def _bands(content: MapContent, palette: Palette) -> go.Scatter:
    """What is assured, thick on the axis."""
    x, text = [], []
    labels = {roll.id: roll.label for roll in content.rolls}
    for band, low, high in zip(content.bands.itertuples(), *_ends(content)):
        if content.along == "speed":
            x += [low, high, None]
            text += [
                f"speed band of roll {as_text(labels[str(band.roll)])}<br>{speed(low)} to {speed(high)} {content.units.speed.name}"
            ] * 3
        else:
            x += [content.units.volume.of(band.cell_volume_cm3_m2), None]
            text += [f"roll {as_text(labels[str(band.roll)])}: assured"] * 2
    return go.Scatter(
        name=BANDS,
        **_AXES,
        x=x,
        y=[None if at is None else 0.0 for at in x],
        text=text,
        mode="lines" if content.along == "speed" else "markers",
        line={"color": palette.ink, "width": 11},
        marker={
            "color": palette.ink,
            "size": 15,
            "symbol": "line-ns",
            "line": {"width": 7, "color": palette.ink},
        },
        hovertemplate="%{text}<extra></extra>",
    )


def _mark(
    name: str, place: tuple[float, float] | None, symbol: str, size: int, fill: str, palette: Palette
) -> go.Scatter:
    return go.Scatter(
        name=name,
        **_AXES,
        x=[] if place is None else [place[0]],
        y=[] if place is None else [place[1]],
        text=["selected" if name == CHOSEN else name],
        cliponaxis=False,
        mode="markers",
        marker={"symbol": symbol, "size": size, "color": fill, "line": {"color": palette.mark, "width": 3}},
        hovertemplate="%{text}<extra></extra>",
    )


def _place(content: MapContent, spot: Spot | None) -> tuple[float, float] | None:
    """Where a set-up stands on the curve; nowhere if it was not tried or is of another volume or speed."""
    if spot is None:
        return None
    shown, along = content.window_map, content.along
    at, held = (spot[0], spot[1]) if along == "speed" else (spot[1], spot[0])
    kept = shown.volumes[0] if along == "speed" else shown.speeds[0]
    x, joint = _curve(content)
    known = np.isfinite(joint)
    if not known.any() or abs(held / kept - 1.0) > _SAME or not x[known][0] <= at <= x[known][-1]:
        return None
    return float(at), float(np.interp(at, x[known], joint[known]))


def _layout(content: MapContent, palette: Palette, height: int | None) -> dict:
    x, _ = _curve(content)
    axis = palette.axis
    level = {
        "type": "line", "xref": "x2 domain", "x0": 0, "x1": 1, "yref": "y2", "y0": content.level,
        "y1": content.level, "line": {"color": palette.mark, "width": 2},
    }  # fmt: skip
    return {
        **palette.look,
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "margin": {"l": 92, "r": 108, "t": 94, "b": 70},
        "title": placed_title(as_text(content.title)) | {"pad": {"l": 12, "t": 8}, "font": {"size": 16}},
        "height": height,
        "hovermode": "closest",
        "xaxis": HIDDEN_AXIS,
        "yaxis": HIDDEN_AXIS,
        "xaxis2": axis
        | {"title": {"text": axis_title(content)}, "overlaying": "x", "anchor": "y2", "range": _padded(x)},
        "yaxis2": axis
        | {
            "title": {
                "text": f"probability that all requirements are met{_bounded(content).replace(', ', ',<br>')}",
                "standoff": 16,
            },
            "overlaying": "y",
            "anchor": "x2",
            "range": list(_SHARES),
            "tickmode": "array",
            "tickvals": [0, 0.25, 0.5, 0.75, 1],
            "ticktext": ["0 %", "25 %", "50 %", "75 %", "100 %"],
        },
        "shapes": [level, *_roll_lines(content, palette)],
    }


def _roll_lines(content: MapContent, palette: Palette) -> list[dict]:
    if content.along == "speed":
        return []
    return [
        {
            "type": "line", "xref": "x2", "x0": _at(content, roll), "x1": _at(content, roll), "yref": "y2 domain",
            "y0": 0, "y1": 1, "line": {"color": palette.faint, "width": 1.2},
        }
        for roll in _tried_rolls(content)
    ]  # fmt: skip


def _tried_rolls(content: MapContent) -> list[Roll]:
    """Rolls of the inventory whose volume lies in what was tried."""
    low, high = (float(end(content.window_map.volumes)) for end in (np.min, np.max))
    return [roll for roll in content.rolls if low * (1 - _SAME) <= _at(content, roll) <= high * (1 + _SAME)]


def _at(content: MapContent, roll: Roll) -> float:
    return content.units.volume.of(roll.cell_volume)


def _notes(content: MapContent, palette: Palette) -> list[dict]:
    top = {
        "xref": "paper", "x": 0, "yref": "paper", "y": 1, "yanchor": "bottom", "xanchor": "left",
        "showarrow": False, "align": "left", "font": {"size": 12}, "text": _legend(content),
    }  # fmt: skip
    level = {
        "xref": "paper", "x": 1.0, "xanchor": "left", "xshift": 6, "yref": "y2", "y": content.level,
        "yanchor": "middle", "showarrow": False, "align": "left",
        "text": f"<b>{asked_for(content.assurance)}</b>",
        "font": {"size": 12, "color": palette.mark},
    }  # fmt: skip
    notes = [top, level, *_band_notes(content, palette), *_closest_note(content, palette)]
    if content.along == "cell_volume":
        notes += [
            {
                "xref": "x2", "x": _at(content, roll), "yref": "paper", "y": 0.03, "yanchor": "bottom",
                "textangle": -90, "xshift": -8, "showarrow": False, "font": {"size": 12},
                "text": f"roll {as_text(roll.label)} · {content.units.volume.number(roll.cell_volume)}",
            }
            for roll in _tried_rolls(content)
        ]  # fmt: skip
    return notes


def _band_notes(content: MapContent, palette: Palette) -> list[dict]:
    """The ends of what is assured, above the thick bar."""
    if content.along != "speed":
        return []
    ends = set(zip(*_ends(content)))
    return [
        {
            "xref": "x2", "x": low, "xanchor": "left", "yref": "y2", "y": 0.0, "yanchor": "bottom", "yshift": 8,
            "showarrow": False, "font": {"size": 13, "color": palette.ink}, "bgcolor": palette.veil,
            "text": f"<b>assured: {speed(low)} to {speed(high)} {content.units.speed.name}</b>",
        }
        for low, high in sorted(ends)
    ]  # fmt: skip


def _ends(content: MapContent) -> tuple[pd.Series, pd.Series]:
    low, high = (content.units.speed.of(content.bands[f"speed_{end}_m_min"]) for end in ("low", "high"))
    return low, high


def _closest_note(content: MapContent, palette: Palette) -> list[dict]:
    nearest = content.nearest
    place = None if nearest is None else _place(content, nearest.spot)
    if nearest is None or place is None:
        return []
    x, _ = _curve(content)
    left = place[0] > (x[0] + x[-1]) / 2
    place_words = f"{_unit(content).write(place[0])} {_unit(content).name}"
    return [
        {
            "xref": "x2", "yref": "y2", "x": place[0], "y": place[1], "ax": -40 if left else 40,
            "ay": -34 if place[1] < 0.5 else 70, "xanchor": "right" if left else "left", "showarrow": True, "arrowhead": 0,
            "standoff": 11, "arrowcolor": palette.ink, "font": {"size": 13, "color": palette.ink},
            "bgcolor": palette.veil, "borderpad": 3,
            "text": f"<b>closest: {place_words}, {nearest.words(content.level)}</b>",
        }
    ]  # fmt: skip


def _legend(content: MapContent) -> str:
    shown, tried = content.window_map, _tried_rolls(content)
    names = listed([f"roll {as_text(roll.label)}" for roll in tried])
    if content.along == "speed":
        only = f"{volume(shown.volumes[0])} {content.units.volume.name}"
        lead = f"<b>One cell volume was tried</b>, {only}" + f": {names}" * bool(tried)
    else:
        lead = f"<b>One speed was tried</b>, {speed(shown.speeds[0])} {content.units.speed.name}"
    if content.nearest is None:
        state = "<b>thick on the axis</b> assured"
    else:
        state = f"<b>no roll reaches {content.assurance.words}</b>"
        state += "" if content.nearest.spot else ", closest at another plate or pressure"
    fit = f" · fit {content.fit}" * bool(content.fit)
    nor = _untried(content, tried)
    marks = "".join(
        f" · {sign} {name}"
        for sign, name, spot in (
            ("◇", RECOMMENDED, content.recommended),
            ("◇", CLOSEST, None if content.nearest is None else content.nearest.spot),
            ("○", "selected", content.chosen),
        )
        if _place(content, spot) is not None
    )
    return f"{lead}<br><b>line</b> probability · {state}{marks}<br><b>hatched</b> not tried{nor}{fit}"


def _untried(content: MapContent, tried: list[Roll]) -> str:
    """The rolls of the inventory that the trial says nothing about, the first few by name."""
    away = [as_text(roll.label) for roll in content.rolls if roll not in tried]
    if not away:
        return ""
    more = f" and {len(away) - _NAMED} more" * (len(away) > _NAMED)
    return f", nor roll{'s' * (len(away) > 1)} {', '.join(away[:_NAMED])}{more}"


def _padded(values: np.ndarray) -> list[float]:
    low, high = float(values.min()), float(values.max())
    room = (high - low) * 0.04 or 0.1 * high
    return [low - room, high + room]
