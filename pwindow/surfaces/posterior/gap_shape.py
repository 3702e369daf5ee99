"""How closures vary between the gaps of a print: as normal ones, or lopsided, or with heavier tails.

The closure of a gap is that of its print plus σ τ(z), z standard normal and τ the standardised g-and-h transformation
(e^{gz} - 1)/g · e^{hz²/2} (Tukey; Hoaglin 1985, in Exploring Data Tables, Trends and Shapes, chapter 11). What a trial
tells of g and h are the skewness and the kurtosis of its gaps about the means of their prints; how these two scatter
under each g and h is simulated for prints of the same numbers of gaps (synthetic likelihood; Wood 2010, Nature 466,
1102). Before the trial g is normal about 0 and h half-normal, as narrow as lets gaps that are normal lose nothing
(tests/bench/bench_tails.py): a few hundred gaps tell little of the worst of thousands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from pwindow.trials.reduction import GAP_KEYS
from pwindow.trials.trial import Trial

_SKEWS = np.linspace(-0.6, 0.6, 13)
_TAILS = np.array([0.0, 0.03, 0.06, 0.1, 0.15, 0.2])
_SKEW_SCALE, _TAIL_SCALE = 0.15, 0.04
_SAMPLES, _MOST = 160, 2000  # simulated trials; gaps of one, of which more are taken to tell in proportion
_FEWEST = 3
"""Prints with gaps to compare, of which fewer tell nothing."""
_NEGLIGIBLE = 1e-4
_SEED = 5081


@dataclass(frozen=True, kw_only=True, eq=False)
class GapShape:
    """Shapes that the closures of gaps about their print may have, each as probable as its weight.

    Attributes
    ----------
    skews, tails, weights : ndarray, shape (k,)
        g, h, and the posterior probability of the two.
    inspected : int
        Gaps that tell of it.
    p : float
        Probability that normal gaps look as little normal; 1 where too few tell.
    skewness : float
        Of the gaps about the means of their prints.
    """

    skews: np.ndarray
    tails: np.ndarray
    weights: np.ndarray
    inspected: int
    p: float
    skewness: float

    @classmethod
    def of(cls, trial: Trial) -> GapShape:
        """What the measured gaps of a trial tell."""
        values, sizes = _about_prints(trial.features)
        skews, tails = (grid.ravel() for grid in np.meshgrid(_SKEWS, _TAILS, indexing="ij"))
        logs = -0.5 * (skews / _SKEW_SCALE) ** 2 - 0.5 * (tails / _TAIL_SCALE) ** 2
        logs += np.log(np.tile(np.gradient(_TAILS), len(_SKEWS)))
        p, skewness = 1.0, 0.0
        if len(sizes) >= _FEWEST and np.ptp(values) > 0.0:
            seen = _moments(values[None], sizes)[:, 0]
            told = _Simulated.of(sizes).log_likelihood(seen, skews, tails)
            logs, p, skewness = logs + told.logs, told.p, float(seen[0])
        weights = np.exp(logs - logs.max())
        kept = weights > _NEGLIGIBLE
        weights = weights[kept] / weights[kept].sum()
        return cls(
            skews=skews[kept],
            tails=tails[kept],
            weights=weights,
            inspected=len(values),
            p=p,
            skewness=skewness,
        )

    def drawn(self, count: int) -> np.ndarray:
        """Positions of shapes, each as often as it is probable, in no order; shape (count,)."""
        even = np.random.default_rng(_SEED).permutation((np.arange(count) + 0.5) / count)
        return np.searchsorted(np.cumsum(self.weights), even).clip(max=len(self.weights) - 1)

    def deviations(self, scores: np.ndarray) -> np.ndarray:
        """Deviations of gaps in their standard deviation, shape (k, n), where a normal gap deviates by `scores`."""
        shaped = _transformed(scores, self.skews, self.tails)
        nodes, weights = np.polynomial.hermite_e.hermegauss(60)
        at_nodes, weights = _transformed(nodes, self.skews, self.tails), weights / weights.sum()
        mean = at_nodes @ weights
        return (shaped - mean[:, None]) / np.sqrt(at_nodes**2 @ weights - mean**2)[:, None]


def _transformed(scores: np.ndarray, skews: np.ndarray, tails: np.ndarray) -> np.ndarray:
    lopsided = [np.expm1(g * scores) / g if g else scores for g in skews]
    return np.array(lopsided) * np.exp(np.multiply.outer(tails, scores**2 / 2.0))


def _about_prints(features: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Measured gaps, print after print and plate gap after plate gap, and how many each has.

    Left out are those with a single gap, which compares with none, with bridged ones, whose closures are cut off, and with
    gaps that are all the same, which are copies of one.
    """
    of_cell = features.groupby(GAP_KEYS, sort=False, dropna=False)
    whole = of_cell["gaps_bridged"].transform("sum") == 0
    apart = of_cell["gap"].transform("max") > of_cell["gap"].transform("min")
    gaps = features[features["gap"].notna() & whole & apart]
    cell = gaps.groupby(GAP_KEYS, sort=False, dropna=False).ngroup().to_numpy()
    order = np.argsort(cell, kind="stable")
    return (gaps["plate_gap"] - gaps["gap"]).to_numpy(float)[order], np.bincount(cell)


