"""How the spread from print to print of one response grows with the settings.

A print's deviation, make-ready and print together, is that of an even spread times exp(γ'w): w has the coded speed, cell
volume and pressure, so that γ is half the logarithm of the ratio of the spreads at both ends of what was tried. γ is normal
about 0 before the trial; what the trial tells of it is its restricted likelihood (Patterson & Thompson 1971, Biometrika
58, 545-554), which Fisher scoring climbs (Smyth 2002, J. Comput. Graph. Stat. 11, 836-847). The posterior is taken to be
normal with the curvature there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from pwindow.surfaces.model.responses import FACTORS
from pwindow.surfaces.model.terms import Factor
from pwindow.surfaces.single.surface import Surface
from pwindow.surfaces.single.variance import Components

PRIOR = 0.25
"""Standard deviation of γ before the trial (tests/bench/bench_spread.py)."""
_STEPS, _LONGEST, _SETTLED = 20, 0.5, 1e-4


@dataclass(frozen=True, kw_only=True, eq=False)
class SpreadGrowth:
    """What a trial tells of how a response's spread grows with the settings.

    Attributes
    ----------
    factors : tuple of Factor
        k of them.
    prints : ndarray, shape (n, k)
        Their codes at the prints of the trial.
    slopes : ndarray, shape (k,)
        Posterior mean of γ.
    covariance : ndarray, shape (k, k)
    """

    factors: tuple[Factor, ...]
    prints: np.ndarray
    slopes: np.ndarray
    covariance: np.ndarray

    @classmethod
    def of(cls, surface: Surface, prior: float = PRIOR) -> SpreadGrowth:
        """What the prints of a surface tell.

        Parameters
        ----------
        surface : Surface
        prior : float
            Standard deviation of each slope before the trial.
        """
        prints = _Prints.of(surface)
        slopes, covariance = prints.posterior(prior)
        return cls(factors=prints.factors, prints=prints.codes, slopes=slopes, covariance=covariance)

    def deviation(self, setups: pd.DataFrame) -> np.ndarray:
        """Standard deviation at set-ups beside that of an even spread, root mean square over what γ may be; shape (m,)."""
        return np.sqrt(self._expected(self._codes(setups)) / self._expected(self.prints).mean())

    def deviations(self, setups: pd.DataFrame, slopes: np.ndarray) -> np.ndarray:
        """The same under given γ, shape (m, s) for `slopes` of shape (s, k)."""
        usual = np.exp(2.0 * self.prints @ slopes.T).mean(axis=0)
        return np.exp(self._codes(setups) @ slopes.T) / np.sqrt(usual)

    @property
    def ratios(self) -> Mapping[str, tuple[float, float, float]]:
        """By setting: how many times the spread at its low end that at its high end is, with a 95 % interval."""
        # codes run from -1 to 1
        reach = ndtri(0.975) * np.sqrt(np.diag(self.covariance))
        middle, low, high = np.exp(2.0 * np.array([self.slopes, self.slopes - reach, self.slopes + reach]))
        return {
            factor.name: (float(middle[at]), float(low[at]), float(high[at]))
            for at, factor in enumerate(self.factors)
        }

    def drawn(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Slopes that are possible, each as probable as another, shape (count, k)."""
        root = np.linalg.cholesky(self.covariance)
        return self.slopes + rng.standard_normal((count, len(root))) @ root.T

    def _expected(self, codes: np.ndarray) -> np.ndarray:
        return np.exp(2.0 * (codes @ self.slopes + ((codes @ self.covariance) * codes).sum(axis=1)))

    def _codes(self, setups: pd.DataFrame) -> np.ndarray:
        return _coded(self.factors, setups)


