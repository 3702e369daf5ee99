"""Merging of close lines: probability that a gap bridges along the plate gap, a curve and a band for each pressure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from pwindow.charts.labels import Labels, as_text, title
from pwindow.charts.palette import FONT, LIGHT, Palette, placed_title
from pwindow.window.merging import SHARES, WITHIN, Merging, by_pressure
from pwindow.wording import METRIC, Unit, Units, listed, percent

HEIGHT = 560
"""Of the figure, px."""
_LEAST = 1e-5  # probability at which the axis ends
_RANGE = (-5.0, 0.08)  # of its logarithms
_TICKS = {
    1.0: "100 %", 0.5: "1 in 2", 0.1: "1 in 10", 0.01: "1 in 100", 1e-3: "1 in 1,000", 1e-4: "1 in 10,000",
    1e-5: "1 in 100,000",
}  # fmt: skip
_PLOT = (430, 310)  # px that the plot has at the least
_DRAWN = ["plate_gap_um", "bridged", "bridged_low", "bridged_high"]
_OPACITY = 0.16  # of a band
_DASHES = ("solid", "dash", "dot", "dashdot")


def drawable(found: Merging) -> bool:
    """Whether at any pressure so many gaps bridge that there is a curve to draw."""
    return bool((found.curves["bridged"] >= _LEAST).any())


def merging_figure(found: Merging, palette: Palette = LIGHT, units: Units | None = None) -> go.Figure:
    """Draw how probably a gap bridges.

    Parameters
    ----------
    found : Merging
        It holds what is drawn.
    palette : Palette
    units : Units, optional
        Of the picture; metric unless given.
    """
    units = units or METRIC
    figure, length = go.Figure(), units.of("µm")
    curves = {
        pressure: rows
        for pressure, rows in by_pressure(found.curves, found.pressure_key).items()
        if rows["bridged"].max() >= _LEAST
    }
    for at, (pressure, rows) in enumerate(curves.items()):
        look = {"color": _colour(at, palette), "dash": _DASHES[at % len(_DASHES)], "width": 3}
        _draw_band(figure, rows, length, _colour(at, palette))
        _draw_curve(figure, rows, length, look, units.pressure.words(pressure))
    for at, pressure in enumerate(curves):
        gaps = found.plate_gaps[found.plate_gaps[found.pressure_key] == pressure]
        _mark_shares(figure, gaps, found.tried, length, (_colour(at, palette), palette.paper))
    for share in SHARES:
        figure.add_hline(y=share, line={"color": palette.quiet, "width": 1, "dash": "dot"})
    _lay_out(figure, found, curves, palette, units)
    _label_curves(figure, found, curves, palette, units)
    return figure


def _colour(at: int, palette: Palette) -> str:
    return palette.rolls[at % len(palette.rolls)]


def _draw_band(figure: go.Figure, rows: pd.DataFrame, length: Unit, colour: str) -> None:
    x = length.of(rows["plate_gap_um"])
    low, high = (rows[f"bridged_{end}"].clip(lower=_LEAST / 10.0) for end in ("low", "high"))
    figure.add_scatter(
        x=[*x, *x[::-1]], y=[*low, *high[::-1]], fill="toself", fillcolor=colour, opacity=_OPACITY, mode="lines",
        line={"width": 0}, name="band", hoverinfo="skip",
    )  # fmt: skip


def _draw_curve(figure: go.Figure, rows: pd.DataFrame, length: Unit, look: dict, pressure: str) -> None:
    text = [
        f"{length.words(gap)} plate gap at {pressure}<br>bridges with {_chance(bridged)}<br>"
        f"95 % interval {_chance(low)} to {_chance(high)}"
        for gap, bridged, low, high in rows[_DRAWN].to_numpy(float)
    ]
    figure.add_scatter(
        x=length.of(rows["plate_gap_um"]), y=rows["bridged"], text=text, name=pressure, mode="lines" if len(rows) > 1 else "markers",
        line=look, marker={"color": look["color"], "size": 10}, hovertemplate="%{text}<extra></extra>",
    )  # fmt: skip


def _chance(probability: float) -> str:
    if probability >= 0.001:
        return percent(probability)
    return f"1 in {1.0 / probability:,.2g}" if probability >= _LEAST else "less than 1 in 100,000"


def _mark_shares(
    figure: go.Figure, gaps: pd.DataFrame, tried: tuple[float, float], length: Unit, colours: tuple[str, str]
) -> None:
    """Plate gaps of the shares with their intervals, which reach to the edge where they end beyond it."""
    known, (line, ground) = gaps[gaps["tried"] == WITHIN], colours
    x = length.of(known["plate_gap_um"])
    low = length.of(known["plate_gap_low_um"].fillna(tried[0]))
    high = length.of(known["plate_gap_high_um"].fillna(tried[1]))
    figure.add_scatter(
        x=x, y=known["bridged"], mode="markers", name="shares", hoverinfo="skip",
        marker={"size": 9, "color": ground, "line": {"color": line, "width": 2}},
        error_x={"array": high - x, "arrayminus": x - low, "symmetric": False, "color": line, "thickness": 1.6, "width": 5},
    )  # fmt: skip


def _label_curves(
    figure: go.Figure, found: Merging, curves: dict[float, pd.DataFrame], palette: Palette, units: Units
) -> None:
    """Name the pressure of each curve, where its label covers the least."""
    places = {pressure: _shares_of_plot(rows, found.tried) for pressure, rows in curves.items()}
    drawn = np.vstack([np.empty((0, 2)), *places.values(), _bars(found)])
    labels, length = Labels(drawn, _PLOT, [(26, 14), (40, 30), (60, 50), (90, 70)]), units.of("µm")
    for at, (pressure, points) in enumerate(places.items()):
        words = f"pressure {units.pressure.words(pressure)}"
        spots = points[:: max(len(points) // 12, 1)]
        chosen, text_at = labels.place(spots, 20.0 * np.abs(spots[:, 1] - 0.6), len(words))
        x, y = spots[chosen]
        figure.add_annotation(
            {"text": as_text(words)} | text_at,
            x=length.of(found.tried[0] + x * (found.tried[1] - found.tried[0])),
            y=_RANGE[0] + y * (_RANGE[1] - _RANGE[0]), showarrow=True, arrowhead=0, arrowwidth=1,
            arrowcolor=_colour(at, palette), font={"size": 13, "color": palette.ink}, bgcolor=palette.veil, borderpad=1,
        )  # fmt: skip


def _bars(found: Merging) -> np.ndarray:
    """The intervals of plate gaps, as shares of the plot, closely."""
    known = found.plate_gaps[found.plate_gaps["tried"] == WITHIN]
    low, width = found.tried[0], (found.tried[1] - found.tried[0]) or 1.0
    ends = np.column_stack(
        [
            known["plate_gap_low_um"].fillna(found.tried[0]),
            known["plate_gap_high_um"].fillna(found.tried[1]),
        ]
    )
    x = (np.linspace(ends[:, 0], ends[:, 1], 100) - low) / width
    y = (np.log10(known["bridged"].to_numpy(float)) - _RANGE[0]) / (_RANGE[1] - _RANGE[0])
    return np.column_stack([x.ravel(), np.broadcast_to(y, x.shape).ravel()])


def _shares_of_plot(rows: pd.DataFrame, tried: tuple[float, float]) -> np.ndarray:
    """The curve that is seen, as shares of the plot, closely."""
    width = (tried[1] - tried[0]) or 1.0
    x = (rows["plate_gap_um"].to_numpy(float) - tried[0]) / width
    y = (np.log10(rows["bridged"].to_numpy(float).clip(min=1e-300)) - _RANGE[0]) / (_RANGE[1] - _RANGE[0])
    at = np.linspace(x[0], x[-1], 400 if len(x) > 1 else 1)
    points = np.column_stack([at, np.interp(at, x, y)])
    return points[points[:, 1] >= 0.0]


def _lay_out(
    figure: go.Figure, found: Merging, curves: dict[float, pd.DataFrame], palette: Palette, units: Units
) -> None:
    length = units.of("µm")
    axis = {"gridcolor": palette.faint, "zeroline": False, "showline": True, "linecolor": palette.quiet}
    ends = [float(length.of(end)) for end in found.tried]
    room = 0.02 * (ends[1] - ends[0]) or 0.05 * ends[0]
    place = [
        f"{units.speed.words(found.speed)}, {units.volume.words(found.cell_volume)}",
        *([f"plate {as_text(found.plate)}"] if found.plate else []),
    ]
    text = title(
        "Merging of close lines: probability that a gap bridges",
        " · ".join(place),
        "one gap of a print of a new make-ready · bands and bars: 95 % intervals",
        _undrawn(found, curves, units),
    )
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        height=HEIGHT,
        margin={"l": 140, "r": 40, "t": 34 + 21 * (1 + text.count("<br>")), "b": 60},
        hovermode="closest",
        title=placed_title(text),
        xaxis=axis
        | {"title": {"text": f"plate gap, {length.name}"}, "range": [ends[0] - room, ends[1] + room]},
        yaxis=axis
        | {
            "type": "log", "range": list(_RANGE), "tickmode": "array", "tickvals": list(_TICKS),
            "ticktext": list(_TICKS.values()), "title": {"text": "probability that a gap bridges", "standoff": 12},
        },
    )  # fmt: skip


def _undrawn(found: Merging, curves: dict[float, pd.DataFrame], units: Units) -> str:
    """The pressures without a curve, in words."""
    below: list[str] = []
    away: list[str] = []
    for pressure, rows in by_pressure(found.curves, found.pressure_key).items():
        if pressure not in curves:
            (away if rows["bridged"].isna().all() else below).append(units.pressure.words(pressure))
    said = [
        f"{what}: {listed(which)}"
        for what, which in (("less than 1 in 100,000 bridge", below), ("not within what was tried", away))
        if which
    ]
    return " · ".join(said)
