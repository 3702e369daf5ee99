"""What a plate process adds to the lines or gaps of its artwork."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import f

from pwindow.errors import UnusableInput
from pwindow.plates.fitted import Expected, Fitted, weighted
from pwindow.plates.spreads import Spreads, estimated
from pwindow.trials.directions import angles
from pwindow.wording import amount, counted

_FEWEST_SIZES = 3
_LEAST_GROWTH = 0.2
"""Growth of the plate with its artwork, below which no artwork is given for a wanted plate."""
_ALIKE = 1e-3  # µm; artwork that two plates have in common is typed, not measured


@dataclass(frozen=True, kw_only=True)
class Offset:
    """Measured size on the plate less that of the artwork, of one process.

    Attributes
    ----------
    levels : tuple of str
        Directions that were measured, as of `angles`; "" of features without one.
    centre : float
        Artwork size that the slope turns about, µm.
    sloped : bool
        Whether the offset changes with the artwork.
    fitted : Fitted
        Of the directions and, where `sloped`, the slope; 0 where nothing was measured.
    spreads : Spreads
    uncertain : float
        Standard deviation of the offset where it was not measured, µm.
    plates, features : int
        That were measured.
    tried : (float, float) or None
        Smallest and largest artwork measured, µm.
    lack_of_fit : float
        p of the straight line; NaN where repeated features leave nothing to tell it from.
    """

    levels: tuple[str, ...]
    centre: float
    sloped: bool
    fitted: Fitted
    spreads: Spreads
    uncertain: float
    plates: int
    features: int
    tried: tuple[float, float] | None
    lack_of_fit: float

    @property
    def words(self) -> str:
        """What the offset is known from."""
        if not self.features:
            return f"not measured: 0 ± {amount(self.uncertain)} µm taken"
        measured = (
            f"{counted(self.features, 'feature', 'features')} of {counted(self.plates, 'plate', 'plates')}"
        )
        form = "a straight line in the artwork" if self.sloped else "the same for all artwork"
        return f"measured on {measured}, {form}"

    @property
    def slope(self) -> float:
        """What is added per µm of artwork; 0 where too few sizes were measured."""
        return float(self.fitted.coefficients[-1]) if self.sloped else 0.0

    def at(self, artwork: float, direction: float | None = None) -> Expected:
        """Size on the plate.

        Parameters
        ----------
        artwork : float, µm
        direction : float, deg, optional
            Averaged over what was measured where it is not given.
        """
        row, more, why = self._row(direction)
        row = np.append(row, artwork - self.centre) if self.sloped else row
        return self.fitted.at(row, shift=artwork, more=more, why=self._said(why, artwork))

    def needed(self, size: float, direction: float | None = None) -> Expected:
        """Artwork for a size on the plate; its spread is that of the plate in µm of artwork.

        Parameters
        ----------
        size : float, µm
            Wanted on the plate.
        direction : float, deg, optional

        Raises
        ------
        UnusableInput
            If the plate hardly grows with its artwork.
        """
        growth = 1.0 + self.slope
        if growth < _LEAST_GROWTH:
            raise UnusableInput(
                f"the size on the plate grows by {amount(growth)} µm per µm of artwork: no artwork can be given; "
                "measure more sizes on more plates"
            )
        row, more, why = self._row(direction)
        offset = float(row @ self.fitted.coefficients[: len(row)])
        artwork = (size - offset + self.slope * self.centre) / growth
        row = np.append(row, artwork - self.centre) if self.sloped else row
        shift = artwork * growth - float(row @ self.fitted.coefficients)
        said = self._said(why, artwork)
        return self.fitted.at(row, shift=shift, factor=1.0 / growth, more=more, why=said)

    def _said(self, why: str, artwork: float) -> str:
        """What was assumed, and whether the artwork is outside what was measured."""
        if self.tried is None or self.tried[0] <= artwork <= self.tried[1]:
            return why
        low, high = map(amount, self.tried)
        beyond = f"artwork of {amount(artwork)} µm is outside the {low} to {high} µm that were measured"
        return f"{why}; {beyond}" if why else beyond

    def _row(self, direction: float | None) -> tuple[np.ndarray, float, str]:
        """Weights of the directions, a variance for one that was not measured, and what was assumed."""
        count = len(self.levels)
        even = np.full(count, 1.0 / count)
        if not self.features:
            return even, self.uncertain**2, self.words
        if direction is None or math.isnan(direction) or self.levels == ("",):
            return even, 0.0, ""
        level = str(angles([direction])[0])
        if level in self.levels:
            return (np.array(self.levels) == level).astype(float), 0.0, ""
        why = f"no plate was measured at {level}°: the average of the others is taken, with the spread of a new plate"
        return even, self.spreads.new.sd**2, why


def offset_of(features: pd.DataFrame, otherwise: Spreads, uncertain: float, resolution: float) -> Offset:
    """The offset of a process.

    Parameters
    ----------
    features : DataFrame
        Of the process: ``plate_id``, ``artwork``, ``size`` (µm), ``direction`` (deg); rows without a size or an artwork are
        left out.
    otherwise : Spreads
        Taken where plates do not repeat features.
    uncertain : float
        Standard deviation of the offset where nothing was measured, µm.
    resolution : float
        Least difference of artwork that is clearly different, µm.
    """
    measured = features.dropna(subset=["artwork", "size"])
    if measured.empty:
        return _not_measured(otherwise, uncertain)
    artwork, values = (measured[name].to_numpy(float) for name in ("artwork", "size"))
    plates, levels = measured["plate_id"].to_numpy(str), _levels(measured["direction"])
    added, kinds = values - artwork, _kinds(artwork, levels)
    spreads = _of_repeated(added, kinds, plates) or otherwise
    tried = sorted(set(levels), key=lambda level: (level != "", float(level or 0)))
    columns, centre = (levels[:, None] == np.array(tried, dtype=object)).astype(float), float(artwork.mean())
    straight = np.column_stack([columns, artwork - centre])
    sloped = _different(artwork, resolution) >= _FEWEST_SIZES and _full_rank(straight)
    columns = straight if sloped else columns
    return Offset(
        levels=tuple(tried),
        centre=centre,
        sloped=sloped,
        fitted=weighted(added, columns, plates, spreads.components),
        spreads=spreads,
        uncertain=uncertain,
        plates=len(set(plates)),
        features=len(measured),
        tried=(float(artwork.min()), float(artwork.max())),
        lack_of_fit=_lack_of_fit(added, columns, kinds, plates),
    )


def _not_measured(otherwise: Spreads, uncertain: float) -> Offset:
    nothing = np.zeros((1, 1))
    return Offset(
        levels=("",),
        centre=0.0,
        sloped=False,
        fitted=Fitted(np.zeros(1), nothing, nothing, otherwise.components),
        spreads=otherwise,
        uncertain=uncertain,
        plates=0,
        features=0,
        tried=None,
        lack_of_fit=math.nan,
    )


def _levels(directions: pd.Series) -> np.ndarray:
    levels = np.full(len(directions), "", dtype=object)
    known = directions.notna().to_numpy()
    levels[known] = angles(directions[known].to_numpy(float))
    return levels


def _kinds(artwork: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """Number of each feature's artwork: features of one size and direction have the same."""
    names = [f"{round(size / _ALIKE)} {level}" for size, level in zip(artwork, levels)]
    return np.unique(names, return_inverse=True)[1]


