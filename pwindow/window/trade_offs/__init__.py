"""Trade-offs of a window: along speed, one step further, the frontier, side by side, plate against plate."""

from pwindow.window.trade_offs.along_speed import along_speed
from pwindow.window.trade_offs.shown import (
    CONFORMANCE,
    SILVER,
    SILVER_OF_AREA,
    Shown,
    predict_shown,
    shown_quantities,
    silver_notes,
)

__all__ = [
    "CONFORMANCE",
    "SILVER",
    "SILVER_OF_AREA",
    "Shown",
    "along_speed",
    "predict_shown",
    "shown_quantities",
    "silver_notes",
]
