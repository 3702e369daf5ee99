"""Figures made from results; no widget here."""

from pwindow.charts.window_map import MapContent, update_figure, window_figure

__all__ = ["MapContent", "update_figure", "window_figure"]
