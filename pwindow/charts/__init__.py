"""Figures made from results; no widget here."""

from pwindow.charts.calibration import calibration_figure
from pwindow.charts.window_map import MapContent, update_figure, window_figure

__all__ = ["MapContent", "calibration_figure", "update_figure", "window_figure"]
