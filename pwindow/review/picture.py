"""Pictures of the window around a set-up."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from pwindow.charts import MapContent, along_speed_figure, content_at, window_figure
from pwindow.window.search.maps import window_map
from pwindow.window.search.starting import StartingSetup
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, along_speed
from pwindow.window.window import Window

WINDOW_HEIGHT = 420  # px: as high as fits on the first page


def around(window: Window, setup: Setup, bands: pd.DataFrame, start: StartingSetup | None) -> MapContent:
    """What the picture of the window shows at the plate and pressure of a set-up.

    Parameters
    ----------
    window : Window
    setup : Setup
    bands : DataFrame
        Speed bands at that plate and pressure.
    start : StartingSetup or None
        The recommended set-up or the closest, drawn where it lies on this map.
    """
    return content_at(window, setup, window_map(window, setup.plate, setup.pressure), bands, start)


def pictures(
    window: Window, setup: Setup, bands: pd.DataFrame, start: StartingSetup | None, limiting: str
) -> dict[str, go.Figure]:
    """The pictures of a report: the window, and along the speed conformance and what limits it.

    Parameters
    ----------
    window, setup, bands, start
        As of `around`.
    limiting : str
        The requirement whose quantity is drawn along the speed.
    """
    place = setup.plate, setup.pressure
    table = along_speed(window, *place)
    return {
        "window": window_figure(around(window, setup, bands, start), height=WINDOW_HEIGHT),
        "conformance": along_speed_figure(window, table, CONFORMANCE, *place),
        "limiting": along_speed_figure(window, table, limiting, *place),
    }
