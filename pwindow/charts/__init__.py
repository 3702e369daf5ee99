"""Figures made from results; no widget here."""

from pwindow.charts.agreement import agreement_figure
from pwindow.charts.along_speed import along_speed_figure, along_speed_names
from pwindow.charts.before_after import before_after_figure
from pwindow.charts.calibration import calibration_figure
from pwindow.charts.frontier import frontier_figure
from pwindow.charts.map_content import MapContent, Nearest, content_at
from pwindow.charts.window_picture import same_form, update_figure, window_figure

__all__ = [
    "MapContent",
    "Nearest",
    "agreement_figure",
    "along_speed_figure",
    "along_speed_names",
    "before_after_figure",
    "calibration_figure",
    "content_at",
    "frontier_figure",
    "same_form",
    "update_figure",
    "window_figure",
]
