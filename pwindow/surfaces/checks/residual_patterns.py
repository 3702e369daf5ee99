"""Patterns of residuals over the factors: a level that lies off, a spread that grows."""

from __future__ import annotations

from collections.abc import Iterator
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
    tried = list(_levels(surface))
    if not tried:
        return None
    chosen = np.zeros((len(surface.cells), len(tried)))
    for at, (_, rows) in enumerate(tried):
        chosen[rows, at] = 1.0
    q, white = linalg.qr(surface.white_design, mode="economic")[0], surface.whitening.apply(chosen)
    beside = white - q @ (q.T @ white)
    seen = (beside**2).sum(axis=0)
    told = seen > _SEEN * (white**2).sum(axis=0)
    if not told.any():
        return None
    shifts = np.divide(surface.solution.residuals @ beside, seen, out=np.zeros_like(seen), where=told)
    worst = int(np.argmax(shifts**2 * seen))
    factor, rows = tried[worst]
    values = surface.cells[factor.name].to_numpy(float)
    shift = float(shifts[worst])
    chance = int(told.sum()) * _two_sided(surface, shift, float(seen[worst]), chosen[:, worst])
    return OffLevel(factor, float(values[rows[0]]), np.unique(values), shift, min(chance, 1.0))


def _levels(surface: Surface) -> Iterator[tuple[Factor, np.ndarray]]:
    """Each level of each factor that enough prints have, and its rows."""
    prints = surface.cells["print"].to_numpy()
    for factor in numbers(surface):
        for rows in surface.cells.groupby(factor.name).indices.values():
            if len(np.unique(prints[rows])) >= _FEWEST:
                yield factor, np.asarray(rows)


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
    score : float
        How far that is from even, in standard deviations.
    """

    factor: Factor | None
    low: float
    high: float
    p: float
    score: float


def uneven_spread(rests: Rests) -> Uneven:
    """Along what the spread changes most: by the scores for prints, which see much in many, or by absolute residuals.

    The latter after Glejser (1969, J. Am. Stat. Assoc. 64, 316-323), which single make-readies mislead less.
    """
    surface, factors = rests.surface, numbers(rests.surface)
    along = np.array([surface.mean(surface.cells), *(f.code(surface.cells[f.name])[:, 0] for f in factors)])
    of_prints = np.concatenate([rests.scores(*_effects(surface, each)) for each in along])
    scores = np.abs(np.stack([of_prints, rests.sameness(along)])).max(axis=0)
    most, at = scores.max(axis=0), int(scores[:, 0].argmax())
    factor = factors[at - 1] if at else None
    low, high = _in_outer_thirds(surface, along[at])
    return Uneven(factor, low, high, float((most >= most[0]).mean()), float(most[0]))


def _effects(surface: Surface, along: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whitened rows of the effects whose variance may change, and by how much: prints, or cells where prints have several values."""
    _, first, member = np.unique(surface.cells["print"].to_numpy(), return_index=True, return_inverse=True)
    means = np.bincount(member, along) / np.bincount(member)
    if not np.allclose(means[member], along):
        first = member = np.arange(len(along))
    rows = surface.whitening.apply((member[:, None] == np.arange(len(first))) * 1.0).T
    return rows, _centred(along[None, first])


def _in_outer_thirds(surface: Surface, along: np.ndarray) -> tuple[float, float]:
    """Spread about the surface where something is low, and where it is high."""
    free = 1.0 - surface.solution.leverage
    kept = free > 1e-6
    sizes, along = np.abs(surface.solution.residuals[kept]) / np.sqrt(free[kept]), along[kept]
    low, high = np.quantile(along, [1 / 3, 2 / 3])
    below, above = (float(np.sqrt(np.mean(sizes[part] ** 2))) for part in (along <= low, along >= high))
    return below, above


@dataclass(frozen=True)
class SlopesApart:
    """A factor whose effect differs between make-readies.

    Attributes
    ----------
    factor : Factor
    spread : float
        Standard deviation of the change over the factor's tried range, on the modelled scale; an estimate by
        moments.
    p : float
        Probability that the effects of all factors seem to differ as much if they are the same everywhere.
    score : float
        How far that is from the same, in standard deviations.
    """

    factor: Factor
    spread: float
    p: float
    score: float


