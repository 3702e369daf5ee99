"""The best trade-offs: speed against joint conformance, and silver against speed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pwindow.charts.along_speed import MEETS_ALL
from pwindow.charts.labels import Labels, as_text, asked_for, title
from pwindow.charts.palette import FONT, LIGHT, PERCENT_TICKS, Palette, placed_title
from pwindow.charts.roll_looks import RollLook, roll_looks
from pwindow.window.trade_offs import SPEED_AND_CONFORMANCE, SPEED_AND_SILVER
from pwindow.window.window import Window
from pwindow.wording import Units, metric, percent

_SHAPES = ("circle", "square", "diamond", "triangle-up", "pentagon", "star")
_PLOT = (700, 310)  # px of a pane in a window of 1280 px
_DRAWN = ((0.6, 2.0), (1.0, 1.2))  # how many times as wide and as high it may be
_LETTER = 6.6  # px of a label's text
_MARKER = 6  # px from the middle of a marker that labels keep off
_REACHES = [
    (24, 16),
    (14, 40),
    (40, 40),
    (90, 40),
    (20, 66),
    (60, 66),
    (130, 66),
    (24, 92),
    (24, 118),
    (24, 144),
]
_SPOTS = 7  # points of a stretch that its label may stand at
HEIGHT = 940
"""Of the figure with both panes, px."""
_TITLES = (
    "speed against the probability that all requirements are met",
    "silver against speed, assured set-ups",
)


def frontier_figure(
    window: Window, table: pd.DataFrame, palette: Palette = LIGHT, units: Units | None = None
) -> go.Figure:
    """Draw the frontiers.

    Parameters
    ----------
    window : Window
    table : DataFrame
        As `frontier` makes it; it holds what is drawn.
    palette : Palette
    units : Units, optional
        Of the picture; metric unless given.
    """
    units = units or metric(window.surfaces.trial.pressure_unit)
    with_silver = "silver_mg_m_mean" in table
    table = _in_units(table, units)
    panes = 1 + with_silver
    figure = make_subplots(panes, 1, subplot_titles=_TITLES[:panes], vertical_spacing=0.15)
    figure.update_annotations(x=0.0, xanchor="left", font={"size": 14, "color": palette.ink})
    key = window.surfaces.trial.pressure_key
    shapes = {pressure: _SHAPES[at % len(_SHAPES)] for at, pressure in enumerate(sorted(table[key].unique()))}
    silver = "silver_g_m2" if "silver_g_m2_mean" in table else "silver_mg_m"
    panels = [(SPEED_AND_CONFORMANCE, "speed_m_min", "conformance", 1)]
    panels += [(SPEED_AND_SILVER, "speed_m_min", f"{silver}_mean", 2)] if with_silver else []
    _lay_out(figure, window, silver, palette, units, with_silver=with_silver)
    if with_silver:
        figure.update_yaxes(range=_silver_range(table, panels[1]), row=2, col=1)
    for trade, x, y, pane in panels:
        _draw_frontier(figure, window, table[table["trade"] == trade], (x, y), shapes, pane, palette, units)
    figure.add_hline(y=window.level, line={"color": palette.mark, "width": 2}, row=1, col=1)
    figure.add_annotation(
        x=1.0, xref="x domain", xanchor="left", xshift=6, y=window.level, yanchor="middle", align="left",
        text=f"<b>{asked_for(window.product.assurance)}</b>", showarrow=False, font={"size": 13, "color": palette.mark}, row=1, col=1,
    )  # fmt: skip
    return figure


def _in_units(table: pd.DataFrame, units: Units) -> pd.DataFrame:
    drawn = {"speed_m_min": units.speed, "silver_mg_m_mean": units.of("mg/m")}
    return table.assign(**{name: unit.of(table[name]) for name, unit in drawn.items() if name in table})


def _silver_range(table: pd.DataFrame, panel: tuple) -> list[float]:
    trade, _, y, _ = panel
    values = table.loc[table["trade"] == trade, y]
    if values.empty:
        return [0.0, 1.0]
    room = 0.12 * (values.max() - values.min()) or 0.1 * values.max()
    return [float(values.min() - room), float(values.max() + room)]


def _draw_frontier(
    figure: go.Figure,
    window: Window,
    table: pd.DataFrame,
    axes: tuple[str, str],
    shapes: dict,
    pane: int,
    palette: Palette,
    units: Units,
) -> None:
    looks, key = roll_looks(window.rolls, palette, units), window.surfaces.trial.pressure_key
    table, (x, y) = table.sort_values("speed_m_min"), axes
    place = {"row": pane, "col": 1}
    figure.add_scatter(
        x=table[x],
        y=table[y],
        mode="lines",
        line={"color": palette.quiet, "width": 1},
        hoverinfo="skip",
        **place,
    )
    scaled = _scaled(figure, pane, table[[x, y]].to_numpy(float))
    line = np.array([[share, window.level] for share in np.linspace(0, 1, 200)])
    line[:, 1] = _scaled(figure, pane, line)[:, 1]
    drawn = [_closely(scaled), _markers(scaled), *([line] if pane == 1 else [])]
    labels = Labels(np.vstack(drawn), _PLOT, _REACHES, _LETTER, _DRAWN)
    stretch = ((table["roll"] != table["roll"].shift()) | (table[key] != table[key].shift())).cumsum()
    for _, members in table.assign(at=range(len(table))).groupby(stretch):
        first = members.iloc[0]
        look, pressure = looks[first["roll"]], units.pressure.words(first[key])
        _draw_points(
            figure,
            members,
            axes,
            look=look,
            shape=shapes[first[key]],
            pressure=pressure,
            place=place,
            palette=palette,
            level=window.level,
            units=units,
        )
        chosen = np.unique(np.linspace(0, len(members) - 1, _SPOTS).round().astype(int))
        words = f"{look.name} · {pressure}"
        off_middle = np.abs(chosen - len(members) // 2)
        at, text_at = labels.place(scaled[members["at"].to_numpy()[chosen]], 0.2 * off_middle, len(words))
        at = chosen[at]
        figure.add_annotation(
            text_at, x=members[x].iloc[at], y=members[y].iloc[at], text=as_text(words), showarrow=True,
            arrowhead=0, arrowwidth=1, arrowcolor=palette.quiet, font={"size": 12, "color": palette.ink},
            bgcolor=palette.veil, **place,
        )  # fmt: skip


def _scaled(figure: go.Figure, pane: int, points: np.ndarray) -> np.ndarray:
    """Points as shares of a pane, whose axes have their ranges."""
    axes = (next(figure.select_xaxes(row=pane, col=1)), next(figure.select_yaxes(row=pane, col=1)))
    low, high = (np.array([axis.range[end] for axis in axes]) for end in (0, 1))
    return (points - low) / (high - low)


def _closely(points: np.ndarray) -> np.ndarray:
    """Points with more of them between, along straight lines."""
    if len(points) < 2:
        return points
    at = np.linspace(0, len(points) - 1, 40 * len(points))
    return np.column_stack([np.interp(at, range(len(points)), part) for part in points.T])


def _markers(points: np.ndarray) -> np.ndarray:
    """What the markers of points cover, as shares of a pane."""
    side = np.arange(-_MARKER, _MARKER + 1)
    covered = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2) / _PLOT
    return (points[:, None] + covered).reshape(-1, 2)


def _draw_points(
    figure: go.Figure,
    members: pd.DataFrame,
    axes: tuple[str, str],
    *,
    look: RollLook,
    shape: str,
    pressure: str,
    place: dict,
    palette: Palette,
    level: float,
    units: Units,
) -> None:
    assured = members["assured"].to_numpy(bool)
    silver = members["silver_mg_m_mean"] if "silver_mg_m_mean" in members else np.full(len(members), np.nan)
    figure.add_scatter(
        x=members[axes[0]],
        y=members[axes[1]],
        mode="markers",
        name=f"{as_text(look.words)} · {pressure}",
        marker={
            "size": 9,
            "symbol": shape,
            "color": [look.colour if one else palette.paper for one in assured],
            "line": {"color": palette.ink, "width": 3}
            if look.hollow
            else {"color": look.colour, "width": 1.6},
        },
        customdata=np.column_stack([members["speed_m_min"], members["conformance"], silver]),
        text=[percent(share, level) for share in members["conformance"]],
        hovertemplate=f"{as_text(look.words)} · {pressure}, %{{customdata[0]:.1f}} {units.speed.name}<br>"
        f"all requirements met: %{{text}}<br>silver %{{customdata[2]:.3g}} {units.of('mg/m').name}<extra></extra>",
        **place,
    )


def _planned(window: Window, units: Units) -> str:
    """The planned rolls with their volumes, which labels leave out; "" without any."""
    rolls = [roll for roll in window.rolls if roll.planned]
    named = ", ".join(f"{as_text(roll.id)} {units.volume.words(roll.cell_volume)}" for roll in rolls)
    return f"planned: {named}" if named else ""


def _lay_out(
    figure: go.Figure, window: Window, silver: str, palette: Palette, units: Units, *, with_silver: bool
) -> None:
    axis = {"gridcolor": palette.faint, "zeroline": False, "showline": True, "linecolor": palette.quiet}
    text = title(
        f"{window.product.name}: best trade-offs",
        "filled: assured · open: not assured · heavy edge: planned · colour: roll · shape: pressure",
        _planned(window, units),
        f"shown above 1 % probability · fit {window.surfaces.fingerprint}",
    )
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        height=HEIGHT if with_silver else 560,
        margin={"l": 80, "r": 100, "t": 56 + 21 * (1 + text.count("<br>")), "b": 60},
        hovermode="closest",
        title=placed_title(text),
    )
    figure.update_xaxes(title={"text": f"press speed, {units.speed.name}"}, **axis)
    tried = units.speed.of(window.surfaces.trial.prints["speed"])
    room = 0.04 * (tried.max() - tried.min()) or 1.0
    figure.update_xaxes(range=[tried.min() - room, tried.max() + room])
    figure.update_yaxes(axis)
    figure.update_yaxes(title={"text": MEETS_ALL}, **PERCENT_TICKS, range=[-0.03, 1.04], row=1, col=1)
    if with_silver:
        words = (
            "silver per printed area, g/m²"
            if silver == "silver_g_m2"
            else f"silver per length of line, {units.of('mg/m').name}"
        )
        figure.update_yaxes(title={"text": words}, row=2, col=1)
