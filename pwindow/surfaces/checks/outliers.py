"""Surfaces of a part of the trial: without a print, or without what bridging hides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.checks.diagnostics import RARE, Diagnostics, diagnose
from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design
from pwindow.surfaces.single.surface import Surface, fit_surface
from pwindow.surfaces.single.term_selection import independent_terms

_MOST_APART = 3  # where more prints stand out it is the spread that has another shape
_FEW = 0.05  # share of cells with hidden closures that bends no check
_AWAY = 3.0  # standard deviations from bridging at which none is hidden


@dataclass(frozen=True)
class Apart:
    """A surface without one print: how far that print lies off it, and how far it moved.

    Attributes
    ----------
    surface : Surface
        Fitted to the other prints.
    print_ : str
    off : float
        Mean of the print's cells minus what the other prints predict, on the modelled scale.
    moved : float
        Largest change of the predicted means at the tried set-ups, on the modelled scale.
    """

    surface: Surface
    print_: str
    off: float
    moved: float


def without_outliers(surface: Surface, found: Diagnostics) -> tuple[Surface, Diagnostics, list[Apart]]:
    """The surface without the prints that stand out, its checks, and those prints, the worst first."""
    apart: list[Apart] = []
    while len(apart) < _MOST_APART and found.prints["p"].min() < RARE:
        one = without(surface, found.prints.index[int(found.prints["p"].argmin())])
        if one is None:
            break
        apart.append(one)
        surface, found = one.surface, diagnose(one.surface)
    return surface, found, apart


def most_influential(surface: Surface, found: Diagnostics) -> list[Apart]:
    """The surface without the print of the largest Cook's distance, where that is above 1."""
    cook = found.prints["cook"]
    one = without(surface, cook.index[int(cook.argmax())]) if cook.max() > 1.0 else None
    return [] if one is None else [one]


def without(surface: Surface, print_: str) -> Apart | None:
    """The surface without a print; None where the other prints cannot carry it."""
    own = surface.cells["print"] == print_
    rest = refitted(surface, surface.cells[~own], surface.design)
    if rest is None:
        return None
    predicted = rest.mean(surface.cells)
    off = (surface.cells["value"] - predicted)[own].mean()
    return Apart(rest, print_, float(off), float(np.abs(predicted - surface.mean(surface.cells)).max()))


def refitted(surface: Surface, cells: pd.DataFrame, design: Design) -> Surface | None:
    """A surface fitted to some of its cells; None where they cannot carry it.

    Parameters
    ----------
    surface : Surface
    cells : DataFrame
        Rows of its `cells`.
    design : Design
        Terms to fit.
    """
    cells, terms = cells.reset_index(drop=True), len(design.terms)
    if len(cells) < terms + 2 or np.linalg.matrix_rank(design.matrix(cells)) < terms:
        return None
    parts = surface.components
    variance, df = (parts.feature, 1) if parts.repeated else (0.0, 0)
    kept = ResponseData(kind=surface.kind, cells=cells, feature_variance=variance, feature_df=df)
    return fit_surface(kept, design)


def unhidden(surface: Surface) -> Surface | None:
    """The surface of the closures that bridging does not hide; None where they cannot carry one.

    Closures that are expected instead of measured scatter less than they do, which every check
    would take for a fault.
    """
    cells = surface.cells
    if "bridged" not in cells or (cells[["bridged", "unmeasured"]].sum(axis=1) > 0).mean() <= _FEW:
        return surface
    parts = surface.components
    room = (cells["plate_gap"] - surface.mean(cells)) / np.sqrt(
        parts.make_ready + parts.print_ + parts.feature
    )
    cells = cells[(room > _AWAY) & (cells["measured"] > 0)]
    return refitted(surface, cells, independent_terms(surface.design, surface.design.matrix(cells)))