def slopes_apart(rests: Rests) -> SlopesApart | None:
    """The factor whose effect differs most between make-readies, by the score for it; None where none varies inside of them."""
    surface = rests.surface
    tried = [
        (factor, slopes)
        for factor in numbers(surface)
        if (slopes := _by_make_ready(surface, factor)) is not None
    ]
    if not tried:
        return None
    scores = np.array([rests.scores(slopes, np.ones((1, len(slopes))))[0] for _, slopes in tried])
    most, at = scores.max(axis=0), int(scores[:, 0].argmax())
    factor, slopes = tried[at]
    chance = float((most >= most[0]).mean())
    return SlopesApart(factor, rests.spread_of(slopes), chance, float(most[0]))


@dataclass(frozen=True)
class Rests:
    """Residuals of whitened rows, and those of surfaces of which all that is assumed holds.

    Attributes
    ----------
    surface : Surface
    q : ndarray, shape (n, p)
        An orthonormal basis of what the surface can follow.
    lengths : ndarray, shape (1 + draws, n)
        Residuals divided by their length: the true ones, then those that were drawn.
    """

    surface: Surface
    q: np.ndarray
    lengths: np.ndarray

    @classmethod
    def of(cls, surface: Surface) -> Rests:
        q = linalg.qr(surface.white_design, mode="economic")[0]
        drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(q)))
        rests = np.vstack([surface.solution.residuals, drawn - drawn @ q @ q.T])
        return cls(surface, q, rests / np.linalg.norm(rests, axis=1, keepdims=True).clip(min=1e-300))

    def scores(self, rows: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """Scores for variances that are not assumed, shape (w, 1 + draws).

        Σ weight · (row'e)² over effects that have a row each (Lin 1997, Biometrika 84, 309-326), in standard deviations of
        what it is where nothing of the kind is there; how far it then goes depends on the layout and is what was drawn.

        Parameters
        ----------
        rows : ndarray, shape (k, n)
            Whitened.
        weights : ndarray, shape (w, k)
            For each kind of variance how it grows from effect to effect.
        """
        return _standardised(weights @ ((self.lengths @ rows.T) ** 2).T)

    def sameness(self, along: np.ndarray) -> np.ndarray:
        """Correlation of absolute residuals with each of some numbers of the cells, as `scores`; `along` of shape (w, n)."""
        free = 1.0 - self.surface.solution.leverage
        kept = free > 1e-6
        sizes = np.abs(self.lengths[:, kept]) / np.sqrt(free[kept])
        return _standardised(_centred(along[:, kept]) @ _centred(sizes).T)

    def spread_of(self, slopes: np.ndarray) -> float:
        """Standard deviation of slopes, by what their scores exceed those of slopes that agree; the code runs from -1 to 1."""
        left, solution = slopes - (slopes @ self.q) @ self.q.T, self.surface.solution
        score = ((slopes @ solution.residuals) ** 2).sum()
        expected, gain = solution.ssr / solution.df * (left * left).sum(), ((left @ slopes.T) ** 2).sum()
        return 2.0 * float(np.sqrt(max(score - expected, 0.0) / max(gain, 1e-300)))


def _by_make_ready(surface: Surface, factor: Factor) -> np.ndarray | None:
    """Whitened rows of the factor about its mean in each make-ready, shape (g, n); None where it hardly varies in any."""
    code = factor.code(surface.cells[factor.name])[:, 0]
    inside = np.zeros((len(code), len(surface.groups.blocks)))
    for at, (block, _) in enumerate(surface.groups.blocks):
        inside[block, at] = code[block] - code[block].mean()
    varied = np.ptp(inside, axis=0) > 1e-9  # not by rounding alone
    return surface.whitening.apply(inside[:, varied]).T if varied.sum() >= _FEWEST else None


def _standardised(totals: np.ndarray) -> np.ndarray:
    """About the mean of what was drawn, all but the first of each row, in its standard deviation."""
    drawn = totals[:, 1:]
    spread = drawn.std(axis=1, keepdims=True).clip(min=1e-300)  # none where nothing changes
    return (totals - drawn.mean(axis=1, keepdims=True)) / spread


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
