"""What the picture of the window shows, whatever form it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap
from pwindow.window.search.starting import StartingSetup
from pwindow.window.setup import Setup
from pwindow.window.window import Window
from pwindow.wording import METRIC, Units, metric

_PRODUCT, _PLATE = 36, 22  # characters of their names that the line of the title holds
Spot = tuple[float, float]
"""Speed and cell volume, in the units of the picture."""


@dataclass(frozen=True)
class Nearest:
    """The closest set-up where none is assured: its joint conformance, and its spot where it lies on this map."""

    joint: float
    spot: Spot | None = None


@dataclass(frozen=True, kw_only=True)
class MapContent:
    """What the picture shows.

    Attributes
    ----------
    window_map : WindowMap
        Its speeds and volumes in `units`, as are those of `elsewhere` and all spots.
    level : float
        Assurance level.
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
    """

    window_map: WindowMap
    level: float
    rolls: tuple[Roll, ...]
    bands: pd.DataFrame
    chosen: Spot
    recommended: Spot | None = None
    fit: str = ""
    nearest: Nearest | None = None
    title: str = ""
    elsewhere: tuple[tuple[str, WindowMap], ...] = ()
    units: Units = METRIC

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
    """
    units = units or metric(window.surfaces.trial.pressure_unit)
    spot = nearest = None
    if start is not None:
        here = start.setup.plate == setup.plate and np.isclose(start.setup.pressure, setup.pressure)
        spot = _spot(start.setup, units) if here else None
        nearest = None if start.assured else Nearest(start.joint, spot)
    return MapContent(
        window_map=_in_units(shown, units),
        level=window.level,
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
        units=units,
    )


def _spot(setup: Setup, units: Units) -> Spot:
    return units.speed.of(setup.speed), units.volume.of(setup.roll.cell_volume)


def _in_units(shown: WindowMap, units: Units) -> WindowMap:
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
