"""What the picture of the window shows, whatever form it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import pandas as pd

from pwindow.product import Assurance
from pwindow.study import Roll
from pwindow.window.bands import SPEED_STEP
from pwindow.window.search.inner import InnerSet
from pwindow.window.search.maps import WindowMap
from pwindow.window.search.starting import StartingSetup
from pwindow.window.setup import Setup
from pwindow.window.window import Window
from pwindow.wording import METRIC, Units, at_least, metric, percent

_PRODUCT, _PLATE = 36, 22  # characters of their names that the line of the title holds
Shown = TypeVar("Shown", WindowMap, InnerSet)
Spot = tuple[float, float]
"""Speed and cell volume, in the units of the picture."""


@dataclass(frozen=True)
class Nearest:
    """The closest set-up where none is assured: its joint conformance, and its spot where it lies on this map.

    Where a confidence is asked for, also what the joint conformance is at least with that.
    """

    joint: float
    spot: Spot | None = None
    at_least: float | None = None

    def words(self, level: float) -> str:
        """How close it comes."""
        sure = "" if self.at_least is None else f", at least {at_least(self.at_least, level)}"
        return f"{percent(self.joint, level)}{sure}"


@dataclass(frozen=True, kw_only=True)
class MapContent:
    """What the picture shows.

    Attributes
    ----------
    window_map : WindowMap
        Its speeds and volumes in `units`, as are those of `elsewhere` and all spots.
    assurance : Assurance
        What is asked for.
    rolls : sequence of Roll
    bands : DataFrame
        Speed bands of the plate and pressure shown.
    units : Units
        Of the picture; rolls and bands are in metric ones.
    chosen : Spot
        The set-up looked at.
    recommended : Spot or None
        The recommended set-up, where it lies on this map.
    fit : str
        Fingerprint of the fit.
    nearest : Nearest or None
        None where some set-up of the inventory is assured.
    title : str
        Of what the picture is, as `map_title` makes it.
    elsewhere : tuple of (str, WindowMap)
        Maps of the same plate at other pressures, each with its pressure in words.
    inner : InnerSet or None
        Set-ups that reach the level all at once, where they are to be outlined; in `units`.
    """

    window_map: WindowMap
    assurance: Assurance
    rolls: tuple[Roll, ...]
    bands: pd.DataFrame
    chosen: Spot
    recommended: Spot | None = None
    fit: str = ""
    nearest: Nearest | None = None
    title: str = ""
    elsewhere: tuple[tuple[str, WindowMap], ...] = ()
    inner: InnerSet | None = None
    units: Units = METRIC

    @property
    def level(self) -> float:
        """The joint conformance probability that is asked for."""
        return self.assurance.level

    @property
    def along(self) -> str | None:
        """The one setting that the trial varied of speed and cell volume; None where it varied both."""
        volumes, speeds = self.window_map.joint.shape
        if volumes > 1 and speeds > 1:
            return None
        return "cell_volume" if volumes > 1 else "speed"


def content_at(
    window: Window,
    setup: Setup,
    shown: WindowMap,
    bands: pd.DataFrame,
    start: StartingSetup | None,
    elsewhere: Mapping[float, WindowMap] | None = None,
    units: Units | None = None,
    inner: InnerSet | None = None,
) -> MapContent:
    """What the picture shows at the plate and pressure of a set-up.

    Parameters
    ----------
    window : Window
    setup : Setup
        The one looked at.
    shown : WindowMap
        At its plate and pressure, as are `bands`.
    bands : DataFrame
    start : StartingSetup or None
        The recommended set-up or the closest, drawn where it lies on this map.
    elsewhere : mapping, optional
        By pressure, maps whose assured region is outlined too.
    units : Units, optional
        Of the picture; metric unless given.
    inner : InnerSet, optional
        Set-ups that reach the level all at once.
    """
    units = units or metric(window.surfaces.trial.pressure_unit)
    spot = nearest = None
    if start is not None:
        here = start.setup.plate == setup.plate and np.isclose(start.setup.pressure, setup.pressure)
        spot = _spot(start.setup, units) if here else None
        nearest = None if start.assured else Nearest(start.joint, spot, start.at_least)
    return MapContent(
        window_map=_in_units(shown, units),
        assurance=window.product.assurance,
        rolls=window.rolls,
        bands=bands,
        chosen=_spot(setup, units),
        recommended=spot if nearest is None else None,
        fit=window.surfaces.fingerprint,
        nearest=nearest,
        title=map_title(window.product.name, setup.plate, setup.pressure, units),
        elsewhere=tuple(
            (units.pressure.words(pressure), _in_units(at, units))
            for pressure, at in (elsewhere or {}).items()
        ),
        inner=None if inner is None else _in_units(inner, units),
        units=units,
    )


def spot_chosen(content: MapContent, setup: Setup, x: float, y: float) -> Setup:
    """The set-up next to a spot of the picture: its speed to the step that speeds are searched with, and a roll.

    Parameters
    ----------
    content : MapContent
    setup : Setup
        The one looked at, of which the rest stays.
    x, y : float
        In the units of the picture's axes.
    """
    speed, volume = {None: (x, y), "speed": (x, None), "cell_volume": (None, x)}[content.along]
    if speed is not None:
        low, at, high = (
            content.units.speed.kept_of(one)
            for one in (content.window_map.speeds[0], speed, content.window_map.speeds[-1])
        )
        setup = replace(setup, speed=float(np.clip(round(at / SPEED_STEP) * SPEED_STEP, low, high).round(9)))
    if volume is not None:
        at = content.units.volume.kept_of(volume)
        setup = replace(setup, roll=min(content.rolls, key=lambda roll: abs(roll.cell_volume - at)))
    return setup


def _spot(setup: Setup, units: Units) -> Spot:
    return units.speed.of(setup.speed), units.volume.of(setup.roll.cell_volume)


def _in_units(shown: Shown, units: Units) -> Shown:
    return replace(shown, speeds=units.speed.of(shown.speeds), volumes=units.volume.of(shown.volumes))


def map_title(product: str, plate: str, pressure: float, units: Units = METRIC) -> str:
    """Product, plate and pressure of a map, in words.

    Parameters
    ----------
    product, plate : str
        Long names are cut; `plate` is "" where no plate process is named.
    pressure : float
        In the trial's unit of pressure.
    units : Units
        To write it in.

    Examples
    --------
    >>> map_title("Grain moisture tag", "laser-imaged", 50.0)
    'Grain moisture tag · plate laser-imaged · pressure 50 µm'
    """
    named = [_cut(product, _PRODUCT), *([f"plate {_cut(plate, _PLATE)}"] if plate else [])]
    return " · ".join([*named, f"pressure {units.pressure.words(pressure)}"])


def _cut(name: str, most: int) -> str:
    return name if len(name) <= most else f"{name[: most - 1].rstrip()}…"
