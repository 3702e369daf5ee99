"""Depth of gaps, and the width from lip to lip, against the width of the gap at the surface of the plate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from scipy.stats import t

from pwindow.plates.fitted import Expected, Fitted, weighted
from pwindow.plates.spreads import LEVEL, components
from pwindow.wording import counted

_FEWEST_GAPS = 3
_CLEARLY = 1.0
"""µm by which gaps differ clearly: features of one artwork differ by as much from plate to plate."""
Quantity = Literal["lip_width", "gap_depth"]
LOGGED: Mapping[Quantity, bool] = {"lip_width": False, "gap_depth": True}
"""Lips lie beside the edges and add a width to the gap, so a straight line in µm; a depth is positive and its scatter grows
with it, so a power of the gap: a straight line in logarithms."""


@dataclass(frozen=True, kw_only=True)
class Relation:
    """A quantity of gaps against their width, of one process.

    Attributes
    ----------
    quantity : {'lip_width', 'gap_depth'}
    fitted : Fitted or None
        None where too few gaps were measured.
    centre : float
        Of the gaps, or of their logarithms.
    tried : (float, float) or None
        Smallest and largest gap, µm.
    plates, features : int
    why : str
        Why there is no line, or what it leaves open; "" otherwise.
    """

    quantity: Quantity
    fitted: Fitted | None
    centre: float
    tried: tuple[float, float] | None
    plates: int
    features: int
    why: str

    @property
    def logged(self) -> bool:
        """Whether the line is straight in logarithms."""
        return LOGGED[self.quantity]

    def at(self, gap: float) -> Expected:
        """What is expected at a gap of this width at the surface of the plate, µm."""
        if self.fitted is None:
            return Expected.unknown(self.why)
        size = np.log(gap) if self.logged else gap
        return self.fitted.at(np.array([1.0, size - self.centre]), logged=self.logged, why=self.why)


def relation_of(features: pd.DataFrame, quantity: Quantity) -> Relation:
    """The line of a process.

    Parameters
    ----------
    features : DataFrame
        Of the process: ``plate_id``, ``plate_gap`` and the quantity, µm.
    quantity : {'lip_width', 'gap_depth'}
    """
    measured = features.dropna(subset=["plate_gap", quantity])
    gaps, plates = measured["plate_gap"].to_numpy(float), measured["plate_id"].to_numpy(str)
    fitted, centre, why = _fitted(gaps, measured[quantity].to_numpy(float), plates, logged=LOGGED[quantity])
    return Relation(
        quantity=quantity,
        fitted=fitted,
        centre=centre,
        tried=(float(gaps.min()), float(gaps.max())) if len(gaps) else None,
        plates=len(set(plates)),
        features=len(measured),
        why=why,
    )


def _fitted(
    gaps: np.ndarray, values: np.ndarray, plates: np.ndarray, *, logged: bool
) -> tuple[Fitted | None, float, str]:
    apart = int((np.diff(np.sort(gaps)) >= _CLEARLY).sum()) + min(len(gaps), 1)
    if apart < _FEWEST_GAPS:
        measured = counted(apart, "clearly different gap was", "clearly different gaps were")
        return None, np.nan, f"{measured} measured, and a line takes {_FEWEST_GAPS}"
    sizes, values = (np.log(gaps), np.log(values)) if logged else (gaps, values)
    centre = float(sizes.mean())
    columns = np.column_stack([np.ones_like(sizes), sizes - centre])
    found = components(values, columns, plates)
    if found is None:
        return None, np.nan, "nothing is left to tell how gaps differ; measure more of them"
    alone = "only one plate was measured: how plates differ is not known" if not found.degrees[0] else ""
    return weighted(values, columns, plates, found), centre, alone


def compared(relations: Mapping[str, Relation], gap: float) -> pd.DataFrame:
    """Processes side by side at one gap.

    Parameters
    ----------
    relations : mapping of str to Relation
        By process, all of one quantity.
    gap : float
        Width at the surface of the plate, µm.

    Returns
    -------
    DataFrame
        A row for each pair: ``one``, ``other``, ``difference`` of the averages (one less other, µm), ``low`` and ``high``
        (95 % interval), ``outside`` (processes that the gap was not measured near, which the line is drawn out for), and
        ``why`` there is no difference, or what it leaves open.
    """
    rows = [_pair(one, other, relations, gap) for one, other in combinations(relations, 2)]
    return pd.DataFrame(rows, columns=["one", "other", "difference", "low", "high", "outside", "why"])


def _pair(one: str, other: str, relations: Mapping[str, Relation], gap: float) -> dict[str, object]:
    expected = {name: relations[name].at(gap) for name in (one, other)}
    outside = [name for name in (one, other) if not _inside(relations[name].tried, gap)]
    why = "; ".join(f"{name}: {found.why}" for name, found in expected.items() if found.why)
    difference, half = _difference(expected[one], expected[other])
    return {
        "one": one,
        "other": other,
        "difference": difference,
        "low": difference - half,
        "high": difference + half,
        "outside": outside,
        "why": why,
    }


def _inside(tried: tuple[float, float] | None, gap: float) -> bool:
    return tried is not None and tried[0] <= gap <= tried[1]


def _difference(one: Expected, other: Expected) -> tuple[float, float]:
    """Of two averages, and half of its interval by Welch's degrees of freedom."""
    squares = np.array([one.se**2, other.se**2])
    degrees = squares.sum() ** 2 / (squares**2 / [one.known_degrees, other.known_degrees]).sum()
    half = t.ppf((1.0 + LEVEL) / 2.0, degrees) * np.sqrt(squares.sum())
    return one.value - other.value, float(half)