def _of_repeated(added: np.ndarray, kinds: np.ndarray, plates: np.ndarray) -> Spreads | None:
    """Spreads that features show which several plates have in common, whatever the offset is."""
    on = pd.Series(plates).groupby(kinds).transform("nunique").to_numpy()
    kept = on > 1
    if not kept.any():
        return None
    return estimated(added[kept], _indicators(kinds[kept]), plates[kept])


def _indicators(labels: np.ndarray) -> np.ndarray:
    return (labels[:, None] == np.unique(labels)).astype(float)


def _different(sizes: np.ndarray, apart: float) -> int:
    """How many sizes are apart by so much."""
    count, last = 0, -math.inf
    for size in sorted(sizes):
        if size - last >= apart - 1e-9:
            count, last = count + 1, size
    return count


def _full_rank(columns: np.ndarray) -> bool:
    return int(np.linalg.matrix_rank(columns)) == columns.shape[1]


def _lack_of_fit(added: np.ndarray, columns: np.ndarray, kinds: np.ndarray, plates: np.ndarray) -> float:
    """p of the form against any other offset of each kind of feature, within plates."""
    beside = _indicators(plates)
    whole, wide = _left(added, np.column_stack([columns, beside]))
    pure, narrow = _left(added, np.column_stack([_indicators(kinds), beside]))
    if wide <= narrow or narrow == 0 or pure <= 0.0:
        return math.nan
    return float(f.sf((whole - pure) / (wide - narrow) / (pure / narrow), wide - narrow, narrow))


def _left(values: np.ndarray, columns: np.ndarray) -> tuple[float, int]:
    solution, _, rank, _ = np.linalg.lstsq(columns, values, rcond=None)
    rest = values - columns @ solution
    return float(rest @ rest), len(values) - int(rank)
