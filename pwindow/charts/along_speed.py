"""One quantity of the next print along the press speed, a line and a band for each roll."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from pwindow.charts.palette import FONT, LIGHT, Palette
from pwindow.charts.roll_looks import RollLook, roll_looks
from pwindow.window.trade_offs import CONFORMANCE, Shown, shown_quantities
from pwindow.window.window import Window

_ROOM = 0.055  # between labels, as a share of the axis
_HEIGHTS = (0.6, 0.35, 0.75, 0.5)  # of labels on curves of conformance
_OPACITY, _OPACITIES = 0.13, 0.45  # of one band, and of all of them over one another


def along_speed_names(window: Window, plate: str) -> dict[str, str]:
    """What `along_speed_figure` can draw: words by name."""
    shown = shown_quantities(window, plate)
    return {name: one.label for name, one in shown.items()} | {CONFORMANCE: "joint conformance probability"}


def along_speed_figure(
    window: Window,
    table: pd.DataFrame,
    name: str,
    plate: str,
    pressure: float,
    palette: Palette = LIGHT,
) -> go.Figure:
    """Draw one quantity against speed.

    Parameters
    ----------
    window : Window
    table : DataFrame
        As `along_speed` makes it at this plate process and pressure; it holds what is drawn.
    name : str
        One of `along_speed_names`.
    plate : str
    pressure : float
        In the trial's unit of pressure.
    palette : Palette
    """
    looks = roll_looks(window.rolls, palette)
    shown = None if name == CONFORMANCE else shown_quantities(window, plate)[name]
    figure = go.Figure()
    by_roll = dict(iter(table.groupby("roll", sort=False)))
    if shown is not None:
        for roll, members in by_roll.items():
            _draw_band(figure, members, shown, looks[roll].pale(min(_OPACITY, _OPACITIES / len(by_roll))))
    for members in by_roll.values():
        _draw_casing(figure, members, shown, palette)
    for roll, members in by_roll.items():
        _draw_line(figure, members, shown, looks[roll])
    limits = _limits(window, shown)
    y_range = _range(table, shown, [limit for limit, _ in limits])
    for limit, words in limits:
        _draw_limit(figure, limit, words, shown is None, palette)
    _lay_out(figure, window, shown, plate, pressure, y_range, palette)
    if shown is None:
        _label_falls(figure, by_roll, looks, palette)
    else:
        _label_ends(figure, by_roll, shown, looks, y_range, palette)
        longest = max((len(looks[roll].words) for roll in by_roll), default=0)
        figure.update_layout(margin={"r": min(45 + 7.5 * longest, 280)})
    if table["speed_m_min"].nunique() > 1:
        figure.update_xaxes(range=[table["speed_m_min"].min(), table["speed_m_min"].max()])
    return figure


def _mean(members: pd.DataFrame, shown: Shown | None) -> pd.Series:
    return members[CONFORMANCE] if shown is None else members[f"{shown.key}_mean"]


def _draw_band(figure: go.Figure, members: pd.DataFrame, shown: Shown, fill: str) -> None:
    speeds = members["speed_m_min"]
    low, high = (members[f"{shown.key}_obs_ci_{end}"] for end in ("low", "high"))
    figure.add_scatter(
        x=[*speeds, *speeds[::-1]],
        y=[*low, *high[::-1]],
        fill="toself",
        fillcolor=fill,
        line={"width": 0},
        mode="lines",
        name="band",
        hoverinfo="skip",
    )


def _draw_casing(figure: go.Figure, members: pd.DataFrame, shown: Shown | None, palette: Palette) -> None:
    """Light beneath a line, which sets it off from bands that lie over one another."""
    line = {"color": palette.paper, "width": 6}
    figure.add_scatter(
        x=members["speed_m_min"], y=_mean(members, shown), mode="lines", line=line, opacity=0.8,
        name="casing", hoverinfo="skip",
    )  # fmt: skip


def _draw_line(figure: go.Figure, members: pd.DataFrame, shown: Shown | None, look: RollLook) -> None:
    """A thin line along all speeds, and a thick one over it where the set-up is assured."""
    mean, unit = _mean(members, shown), "" if shown is None else f" {shown.unit}"
    low, high = (mean if shown is None else members[f"{shown.key}_obs_ci_{end}"] for end in ("low", "high"))
    number, share = (
        (":.1%", "")
        if shown is None
        else (":.3g", "<br>95 % of next prints %{customdata[0]:.3g} to %{customdata[1]:.3g}")
    )
    hover = {
        "customdata": np.column_stack([low, high, members[CONFORMANCE]]),
        "hovertemplate": f"{escape(look.words)}, %{{x:.1f}} m/min<br>%{{y{number}}}{unit}"
        + (f"{share}{unit}<br>joint conformance %{{customdata[2]:.1%}}" if shown is not None else "")
        + "<extra></extra>",
    }
    assured = members["assured"].to_numpy(bool)
    # both parts hold the point where they meet
    elsewhere = ~assured | ~np.append(assured[1:], True) | ~np.insert(assured[:-1], 0, True)
    for where, width, words in ((elsewhere, 1.4, ""), (assured, 4.5, ", assured")):
        figure.add_scatter(
            x=members["speed_m_min"],
            y=mean.where(where),
            mode="lines",
            connectgaps=False,
            line={"color": look.colour, "dash": look.dash, "width": width},
            name=escape(look.words) + words,
            **hover,
        )


def _limits(window: Window, shown: Shown | None) -> list[tuple[float, str]]:
    """Limits of what is drawn, and their words."""
    if shown is None:
        return [(window.level, f"assurance asked for: {window.level:.1%}".replace(".0%", "%"))]
    if shown.requirement is None:
        return []
    words = (("at least", shown.requirement.least), ("at most", shown.requirement.most))
    return [(limit, f"{said} {limit:g} {shown.unit}") for said, limit in words if limit is not None]


def _draw_limit(figure: go.Figure, limit: float, words: str, below: bool, palette: Palette) -> None:
    figure.add_hline(y=limit, line={"color": palette.mark, "width": 2})
    figure.add_annotation(
        x=0.996 if below else 0.004, xref="paper", xanchor="right" if below else "left", y=limit,
        yanchor="top" if below else "bottom", text=f"<b>{words}</b>",
        showarrow=False, font={"size": 13, "color": palette.mark}, bgcolor=palette.veil, borderpad=1,
    )  # fmt: skip


def _range(table: pd.DataFrame, shown: Shown | None, limits: Sequence[float]) -> tuple[float, float]:
    if shown is None:
        return -0.02, 1.04
    ends = table[[f"{shown.key}_obs_ci_low", f"{shown.key}_obs_ci_high"]].to_numpy(float).ravel()
    values = np.concatenate([ends[np.isfinite(ends)], limits])
    if not len(values):
        return 0.0, 1.0
    low, high = float(values.min()), float(values.max())
    room = 0.05 * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room


def _label_ends(
    figure: go.Figure, by_roll: dict, shown: Shown, looks: dict[str, RollLook], y_range, palette: Palette
) -> None:
    """Name each roll where its line ends, moved apart where lines end together."""
    ends = {roll: float(_mean(members, shown).iloc[-1]) for roll, members in by_roll.items()}
    ends = {roll: end for roll, end in ends.items() if np.isfinite(end)}
    places = moved_apart(list(ends.values()), _ROOM * (y_range[1] - y_range[0]), y_range)
    for (roll, end), place in zip(ends.items(), places):
        at = float(by_roll[roll]["speed_m_min"].iloc[-1])
        _label(
            figure, (at, end), looks[roll], {"ax": 26, "ay": place, "ayref": "y", "xanchor": "left"}, palette
        )


def _label_falls(figure: go.Figure, by_roll: dict, looks: dict[str, RollLook], palette: Palette) -> None:
    """Name each roll on the flank where its conformance last falls, each on another height than the next."""
    for at, (roll, members) in enumerate(by_roll.items()):
        values = members[CONFORMANCE].to_numpy()
        above = np.flatnonzero(values >= _HEIGHTS[at % len(_HEIGHTS)])
        spot = above[-1] if len(above) else len(values) // 2
        place = (float(members["speed_m_min"].iloc[spot]), float(values[spot]))
        _label(figure, place, looks[roll], {"ax": 22, "ay": -14, "xanchor": "left"}, palette)


def _label(
    figure: go.Figure, place: tuple[float, float], look: RollLook, text_at: dict, palette: Palette
) -> None:
    figure.add_annotation(
        x=place[0], y=place[1], **text_at, text=escape(look.words), showarrow=True, arrowhead=0, arrowwidth=1,
        arrowcolor=look.colour, font={"size": 13, "color": palette.ink}, bgcolor=palette.veil, borderpad=1,
    )  # fmt: skip


def moved_apart(values: Sequence[float], room: float, within: tuple[float, float]) -> list[float]:
    """Places for labels near their values, at least `room` apart, in the order of the values.

    Examples
    --------
    >>> moved_apart([1.0, 1.0, 5.0], 1.0, (0.0, 10.0))
    [0.5, 1.5, 5.0]
    """
    order = np.argsort(values, kind="stable")
    clusters: list[list[float]] = []  # [sum of values, count]
    for value in np.asarray(values, float)[order]:
        clusters.append([value, 1])
        while len(clusters) > 1 and _end(clusters[-2], room) > _start(clusters[-1], room) - room:
            total, count = clusters.pop()
            clusters[-1] = [clusters[-1][0] + total, clusters[-1][1] + count]
    sorted_places = [_start(cluster, room) + at * room for cluster in clusters for at in range(cluster[1])]
    if not sorted_places:
        return []
    moved = np.asarray(sorted_places) - max(sorted_places[-1] - within[1], 0.0)
    places = np.empty(len(values))
    places[order] = moved + max(within[0] - moved[0], 0.0)
    return places.tolist()


def _start(cluster: Sequence[float], room: float) -> float:
    return cluster[0] / cluster[1] - room * (cluster[1] - 1) / 2.0


def _end(cluster: Sequence[float], room: float) -> float:
    return cluster[0] / cluster[1] + room * (cluster[1] - 1) / 2.0


def _lay_out(
    figure: go.Figure,
    window: Window,
    shown: Shown | None,
    plate: str,
    pressure: float,
    y_range,
    palette: Palette,
) -> None:
    trial = window.surfaces.trial
    what = "joint conformance probability" if shown is None else f"{shown.label}, {shown.unit}"
    where = f"{pressure:g} {trial.pressure_unit}" + (f" · plate {escape(plate)}" if plate else "")
    bands = "" if shown is None else " · bands: 95 % of next prints"
    axis = {"gridcolor": palette.faint, "zeroline": False, "showline": True, "linecolor": palette.quiet}
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        height=560,
        margin={"l": 80, "r": 60, "t": 90, "b": 60},
        hovermode="closest",
        title={
            "text": f"{escape(window.product.name)}: {what}<br><sub>{where}{bands} · thick: assured, "
            f"{window.level:.1%} jointly · thin: not · fit {window.surfaces.fingerprint}</sub>".replace(
                ".0%", "%"
            )
        },
        xaxis=axis | {"title": {"text": "press speed, m/min"}},
        yaxis=axis
        | {"title": {"text": what}, "range": list(y_range), "tickformat": ".0%" if shown is None else ""},
    )
