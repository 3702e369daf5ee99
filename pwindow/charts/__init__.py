"""Figures made from results; no widget here."""

from typing import TYPE_CHECKING

from pwindow.names import loading

if TYPE_CHECKING:
    from pwindow.charts.agreement import agreement_figure
    from pwindow.charts.along_speed import along_speed_figure
    from pwindow.charts.before_after import before_after_figure
    from pwindow.charts.calibration import calibration_figure
    from pwindow.charts.frontier import frontier_figure
    from pwindow.charts.merging import merging_figure
    from pwindow.charts.window_picture import window_figure

__all__ = [
    "agreement_figure",
    "along_speed_figure",
    "before_after_figure",
    "calibration_figure",
    "frontier_figure",
    "merging_figure",
    "window_figure",
]

# what draws is loaded by what is drawn: a page has no use for most of it
__getattr__ = loading(
    __name__,
    {
        "agreement_figure": "pwindow.charts.agreement",
        "along_speed_figure": "pwindow.charts.along_speed",
        "before_after_figure": "pwindow.charts.before_after",
        "calibration_figure": "pwindow.charts.calibration",
        "frontier_figure": "pwindow.charts.frontier",
        "merging_figure": "pwindow.charts.merging",
        "window_figure": "pwindow.charts.window_picture",
    },
)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
