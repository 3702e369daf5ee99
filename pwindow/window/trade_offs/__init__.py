"""Trade-offs of a window: along speed, one step further, the frontier, side by side, plate against plate."""

from pwindow.window.setup import Setup, with_planned_roll
from pwindow.window.trade_offs.along_speed import along_speed
from pwindow.window.trade_offs.frontier import (
    SILVER_AND_CONFORMANCE,
    SPEED_AND_CONFORMANCE,
    SPEED_AND_SILVER,
    frontier,
)
from pwindow.window.trade_offs.plates import AS_PRINTED, COMMON_WIDTH, PlatesCompared, plates_compared
from pwindow.window.trade_offs.sensitivities import sensitivities
from pwindow.window.trade_offs.shown import (
    CONFORMANCE,
    INTERVALS,
    SILVER,
    SILVER_OF_AREA,
    Shown,
    limits_of_mean,
    predict_shown,
    shown_quantities,
    silver_notes,
)
from pwindow.window.trade_offs.side_by_side import side_by_side

__all__ = [
    "AS_PRINTED",
    "COMMON_WIDTH",
    "CONFORMANCE",
    "INTERVALS",
    "SILVER",
    "SILVER_AND_CONFORMANCE",
    "SILVER_OF_AREA",
    "SPEED_AND_CONFORMANCE",
    "SPEED_AND_SILVER",
    "PlatesCompared",
    "Setup",
    "Shown",
    "along_speed",
    "frontier",
    "limits_of_mean",
    "plates_compared",
    "predict_shown",
    "sensitivities",
    "shown_quantities",
    "side_by_side",
    "silver_notes",
    "with_planned_roll",
]
