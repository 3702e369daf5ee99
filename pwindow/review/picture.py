"""Pictures of the window around a set-up."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import plotly.graph_objects as go

from pwindow.charts import MapContent, along_speed_figure, window_figure
from pwindow.charts.window_map import map_title
from pwindow.window.maps import window_map
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, along_speed
from pwindow.window.window import Window

WINDOW_HEIGHT = 420  # px: as high as fits on the first page


def around(window: Window, setup: Setup, bands: pd.DataFrame, best: Mapping | None) -> MapContent:
    """What the picture of the window shows at the plate and pressure of a set-up.

    Parameters
    ----------
    window : Window
    setup : Setup
    bands : DataFrame
        Speed bands at that plate and pressure.
    best : mapping or None
        The recommended set-up, drawn where it lies on this map.
    """
    key, spot = window.surfaces.trial.pressure_key, None
    if best is not None and (best["plate"], float(best[key])) == (setup.plate, setup.pressure):
        spot = (best["speed_m_min"], best["cell_volume_cm3_m2"])
    chosen = setup.speed, setup.roll.cell_volume
    found = window_map(window, setup.plate, setup.pressure)
    title = map_title(window.product.name, setup.plate, setup.pressure, window.surfaces.trial.pressure_unit)
    return MapContent(
        found, window.level, window.rolls, bands, chosen, spot, window.surfaces.fingerprint, title
    )


def pictures(
    window: Window, setup: Setup, bands: pd.DataFrame, best: Mapping | None, limiting: str
) -> dict[str, go.Figure]:
    """The pictures of a report: the window, and along the speed conformance and what limits it.

    Parameters
    ----------
    window, setup, bands, best
        As of `around`.
    limiting : str
        The requirement whose quantity is drawn along the speed.
    """
    place = setup.plate, setup.pressure
    table = along_speed(window, *place)
    return {
        "window": window_figure(around(window, setup, bands, best), height=WINDOW_HEIGHT),
        "conformance": along_speed_figure(window, table, CONFORMANCE, *place),
        "limiting": along_speed_figure(window, table, limiting, *place),
    }
