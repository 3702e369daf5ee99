"""Pictures of the window around a set-up."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import plotly.graph_objects as go

from pwindow.charts.along_speed import along_speed_figure
from pwindow.charts.map_content import MapContent, content_at
from pwindow.charts.window_picture import window_figure
from pwindow.window.search.maps import window_map
from pwindow.window.search.starting import StartingSetup
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, along_speed
from pwindow.window.window import Window

WINDOW_HEIGHT = 420  # px: as high as fits on the first page


@dataclass(frozen=True)
class Pictures:
    """The window around a set-up, and along the speed the joint conformance and what limits the set-up."""

    window: go.Figure
    conformance: go.Figure
    limiting: go.Figure


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
) -> Pictures:
    """The pictures of a report.

    Parameters
    ----------
    window : Window
    setup : Setup
    bands : DataFrame
        Speed bands at its plate and pressure.
    start : StartingSetup or None
        The recommended set-up or the closest.
    limiting : str
        The requirement whose quantity is drawn along the speed.
    """
    place = setup.plate, setup.pressure
    table = along_speed(window, *place)
    return Pictures(
        window=window_figure(around(window, setup, bands, start), height=WINDOW_HEIGHT),
        conformance=along_speed_figure(window, table, CONFORMANCE, *place),
        limiting=along_speed_figure(window, table, limiting, *place),
    )
