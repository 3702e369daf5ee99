"""The window of a product before and after a refit, in one picture."""

from __future__ import annotations

import plotly.graph_objects as go

from pwindow.charts.labels import as_text
from pwindow.charts.palette import FONT, LIGHT, Palette, placed_title
from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap
from pwindow.wording import asked, speed, volume
from pwindow.workflows.compare import SideBySide


def before_after_figure(shown: SideBySide, palette: Palette = LIGHT) -> go.Figure:
    """Draw the outlines of the assured window on two fits, and how the recommended set-up moved."""
    low, high = (float(end([*shown.before.speeds, *shown.after.speeds])) for end in (min, max))
    figure = go.Figure()
    for roll in shown.rolls:
        _draw_roll(figure, roll, low, high, palette)
    _draw_outline(
        figure, shown.before, shown.level, "before", {"color": palette.quiet, "width": 2, "dash": "dash"}
    )
    _draw_outline(figure, shown.after, shown.level, "after", {"color": palette.ink, "width": 4})
    for spot, name, fill in zip(shown.recommended, ("before", "after"), (palette.paper, palette.mark)):
        if spot is not None:
            _draw_recommended(figure, spot, name, fill, palette)
    axis = {"gridcolor": palette.paper, "zeroline": False, "showline": True, "linecolor": palette.quiet}
    before, after = shown.fits
    title = (
        f"{as_text(shown.title)}<br><sub>outlines: {asked(shown.level)} joint conformance<br>dashed: before (fit {before}), "
        f"heavy: after (fit {after}){'<br>' * bool(shown.elsewhere)}{as_text(shown.elsewhere)}</sub>"
    )
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        height=630,
        margin={"l": 80, "r": 30, "t": 125 if shown.elsewhere else 105, "b": 70},
        title=placed_title(title),
        xaxis=axis | {"title": {"text": "press speed, m/min"}, "range": [low - 2, high + 12]},
        yaxis=axis | {"title": {"text": "cell volume, cm³/m²"}},
    )
    return figure


def _draw_roll(figure: go.Figure, roll: Roll, low: float, high: float, palette: Palette) -> None:
    figure.add_scatter(
        x=[low, high],
        y=[roll.cell_volume] * 2,
        mode="lines+text",
        line={"color": palette.faint, "width": 1},
        text=["", f"roll {as_text(roll.label)} · {volume(roll.cell_volume)}"],
        textposition="top left",
        textfont={"size": 11, "color": palette.quiet},
        hoverinfo="skip",
    )


def _draw_outline(figure: go.Figure, window: WindowMap, level: float, name: str, line: dict) -> None:
    figure.add_contour(
        x=window.speeds,
        y=window.volumes,
        z=window.joint,
        name=name,
        contours={"start": level, "end": level, "size": 1, "coloring": "none", "showlabels": False},
        line=line,
        showscale=False,
        hovertemplate=f"{name}<br>%{{x:.1f}} m/min, %{{y:.2f}} cm³/m²<extra></extra>",
    )


def _draw_recommended(
    figure: go.Figure, spot: tuple[float, float], name: str, fill: str, palette: Palette
) -> None:
    figure.add_scatter(
        x=[spot[0]],
        y=[spot[1]],
        mode="markers+text",
        marker={"size": 15, "symbol": "diamond", "color": fill, "line": {"color": palette.mark, "width": 3}},
        text=[f"{name}: {speed(spot[0])} m/min"],
        textposition="bottom right" if name == "before" else "top left",
        hoverinfo="skip",
    )
