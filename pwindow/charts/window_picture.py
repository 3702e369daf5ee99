"""The window as a picture: a map, or a curve where the trial varied one of speed and cell volume only."""

from __future__ import annotations

import plotly.graph_objects as go

from pwindow.charts.map_content import MapContent
from pwindow.charts.palette import LIGHT, Palette
from pwindow.charts.window_curve import CURVE, axis_title, curve_figure, update_curve
from pwindow.charts.window_map import HEIGHT, map_figure, update_map


def window_figure(content: MapContent, palette: Palette = LIGHT, height: int | None = HEIGHT) -> go.Figure:
    """The picture as a plotly figure; `update_figure` repaints it with other content of its form.

    Parameters
    ----------
    content : MapContent
    palette : Palette
    height : int, optional
        Of the figure, px; None where its place gives it one.
    """
    if content.along is None:
        return map_figure(content, palette, height)
    return curve_figure(content, palette, height)


def same_form(figure: go.Figure, content: MapContent) -> bool:
    """Whether a figure of `window_figure` can be repainted with other content."""
    if content.along is None:
        return not _is_curve(figure)
    return _is_curve(figure) and figure.layout.xaxis2.title.text == axis_title(content)


def update_figure(figure: go.Figure, content: MapContent, palette: Palette = LIGHT) -> None:
    """Repaint a figure that has the form of the content.

    Parameters
    ----------
    figure : Figure
        As `window_figure` makes it.
    content : MapContent
        Of the form of the figure; see `same_form`.
    palette : Palette
        The one it was drawn in.
    """
    if _is_curve(figure):
        update_curve(figure, content, palette)
    else:
        update_map(figure, content, palette)


def _is_curve(figure: go.Figure) -> bool:
    return any(trace.name == CURVE for trace in figure.data)
