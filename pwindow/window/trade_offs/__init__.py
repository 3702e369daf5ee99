"""Trade-offs of a window: along speed, one step further, moved limits, the frontier, side by side, plate against plate."""

from pwindow.window.setup import Setup, with_planned_roll
from pwindow.window.trade_offs.along_speed import along_speed
from pwindow.window.trade_offs.frontier import (
    SILVER_AND_CONFORMANCE,
    SPEED_AND_CONFORMANCE,
    SPEED_AND_SILVER,
    frontier,
)
from pwindow.window.trade_offs.moved_limits import LimitTrades, MovedLimits, Then, limit_trades, move_limits
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
    "LimitTrades",
    "MovedLimits",
    "PlatesCompared",
    "Setup",
    "Shown",
    "Then",
    "along_speed",
    "frontier",
    "limit_trades",
    "limits_of_mean",
    "move_limits",
    "plates_compared",
    "predict_shown",
    "sensitivities",
    "shown_quantities",
    "side_by_side",
    "silver_notes",
    "with_planned_roll",
]
