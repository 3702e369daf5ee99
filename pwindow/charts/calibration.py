"""The picture of a calibration: stated against realised conformance."""

from __future__ import annotations

import plotly.graph_objects as go

from pwindow.charts.labels import as_text
from pwindow.charts.palette import FONT, LIGHT, PERCENT_TICKS, Palette, placed_title
from pwindow.window.calibration import Calibration


def calibration_figure(found: Calibration, product: str, fit: str, palette: Palette = LIGHT) -> go.Figure:
    """Draw stated against observed probabilities.

    Parameters
    ----------
    found : Calibration
    product : str
        Name of the product.
    fit : str
        Fingerprint of the fit that was the truth.
    palette : Palette
    """
    table, best = found.to_frame(), found.recommended
    figure = go.Figure()
    figure.add_scatter(
        x=[0, 1],
        y=[0, 1],
        mode="lines",
        line={"color": palette.quiet, "width": 1, "dash": "dot"},
        hoverinfo="skip",
    )
    figure.add_scatter(
        x=table["stated"],
        y=table["realised"],
        mode="lines+markers",
        line={"color": palette.ink, "width": 1},
        marker={"color": palette.ink, "size": 9},
        error_y={"array": 2.0 * table["std_error"], "color": palette.ink, "thickness": 1.5},
        customdata=table["judgements"],
        hovertemplate="stated %{x:.3f}, observed %{y:.3f}, %{customdata} set-ups<extra></extra>",
    )
    if len(best):
        figure.add_scatter(
            x=[best["stated"].mean()],
            y=[best["realised"].mean()],
            mode="markers+text",
            marker={
                "color": palette.paper,
                "size": 15,
                "symbol": "diamond",
                "line": {"color": palette.mark, "width": 4},
            },
            text=["recommended"],
            textposition="bottom left",
            hovertemplate="recommended: stated %{x:.3f}, observed %{y:.3f}<extra></extra>",
        )
    axis = {"range": [-0.02, 1.02], "gridcolor": palette.faint, "zeroline": False} | PERCENT_TICKS
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 14, "color": palette.ink},
        width=760,
        height=720,
        margin={"l": 80, "r": 30, "t": 90, "b": 70},
        title=placed_title(
            f"{as_text(product)}: {found.trials} simulated trials of this layout<br>"
            "<sub>dotted: observed as stated · above it: cautious · bars: two standard errors · "
            f"fit {fit}</sub>"
        ),
        xaxis=axis | {"title": {"text": "stated probability that all requirements are met"}},
        yaxis=axis
        | {"title": {"text": "observed share of runs that meet all requirements"}, "scaleanchor": "x"},
    )
    return figure
