"""The window of a product before and after a refit, in one picture."""

from __future__ import annotations

import plotly.graph_objects as go

from pwindow.charts.labels import as_text
from pwindow.charts.palette import FONT, LIGHT, Palette, placed_title
from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap
from pwindow.wording import Units, asked, metric, setup_words
from pwindow.workflows.compare import SideBySide


def before_after_figure(shown: SideBySide, palette: Palette = LIGHT, units: Units | None = None) -> go.Figure:
    """Draw the outlines of the assured window on two fits, and how the recommended set-up moved.

    Parameters
    ----------
    shown : SideBySide
    palette : Palette
    units : Units, optional
        Of the picture; metric unless given.
    """
    units = units or metric(shown.pressure_unit)
    low, high = (
        units.speed.of(float(end([*shown.before.speeds, *shown.after.speeds]))) for end in (min, max)
    )
    figure = go.Figure()
    for roll in shown.rolls:
        _draw_roll(figure, roll, (low, high), palette, units)
    pale = {"color": palette.quiet, "width": 2, "dash": "dash"}
    level = shown.assurance.level
    _draw_outline(figure, shown.before, level, "before", pale, units)
    _draw_outline(figure, shown.after, level, "after", {"color": palette.ink, "width": 4}, units)
    for spot, name, fill in zip(shown.recommended, ("before", "after"), (palette.paper, palette.mark)):
        if spot is not None:
            _draw_recommended(figure, spot, name, fill, palette, units)
    axis = {"gridcolor": palette.paper, "zeroline": False, "showline": True, "linecolor": palette.quiet}
    (before, after), elsewhere = shown.fits, _elsewhere(shown, units)
    title = (
        f"{as_text(_heading(shown, units))}<br><sub>outlines: {asked(level)} probability{shown.assurance.sure}<br>dashed: before (fit {before}), "
        f"heavy: after (fit {after}){'<br>' * bool(elsewhere)}{as_text(elsewhere)}</sub>"
    )
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        height=630,
        margin={"l": 80, "r": 30, "t": 125 if elsewhere else 105, "b": 70},
        title=placed_title(title),
        xaxis=axis
        | {
            "title": {"text": f"press speed, {units.speed.name}"},
            "range": [low - 0.02 * (high - low), high + 0.13 * (high - low)],
        },
        yaxis=axis | {"title": {"text": f"cell volume, {units.volume.name}"}},
    )
    return figure


def _heading(shown: SideBySide, units: Units) -> str:
    place = [*[shown.plate] * bool(shown.plate), units.pressure.words(shown.pressure)]
    return f"{shown.product}: {', '.join(place)}"


def _elsewhere(shown: SideBySide, units: Units) -> str:
    """Where the earlier fit recommends to run, where that is not on the maps; "" elsewhere."""
    at = shown.elsewhere
    if at is None:
        return ""
    return f"before: {setup_words(at.roll.label, at.pressure, units, at.speed, at.plate)} (not on this map)"


def _draw_roll(
    figure: go.Figure, roll: Roll, ends: tuple[float, float], palette: Palette, units: Units
) -> None:
    figure.add_scatter(
        x=list(ends),
        y=[units.volume.of(roll.cell_volume)] * 2,
        mode="lines+text",
        line={"color": palette.faint, "width": 1},
        text=["", f"roll {as_text(roll.label)} · {units.volume.number(roll.cell_volume)}"],
        textposition="top left",
        textfont={"size": 11, "color": palette.quiet},
        hoverinfo="skip",
    )


def _draw_outline(
    figure: go.Figure, window: WindowMap, level: float, name: str, line: dict, units: Units
) -> None:
    figure.add_contour(
        x=units.speed.of(window.speeds),
        y=units.volume.of(window.volumes),
        z=window.held,
        name=name,
        contours={"start": level, "end": level, "size": 1, "coloring": "none", "showlabels": False},
        line=line,
        showscale=False,
        hovertemplate=f"{name}<br>%{{x:.1f}} {units.speed.name}, %{{y:.2f}} {units.volume.name}<extra></extra>",
    )


def _draw_recommended(
    figure: go.Figure, spot: tuple[float, float], name: str, fill: str, palette: Palette, units: Units
) -> None:
    figure.add_scatter(
        x=[units.speed.of(spot[0])],
        y=[units.volume.of(spot[1])],
        mode="markers+text",
        marker={"size": 15, "symbol": "diamond", "color": fill, "line": {"color": palette.mark, "width": 3}},
        text=[f"{name}: {units.speed.words(spot[0])}"],
        textposition="bottom right" if name == "before" else "top left",
        hoverinfo="skip",
    )