def _coded(factors: tuple[Factor, ...], rows: pd.DataFrame) -> np.ndarray:
    return np.column_stack([np.zeros((len(rows), 0)), *(one.code(rows[one.name]) for one in factors)])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Prints:
    """A response, reduced to one mean a print.

    Attributes
    ----------
    factors : tuple of Factor
    codes : ndarray, shape (n, k)
    design : ndarray, shape (n, p)
        Orthonormal: what the surface can follow.
    means : ndarray, shape (n,)
    blocks : tuple of (ndarray of int, shape (b, s), and ndarray, shape (s, s))
        Prints that share make-readies, those of b make-readies with s prints each together, and the covariance of what varies
        from print to print in each where the spread is even.
    features : ndarray, shape (n,)
        Variance of the mean of a print's features.
    """

    factors: tuple[Factor, ...]
    codes: np.ndarray
    design: np.ndarray
    means: np.ndarray
    blocks: tuple[tuple[np.ndarray, np.ndarray], ...]
    features: np.ndarray

    @classmethod
    def of(cls, surface: Surface) -> _Prints:
        cells, components = surface.cells, surface.components
        member, names = pd.factorize(cells["print"])
        share = (np.arange(len(names))[:, None] == member) * cells["count"].to_numpy(float)
        counts = share.sum(axis=1)
        share /= counts[:, None]
        sizes = [rows.stop - rows.start for rows, _ in surface.groups.blocks]
        ready = np.repeat(np.arange(len(sizes)), sizes) if components.split else member
        of_print = ready[np.unique(member, return_index=True)[1]]
        used = {name for term in surface.design.terms for name in term}
        factors = tuple(one for one in surface.design.factors if one.name in FACTORS and one.name in used)
        turn, size, _ = np.linalg.svd(share @ surface.design.matrix(cells), full_matrices=False)
        return cls(
            factors=factors,
            codes=share @ _coded(factors, cells),
            design=turn[:, size > 1e-9 * size[0]],
            means=share @ cells["value"].to_numpy(float),
            blocks=tuple(_blocks(of_print, components)),
            features=components.feature / counts,
        )

    def posterior(self, prior: float) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of γ; what all prints have in common is estimated beside it."""
        along = np.column_stack([np.ones(len(self.codes)), self.codes - self.codes.mean(axis=0)])
        held = np.diag([0.0, *np.full(along.shape[1] - 1, prior**-2.0)])
        at = np.zeros(along.shape[1])
        for _ in range(_STEPS):
            score, information = self._score(along, at)
            step = np.linalg.solve(information + held, score - held @ at)
            at = at + step.clip(-_LONGEST, _LONGEST)
            if np.abs(step).max() < _SETTLED:
                break
        return at[1:], np.linalg.inv(information + held)[1:, 1:]

    def _score(self, along: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Slope of the restricted log likelihood and its expected curvature."""
        growing = [_Growing.of(self, rows, effects, along, along @ at) for rows, effects in self.blocks]
        solved = self._joined(growing, lambda one: one.solved)
        free, target = solved[:, :-1], solved[:, -1]
        reach, again = (self._joined(growing, part) for part in (_Growing.reach, _Growing.again))
        gram = np.linalg.inv(self.design.T @ free)
        rest = target - free @ (gram @ (self.design.T @ target))
        inside = gram @ (free.T @ reach)
        score = sum(one.pull(rest) for one in growing) - 0.5 * (
            sum(one.traces for one in growing) - np.einsum("kii->k", inside)
        )
        beside = np.einsum("knp,lnp->kl", reach @ gram, again)
        crossed = (
            sum(one.crossed for one in growing) - 2.0 * beside + np.einsum("kij,lji->kl", inside, inside)
        )
        return score, 0.5 * crossed

    def _joined(self, growing: list[_Growing], of: Callable[[_Growing], np.ndarray]) -> np.ndarray:
        """What each block has of its prints, as a table of all prints."""
        parts = [of(one) for one in growing]
        first = parts[0]
        table = np.empty((*first.shape[:-3], len(self.means), first.shape[-1]))
        for one, part in zip(growing, parts):
            table[..., one.rows, :] = part
        return table


def _blocks(of_print: np.ndarray, components: Components) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Make-readies by the number of their prints."""
    sizes = np.bincount(of_print)
    for size in np.unique(sizes[sizes > 0]):
        own = np.flatnonzero(sizes[of_print] == size)
        rows = own[np.argsort(of_print[own], kind="stable")].reshape(-1, size)
        yield rows, components.make_ready + components.print_ * np.eye(size)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Growing:
    """b make-readies of s prints each, under one γ; the derivative of their covariance E along w is w E + E w.

    Attributes
    ----------
    rows : ndarray of int, shape (b, s)
    along : ndarray, shape (k, b, s)
        What the spread may grow with.
    effects : ndarray, shape (b, s, s)
        Covariance of what varies from print to print.
    solved : ndarray, shape (b, s, p + 1)
        Inverse covariance times model rows and means.
    changes, moved : ndarray, shape (k, b, s, s)
        The derivatives, and the inverse covariance times them.
    """

    rows: np.ndarray
    along: np.ndarray
    effects: np.ndarray
    solved: np.ndarray
    changes: np.ndarray
    moved: np.ndarray

    @classmethod
    def of(
        cls, prints: _Prints, rows: np.ndarray, effects: np.ndarray, along: np.ndarray, logs: np.ndarray
    ) -> _Growing:
        """Of blocks of prints.

        Parameters
        ----------
        prints : _Prints
        rows, effects
            One of its blocks.
        along : ndarray, shape (n, k)
        logs : ndarray, shape (n,)
            Logarithm of how much the spread has grown.
        """
        size, w = np.exp(logs[rows]), np.moveaxis(along[rows], 2, 0)
        grown = effects * size[:, :, None] * size[:, None, :]
        inverse = np.linalg.inv(grown + prints.features[rows][:, :, None] * np.eye(rows.shape[1]))
        changes = w[..., :, None] * grown + grown * w[..., None, :]
        known = np.column_stack([prints.design, prints.means])
        return cls(
            rows=rows,
            along=w,
            effects=grown,
            solved=inverse @ known[rows],
            changes=changes,
            moved=inverse @ changes,
        )

    def reach(self) -> np.ndarray:
        """The derivatives times the solved model rows, shape (k, b, s, p)."""
        return self.changes @ self.solved[..., :-1]

    def again(self) -> np.ndarray:
        """The inverse covariance times that."""
        return self.moved @ self.solved[..., :-1]

    def pull(self, rest: np.ndarray) -> np.ndarray:
        """Half of what the derivatives make of weighted residuals, shape (k,)."""
        own = rest[self.rows]
        return (self.along * own * (self.effects @ own[..., None])[..., 0]).sum(axis=(1, 2))

    @property
    def traces(self) -> np.ndarray:
        return np.einsum("kbii->k", self.moved)

    @property
    def crossed(self) -> np.ndarray:
        return np.einsum("kbij,lbji->kl", self.moved, self.moved)
