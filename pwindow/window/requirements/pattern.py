"""The plate and pattern at which a product is judged, compared with what the trial varied."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypedDict

import numpy as np
import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.product import Product
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.columns import COLUMNS
from pwindow.trials.directions import angles
from pwindow.wording import listed

_SLACK = 0.02
_ONLY_FOR = {"lip_width": {"gap"}, "corner_radius": {"inner_radius", "outer_radius"}}
"""Covariates that a product need not say unless it has one of these requirements."""


class PlatePattern(TypedDict):
    """The covariates at which a product is judged on a plate process: µm, and degrees; NaN where unknown."""

    plate: str
    plate_width: float
    plate_gap: float
    direction: float
    lip_width: float
    corner_radius: float


def resolve_patterns(
    surfaces: Surfaces, product: Product
) -> tuple[Mapping[str, PlatePattern], tuple[str, ...]]:
    """Covariates of the product for each plate process it may be printed with.

    Returns
    -------
    patterns : mapping of str to PlatePattern
    notes : tuple of str
        Why plate processes that the product leaves open are passed over; that a plate is asked for
        of which the trial says nothing.

    Raises
    ------
    WindowProblem
        If the product names a plate, width, gap or direction that the trial did not try, or leaves
        one open that the trial varied.
    """
    region, wanted = surfaces.region, product.pattern.plate
    if wanted is None or region.plates == ("",):
        plates = region.plates
    elif wanted in region.plates:
        plates = (wanted,)
    else:
        raise WindowProblem(
            f"product “{product.name}” asks for plate “{wanted}”, which the trial did not try; "
            f"it tried {', '.join(f'“{plate}”' for plate in region.plates)}"
        )
    needed = _needed(surfaces, product)
    patterns: dict[str, PlatePattern] = {}
    faults: list[WindowProblem] = []
    for plate in plates:
        try:
            patterns[plate] = _of_plate(surfaces, product, plate, needed)
        except WindowProblem as problem:
            faults.append(problem)
    if not patterns:
        raise faults[0]
    notes = [f"not judged: {problem}" for problem in faults]
    if wanted is not None and region.plates == ("",):
        notes.append(
            f"product “{product.name}” asks for plate “{wanted}”, but the trial has no column “plate”: all "
            "its prints are taken to be of that plate"
        )
    return patterns, tuple(notes)


def _of_plate(surfaces: Surfaces, product: Product, plate: str, needed: set[str]) -> PlatePattern:
    def value(name: str) -> float:
        return _value(surfaces, product, plate, name, needed=name in needed)

    return {
        "plate": plate,
        "plate_width": value("plate_width"),
        "plate_gap": value("plate_gap"),
        "direction": _direction(surfaces, product, plate, needed="direction" in needed),
        "lip_width": value("lip_width"),
        "corner_radius": value("corner_radius"),
    }


def same_on_plate(values: pd.Series, asked: float) -> pd.Series:
    """Whether plate widths or gaps are one that is asked for, as near as measuring a plate goes."""
    return (values - asked).abs() <= _room(abs(asked))


def same_direction(values: pd.Series, asked: float) -> pd.Series:
    """Whether directions of lines, deg, are one that is asked for, whatever side a diagonal leans to; a missing one is none."""
    same = angles(values.astype(float).fillna(0.0)) == angles([asked])[0]
    return values.notna() & same


def _room(size: float) -> float:
    return _SLACK * size + 1e-9


def _needed(surfaces: Surfaces, product: Product) -> set[str]:
    used = {factor.name for surface in surfaces.by_name.values() for factor in surface.design.factors}
    judged = {requirement.name for requirement in product.requirements}
    idle = {name for name, needing in _ONLY_FOR.items() if not judged & needing}
    return (used - idle) | ({"plate_gap"} if "gap" in judged else set())


def _value(surfaces: Surfaces, product: Product, plate: str, name: str, *, needed: bool) -> float:
    tried = surfaces.region.covariates[plate].get(name)
    asked, unit = getattr(product.pattern, name), COLUMNS[name].unit
    if tried is None:
        return np.nan if asked is None else asked
    low, high = tried
    if asked is None:
        if needed and high > low:
            raise WindowProblem(
                f"product “{product.name}” has no {name}, which the trial varied from {low:g} to "
                f'{high:g} {unit}; add {name}, for example {name} = "{low:g} {unit}", under [pattern]'
            )
        return low
    slack = _room(max(abs(low), abs(high)))
    judged_for_gap = name == "plate_gap" and not needed
    if not judged_for_gap and not low - slack <= asked <= high + slack:
        span = f"{low:g} {unit}" if low == high else f"{low:g} to {high:g} {unit}"
        size = name.replace("_", " ")
        raise WindowProblem(
            f"product “{product.name}” asks for {size} {asked:g} {unit}, outside the range tried with "
            f"{f'plate “{plate}”' if plate else 'its plate'} ({span}); print a trial at that {size}, or change the product"
        )
    return asked


def _direction(surfaces: Surfaces, product: Product, plate: str, *, needed: bool) -> float:
    tried, asked = surfaces.region.directions[plate], product.pattern.direction
    said = listed([f"{one} deg" for one in sorted(tried, key=float)])
    if asked is not None and tried and angles([asked])[0] not in tried:
        raise WindowProblem(
            f"product “{product.name}” asks for direction {asked:g} deg, which was not tried with "
            f"{f'plate “{plate}”' if plate else 'its plate'} ({said}); print a trial in that direction, or change the product"
        )
    if asked is None and needed and len(tried) > 1:
        raise WindowProblem(
            f"product “{product.name}” has no direction, and the trial has lines at {said}; add direction, for example "
            'direction = "0 deg", under [pattern]'
        )
    if asked is None:
        return float(min(tried, key=float)) if tried else np.nan
    return asked
