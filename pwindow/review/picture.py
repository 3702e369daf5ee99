"""Pictures of the window around a set-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from numbers import Real
from types import NoneType

import pandas as pd
import plotly.graph_objects as go

from pwindow.charts.along_speed import along_speed_figure
from pwindow.charts.map_content import MapContent, content_at
from pwindow.charts.window_picture import window_figure
from pwindow.errors import WindowProblem, expect, first_few, shown
from pwindow.review.essentials import started
from pwindow.window.bands import bands_at
from pwindow.window.search.inner import inner_set
from pwindow.window.search.maps import window_map
from pwindow.window.search.recommendation import recommend
from pwindow.window.search.starting import StartingSetup
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, along_speed
from pwindow.window.window import Window
from pwindow.wording import Units

WINDOW_HEIGHT = 460  # px: as high as fits on the first page


@dataclass(frozen=True)
class Pictures:
    """The window around a set-up, and along the speed the joint conformance and what limits the set-up."""

    window: go.Figure
    conformance: go.Figure
    limiting: go.Figure


def around(
    window: Window,
    setup: Setup,
    bands: pd.DataFrame,
    start: StartingSetup | None,
    units: Units | None = None,
) -> MapContent:
    """What the picture of the window shows at the plate and pressure of a set-up.

    Parameters
    ----------
    window : Window
    setup : Setup
    bands : DataFrame
        Speed bands at that plate and pressure.
    start : StartingSetup or None
        The recommended set-up or the closest, drawn where it lies on this map.
    units : Units, optional
        Of the picture; metric unless given.
    """
    shown = window_map(window, setup.plate, setup.pressure)
    inner = None if window.confidence is None else inner_set(window, setup.plate, setup.pressure)
    return content_at(window, setup, shown, bands, start, units=units, inner=inner)


def start_of(
    window: Window, pressures: Sequence[float] | None = None, units: Units | None = None
) -> MapContent:
    """What the picture shows at the recommended set-up, or at the closest; errors as of `subject_of`.

    Parameters
    ----------
    window : Window
    pressures : sequence of float, optional
        To choose from, in the trial's unit of pressure; those that were tried unless given.
    units : Units, optional
        Of the picture; metric unless given.
    """
    bands = window.speed_bands(pressures)
    start = started(window, recommend(window, bands), pressures)
    setup = start.setup
    return around(window, setup, bands_at(window, bands, setup.plate, setup.pressure), start, units)


def map_of(window: Window, *, plate: str | None = None, pressure: float | None = None) -> go.Figure:
    """The window over speed and cell volume, at the recommended set-up or at the closest.

    Parameters
    ----------
    window : Window
    plate : str, optional
        Plate process to choose the set-up from; all of the product unless given.
    pressure : float, optional
        The same, in the trial's unit of pressure; those that were tried unless given.

    Returns
    -------
    plotly Figure
        Its title names plate and pressure; in the units of the trial file.

    Raises
    ------
    TypeError
        If the window is no Window, or the pressure no number.
    WindowProblem
        If the window has no such plate, the pressure lies outside what was tried, or no roll of the
        inventory lies in the trial region.

    Examples
    --------
    >>> import pwindow as pw
    >>> surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    >>> window = pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml")))
    >>> pw.map_of(window, pressure=35).layout.title.text.split("<br>")[0]
    'Grain moisture tag · plate laser-imaged · pressure 35 µm'
    """
    expect("map_of", window, Window, "a Window, as find_window returns it")
    expect("map_of", plate, (str, NoneType), "plate as the name of a plate process")
    unit = window.surfaces.trial.pressure_unit
    expect("map_of", pressure, (Real, NoneType), f"pressure as a number, in {unit}")
    asked = None if pressure is None else [float(pressure)]
    shown = window if plate is None else _on_plate(window, plate)
    return window_figure(start_of(shown, asked, window.surfaces.trial.units))


def _on_plate(window: Window, plate: str) -> Window:
    """The window of one plate process."""
    if plate not in window.patterns:
        named = first_few([one for one in window.plates if one])
        mend = f"choose {named}" if named else "leave it out: the trial names no plate"
        raise WindowProblem(f"plate “{shown(plate)}” is not one of this window; {mend}")
    return replace(window, patterns={plate: window.patterns[plate]})


def pictures(
    window: Window,
    setup: Setup,
    bands: pd.DataFrame,
    start: StartingSetup | None,
    limiting: str,
    units: Units,
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
    units : Units
    """
    place = setup.plate, setup.pressure
    table = along_speed(window, *place)
    return Pictures(
        window=window_figure(around(window, setup, bands, start, units), height=WINDOW_HEIGHT),
        conformance=along_speed_figure(window, table, CONFORMANCE, *place, units=units),
        limiting=along_speed_figure(window, table, limiting, *place, units=units),
    )
