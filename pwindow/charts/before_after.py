"""The window of a product before and after a refit, in one picture."""

from __future__ import annotations

from html import escape

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.palette import FAINT, FONT, INK, MARK, PAPER, QUIET
from pwindow.window.refits import SideBySide


def before_after_figure(shown: SideBySide) -> go.Figure:
    """Draw the outlines of the assured window on two fits, and how the recommended set-up moved."""
    before, after, recommended = shown.before, shown.after, shown.recommended
    figure = go.Figure()
    speeds = np.concatenate([before.speeds, after.speeds])
    for roll in shown.rolls:
        figure.add_scatter(
            x=[speeds.min(), speeds.max()],
            y=[roll.cell_volume] * 2,
            mode="lines+text",
            line={"color": FAINT, "width": 1},
            text=["", f"roll {escape(roll.id)} · {roll.cell_volume:.3g}"],
            textposition="top left",
            textfont={"size": 11, "color": QUIET},
            hoverinfo="skip",
        )
    for window, name, line in (
        (before, "before", {"color": QUIET, "width": 2, "dash": "dash"}),
        (after, "after", {"color": INK, "width": 4}),
    ):
        figure.add_contour(
            x=window.speeds,
            y=window.volumes,
            z=window.joint,
            name=name,
            contours={
                "start": shown.level,
                "end": shown.level,
                "size": 1,
                "coloring": "none",
                "showlabels": False,
            },
            line=line,
            showscale=False,
            hovertemplate=f"{name}<br>%{{x:.1f}} m/min, %{{y:.2f}} cm³/m²: %{{z:.1%}}<extra></extra>",
        )
    for spot, name, fill in zip(recommended, ("before", "after"), (PAPER, MARK)):
        if spot is not None:
            figure.add_scatter(
                x=[spot[0]],
                y=[spot[1]],
                mode="markers+text",
                marker={"size": 15, "symbol": "diamond", "color": fill, "line": {"color": MARK, "width": 3}},
                text=[f"{name}: {spot[0]:g} m/min"],
                textposition="bottom right" if name == "before" else "top left",
                hoverinfo="skip",
            )
    axis = {"gridcolor": PAPER, "zeroline": False, "showline": True, "linecolor": QUIET}
    figure.update_layout(
        template="none",
        paper_bgcolor=PAPER,
        plot_bgcolor=PAPER,
        font={"family": FONT, "size": 14, "color": INK},
        showlegend=False,
        height=620,
        margin={"l": 80, "r": 30, "t": 90, "b": 70},
        title={
            "text": f"{escape(shown.title)}<br><sub>outlines of {shown.level:.1%} joint conformance: dashed before, heavy after"
            "</sub>"
        },
        xaxis=axis
        | {"title": {"text": "press speed, m/min"}, "range": [speeds.min() - 2, speeds.max() + 12]},
        yaxis=axis | {"title": {"text": "cell volume, cm³/m²"}},
    )
    return figure
