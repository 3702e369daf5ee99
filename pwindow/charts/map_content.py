"""What the picture of the window shows, whatever form it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap
from pwindow.window.search.starting import StartingSetup
from pwindow.window.setup import Setup
from pwindow.window.window import Window
from pwindow.wording import pressure as pressure_text

_PRODUCT, _PLATE = 36, 22  # characters of their names that the line of the title holds
Spot = tuple[float, float]
"""Speed, m/min, and cell volume, cm³/m²."""


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
    level : float
        Assurance level.
    rolls : sequence of Roll
    bands : DataFrame
        Speed bands of the plate and pressure shown.
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
    """
    spot = nearest = None
    if start is not None:
        here = start.setup.plate == setup.plate and np.isclose(start.setup.pressure, setup.pressure)
        spot = (start.setup.speed, start.setup.roll.cell_volume) if here else None
        nearest = None if start.assured else Nearest(start.joint, spot)
    unit = window.surfaces.trial.pressure_unit
    return MapContent(
        window_map=shown,
        level=window.level,
        rolls=window.rolls,
        bands=bands,
        chosen=(setup.speed, setup.roll.cell_volume),
        recommended=spot if nearest is None else None,
        fit=window.surfaces.fingerprint,
        nearest=nearest,
        title=map_title(window.product.name, setup.plate, setup.pressure, unit),
        elsewhere=tuple(
            (f"{pressure_text(pressure)} {unit}", at) for pressure, at in (elsewhere or {}).items()
        ),
    )


def map_title(product: str, plate: str, pressure: float, unit: str) -> str:
    """Product, plate and pressure of a map, in words.

    Parameters
    ----------
    product, plate : str
        Long names are cut; `plate` is "" where no plate process is named.
    pressure : float
        In `unit`.
    unit : str
        The trial's unit of pressure.

    Examples
    --------
    >>> map_title("Grain moisture tag", "laser-imaged", 50.0, "µm")
    'Grain moisture tag · plate laser-imaged · pressure 50 µm'
    """
    named = [_cut(product, _PRODUCT), *([f"plate {_cut(plate, _PLATE)}"] if plate else [])]
    return " · ".join([*named, f"pressure {pressure_text(pressure)} {unit}"])


def _cut(name: str, most: int) -> str:
    return name if len(name) <= most else f"{name[: most - 1].rstrip()}…"