def _moments(values: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Skewness, and logarithm of the kurtosis, of values about their groups' means; shape (2, r) of (r, n)."""
    sums = np.add.reduceat(values, np.cumsum(sizes) - sizes, axis=1)
    rest = (values - np.repeat(sums / sizes, sizes, axis=1)) * np.repeat(np.sqrt(sizes / (sizes - 1)), sizes)
    square = rest * rest
    variance = square.mean(axis=1)
    third, fourth = (square * rest).mean(axis=1), (square * square).mean(axis=1)
    return np.array([third / variance**1.5, np.log(fourth / variance**2)])


@dataclass(frozen=True)
class _Told:
    logs: np.ndarray
    p: float


@dataclass(frozen=True)
class _Simulated:
    """Normal scores of the gaps of simulated trials; `share` of the gaps of the true one."""

    scores: np.ndarray
    sizes: np.ndarray
    share: float

    @classmethod
    def of(cls, sizes: np.ndarray) -> _Simulated:
        some = sizes[: max(int(np.searchsorted(np.cumsum(sizes), _MOST)), _FEWEST)]
        half = np.random.default_rng(_SEED).standard_normal((_SAMPLES // 2, some.sum()))
        return cls(np.concatenate([half, -half]), some, some.sum() / sizes.sum())

    def log_likelihood(self, seen: np.ndarray, skews: np.ndarray, tails: np.ndarray) -> _Told:
        """Of both moments under each g and h, normal about what is simulated, and how normal gaps would do."""
        simulated = self._moments_under(sorted({(abs(g), h) for g, h in zip(skews, tails)}))
        logs, p = np.empty(len(skews)), 1.0
        for at, (g, h) in enumerate(zip(skews, tails)):
            mean, covariance = simulated[abs(g), h]
            off = seen * [-1.0 if g < 0 else 1.0, 1.0] - mean  # a negative g is a positive one in a mirror
            square = float(off @ np.linalg.solve(covariance, off))
            logs[at] = -0.5 * square - 0.5 * np.linalg.slogdet(covariance)[1]
            if g == 0.0 and h == 0.0:
                p = float(chdtrc(2, square))
        return _Told(logs, p)

    def _moments_under(
        self, shapes: list[tuple[float, float]]
    ) -> dict[tuple[float, float], tuple[np.ndarray, np.ndarray]]:
        """Mean and covariance of both moments under each g and h."""
        half_square = self.scores**2 / 2.0
        heavy = {h: np.exp(h * half_square) for h in sorted({h for _, h in shapes})}
        found = {}
        for g in sorted({g for g, _ in shapes}):
            lopsided = np.expm1(g * self.scores) / g if g else self.scores
            for h, factor in heavy.items():
                moments = _moments(lopsided * factor, self.sizes)
                found[g, h] = moments.mean(axis=1), np.cov(moments) * self.share
        return found
