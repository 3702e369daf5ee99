"""Figures made from results; no widget here."""

from pwindow.charts.agreement import agreement_figure
from pwindow.charts.before_after import before_after_figure
from pwindow.charts.calibration import calibration_figure
from pwindow.charts.window_map import MapContent, update_figure, window_figure

__all__ = [
    "MapContent",
    "agreement_figure",
    "before_after_figure",
    "calibration_figure",
    "update_figure",
    "window_figure",
]
