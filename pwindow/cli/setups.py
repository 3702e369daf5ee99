"""Set-ups as a user types them: ``--at "speed=60 m/min, roll=0412, pressure=50 µm"``."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import click
import numpy as np
import pandas as pd

from pwindow.errors import UnitProblem
from pwindow.study import Roll
from pwindow.surfaces.model.responses import COVARIATES, FACTORS
from pwindow.surfaces.surfaces import Surfaces, setups_frame
from pwindow.units import read_quantity
from pwindow.window.window import Window

_NAMES = (*FACTORS, "roll", *COVARIATES)
_PART = re.compile(r"[,;]\s*(?=\w+\s*=)")


def parse_points(texts: Sequence[str]) -> list[dict[str, str]]:
    """Points from ``--at`` texts: a setting named again starts a new point, which keeps the others.

    Examples
    --------
    >>> parse_points(["speed=60 m/min, roll=0412", "pressure=50 µm", "speed=80 m/min"])
    [{'speed': '60 m/min', 'roll': '0412', 'pressure': '50 µm'}, {'speed': '80 m/min', 'roll': '0412', 'pressure': '50 µm'}]
    """
    points: list[dict[str, str]] = [{}]
    named: set[str] = set()
    for part in (part for text in texts for part in _PART.split(text)):
        name, found, value = (piece.strip() for piece in part.partition("="))
        if not found or name not in _NAMES or not value:
            raise click.BadParameter(
                f"“{part.strip()}” is not a setting; write name=value, where name is one of {', '.join(_NAMES)}",
                param_hint="--at",
            )
        if name in named:
            points.append(dict(points[-1]))
            named = set()
        if name in ("roll", "cell_volume"):
            points[-1].pop("cell_volume" if name == "roll" else "roll", None)
        named.add(name)
        points[-1][name] = value
    return points


def read_setups(
    points: Sequence[Mapping[str, str]], surfaces: Surfaces, rolls: Sequence[Roll], window: Window | None
) -> pd.DataFrame:
    """Typed points as a table of set-ups, with what the product or the trial leaves no choice about.

    Parameters
    ----------
    points : sequence of mapping of str to str
        As `parse_points` gives them.
    surfaces : Surfaces
    rolls : sequence of Roll
        Those that a point may name.
    window : Window or None
        Of the product, whose plate width, plate gap and direction hold where a point does not say them.

    Raises
    ------
    BadParameter
        If a value is no such quantity, a roll or plate is not known, or a setting is missing.
    """
    return setups_frame([_setup(point, surfaces, rolls, window) for point in points])


def _setup(
    point: Mapping[str, str], surfaces: Surfaces, rolls: Sequence[Roll], window: Window | None
) -> dict:
    trial = surfaces.trial
    setup: dict[str, object] = {
        name: _number(name, text, trial.unit_of(name))
        for name, text in point.items()
        if name not in ("roll", "plate")
    }
    if "roll" in point:
        setup["cell_volume"] = _volume(point["roll"], rolls)
    plate = _plate(point.get("plate"), surfaces, window)
    setup["plate"] = plate
    setup = dict(surfaces.region.constant) | setup
    missing = [name for name in FACTORS if name not in setup]
    if missing:
        example = {"speed": "60 m/min", "cell_volume": "4.4 cm³/m²", "pressure": f"50 {trial.pressure_unit}"}
        raise click.BadParameter(
            f"the set-up has no {' or '.join(missing)}; add {missing[0]}={example[missing[0]]}"
            + (" or roll=…" if "cell_volume" in missing else ""),
            param_hint="--at",
        )
    return _covariates(plate, surfaces, window) | setup


def _number(name: str, text: str, unit: str) -> float:
    try:
        value = read_quantity(text, unit)
    except UnitProblem as problem:
        raise click.BadParameter(f"{name}: {problem}", param_hint="--at") from problem
    if name in ("speed", "cell_volume", "plate_width") and value <= 0:
        raise click.BadParameter(f"{name} must be above zero", param_hint="--at")
    return value


def _volume(identity: str, rolls: Sequence[Roll]) -> float:
    for roll in rolls:
        if roll.id == identity:
            return roll.cell_volume
    raise click.BadParameter(
        f"roll “{identity}” is not in the inventory; choose from {', '.join(roll.id for roll in rolls)}",
        param_hint="--at",
    )


def _plate(named: str | None, surfaces: Surfaces, window: Window | None) -> str:
    plates = window.plates if window is not None else surfaces.region.plates
    if named is None and len(plates) == 1:
        return plates[0]
    if named is None or named not in plates:
        what = "the set-up has no plate" if named is None else f"plate “{named}” cannot be judged"
        raise click.BadParameter(f"{what}; add plate= one of {', '.join(plates)}", param_hint="--at")
    return named


def _covariates(plate: str, surfaces: Surfaces, window: Window | None) -> dict[str, object]:
    """Covariates of the product's pattern, else those the trial held constant."""
    if window is not None:
        return dict(window.patterns[plate])
    ranges = surfaces.region.covariates[plate]
    return {name: low if low == high else np.nan for name, (low, high) in ranges.items()}
