"""Patterns of residuals over the factors: a level that lies off, a spread that grows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import linalg
from scipy.special import stdtr

from pwindow.surfaces.model.terms import Factor
from pwindow.surfaces.single.satterthwaite import Freedom
from pwindow.surfaces.single.surface import Surface

_FEWEST = 3  # prints that make a pattern
_DRAWS, _SEED = 999, 20417
_SEEN = 0.25  # share of a shift that the surface cannot follow, below which others extrapolate to it


@dataclass(frozen=True)
class OffLevel:
    """A level of a factor, and how far its prints lie off what all other prints say.

    Attributes
    ----------
    factor : Factor
    level : float
        In the factor's unit.
    levels : ndarray, shape (m,)
        All tried levels of the factor, ascending.
    shift : float
        On the modelled scale, positive above.
    p : float
        Probability that the worst of all levels lies as far off, if none is different (Bonferroni).
    """

    factor: Factor
    level: float
    levels: np.ndarray
    shift: float
    p: float

    def missed(self, setups: pd.DataFrame) -> np.ndarray:
        """What the surface misses at set-ups, on the modelled scale, shape (len(setups),).

        The shift at the level, nothing at the levels beside it, and straight in between.
        """
        tried, at = (self.factor.code(values)[:, 0] for values in (self.levels, setups[self.factor.name]))
        return np.interp(at, tried, self.shift * (self.levels == self.level))


def numbers(surface: Surface) -> list[Factor]:
    """The numeric factors that a surface uses."""
    used = {name for term in surface.design.terms for name in term}
    return [factor for factor in surface.design.factors if factor.name in used and factor.is_number]


def worst_level(surface: Surface) -> OffLevel | None:
    """The level that lies farthest off for its spread; None where no level can.

    A level of a factor with three of them cannot, for the square follows it, and hardly one at an end.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    OffLevel or None
    """
    q = linalg.qr(surface.white_design, mode="economic")[0]
    shifts = []
    for factor in numbers(surface):
        for rows in surface.cells.groupby(factor.name).indices.values():
            if surface.cells["print"].iloc[rows].nunique() < _FEWEST:
                continue
            chosen = np.isin(np.arange(len(q)), rows) * 1.0
            white = surface.whitening.apply(chosen)
            beside = white - q @ (q.T @ white)
            seen = beside @ beside
            if seen > _SEEN * (white @ white):
                level = surface.cells[factor.name].iloc[rows[0]]
                shifts.append((beside @ surface.solution.residuals / seen, seen, factor, level, chosen))
    if not shifts:
        return None
    shift, seen, factor, level, chosen = max(shifts, key=lambda one: one[0] ** 2 * one[1])
    chance = len(shifts) * _two_sided(surface, shift, seen, chosen)
    levels = np.unique(surface.cells[factor.name].to_numpy(float))
    return OffLevel(factor, float(level), levels, float(shift), min(chance, 1.0))


@dataclass(frozen=True)
class Uneven:
    """How the spread about a surface changes along a factor, or with the prediction.

    Attributes
    ----------
    factor : Factor or None
        None where it changes with the predicted value.
    low, high : float
        Standard deviation of prints about the surface in the lowest and the highest third, on the
        modelled scale.
    p : float
        Probability that the spread seems to change as much along any of them, if it is even.
    """

    factor: Factor | None
    low: float
    high: float
    p: float


def uneven_spread(surface: Surface) -> Uneven:
    """Along what the spread changes most, by the correlation of absolute residuals with it.

    After Glejser (1969, J. Am. Stat. Assoc. 64, 316-323); how large the largest correlation is where
    the spread is even depends on the layout and is simulated.
    """
    q = linalg.qr(surface.white_design, mode="economic")[0]
    drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(q)))
    rests = np.vstack([surface.solution.residuals, drawn - drawn @ q @ q.T])
    free = 1.0 - surface.solution.leverage
    free_enough = free > 1e-6
    sizes, cells = np.abs(rests[:, free_enough]) / np.sqrt(free[free_enough]), surface.cells[free_enough]
    factors = numbers(surface)
    along = np.array([surface.mean(cells), *(f.code(cells[f.name])[:, 0] for f in factors)])
    sameness = np.abs(_centred(sizes) @ _centred(along).T)
    most, at = sameness.max(axis=1), int(sameness[0].argmax())
    low, high = np.quantile(along[at], [1 / 3, 2 / 3])
    below, above = (np.sqrt(np.mean(sizes[0, part] ** 2)) for part in (along[at] <= low, along[at] >= high))
    factor = factors[at - 1] if at else None
    return Uneven(factor, float(below), float(above), float((most >= most[0]).mean()))


def _centred(rows: np.ndarray) -> np.ndarray:
    """Rows about their means, of unit length."""
    rows = rows - rows.mean(axis=1, keepdims=True)
    return rows / np.linalg.norm(rows, axis=1, keepdims=True).clip(min=1e-300)


def _two_sided(surface: Surface, shift: float, seen: float, chosen: np.ndarray) -> float:
    """Probability of a shift of the chosen rows as large; few make-readies count as few."""
    with_shift = np.column_stack([surface.white_design, surface.whitening.apply(chosen)])
    freedom = Freedom.of(with_shift, surface.groups, surface.whitening)
    df = freedom.of_means(np.eye(with_shift.shape[1])[-1:])[0]
    variance = (surface.solution.ssr - shift**2 * seen) / max(surface.solution.df - 1, 1)
    return float(2.0 * stdtr(df, -abs(shift) * np.sqrt(seen / max(variance, 1e-300))))
