"""Draws from the posterior of a multi-response model with make-ready, print and feature effects.

For response r of a feature of print i in make-ready m

    y = x'β_r + a_mr + b_ir + e,   a_m ~ N(0, Σ_a),  b_i ~ N(0, Σ_b),  e ~ N(0, σ_r²),

with β flat, Σ_a and Σ_b under the hierarchical inverse-Wishart prior of Huang & Wand (2013, Bayesian
Anal. 8, 439-452), whose standard deviations are half-t and whose correlations are uniform, and
p(σ_r²) ∝ 1/σ_r². Each step draws the coefficients, make-ready effects and print effects of one
response together, given those of the others (Gelfand & Smith 1990, JASA 85, 398-409; van Dyk & Park
2008, JASA 103, 790-796), from sufficient statistics of the prints; censored closures are drawn
beyond their edges (Chib 1992, J. Econometrics 51, 79-99). Many short chains run side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pwindow.surfaces.model.censoring import Censored
from pwindow.surfaces.posterior.statistics import ByFeatureCount, Completed, PrintStatistics, Readies

_EFFECTS = 12_000
"""Print effects that all chains together draw of one response, unless that leaves fewer than 8."""
MIXED = 1.2
"""Potential scale reduction that short chains of one distribution stay below."""


@dataclass(frozen=True, kw_only=True)
class Source:
    """One response as the sampler takes it.

    Attributes
    ----------
    statistics : PrintStatistics
    values : ndarray, shape (m,)
        Cell means; a start where some are censored.
    censored : Censored or None
    precision : ndarray, shape (p,)
        Prior precision of the coefficients, 0 for none.
    feature_sd : float or None
        Standard deviation between features where it was not measured.
    penalised : tuple of int
        Numbers of the last coefficients, in order, that share a variance; its root is half-Cauchy on
        the scale of the residuals.
    """

    statistics: PrintStatistics
    values: np.ndarray
    censored: Censored | None
    precision: np.ndarray
    feature_sd: float | None
    penalised: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Draws:
    """Draws from the posterior, chain after chain.

    Attributes
    ----------
    coefficients : tuple of ndarray, shape (s, p_r)
    centres : tuple of ndarray, shape (p_r,)
        Means of the coefficients, from their conditional means.
    make_ready, print_ : ndarray, shape (s, q, q)
        Σ_a (zero where the trial cannot separate it) and Σ_b.
    feature : ndarray, shape (s, q)
        σ².
    mixing : float
        Largest potential scale reduction over log variances (Gelman & Rubin 1992, Stat. Sci. 7, 457).
    """

    coefficients: tuple[np.ndarray, ...]
    centres: tuple[np.ndarray, ...]
    make_ready: np.ndarray
    print_: np.ndarray
    feature: np.ndarray
    mixing: float


@dataclass(frozen=True)
class Between:
    """The spread between make-readies as it is held to be before a trial.

    Its covariance is inverse Wishart, so that each variance is scaled inverse χ²: what `freedom` + 1
    make-readies would have told.

    Attributes
    ----------
    scales : tuple of float
        Standard deviation of each response, on the modelled scale.
    freedom : float
    """

    scales: tuple[float, ...]
    freedom: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How long to sample, and under which prior.

    Attributes
    ----------
    chains, warm, kept, doublings : int
        Chains side by side; sweeps that are forgotten and kept; how often the kept ones are
        forgotten too and twice as many drawn, while the chains still differ.
    freedom : float
        ν of the half-t prior of standard deviations.
    width : float
        Scale of that prior, in residual standard deviations of the response. Of 0.25, 0.5 and 0.7 the
        smallest that loses no true spread more often than its interval says, and overstates no
        conformance at the fastest assured set-up (320 trials of eight kinds; tests/bench/bench_prior.py).
    scales : tuple of float, optional
        Scale of that prior by response, in place of `width`.
    hierarchical : bool
        Whether the prior's scale is uncertain, which makes standard deviations half-t and correlations
        uniform; a plain inverse Wishart of that scale otherwise.
    between : Between, optional
        What is held of the spread between make-readies before any is seen, in place of that prior.
    seed : int
    """

    chains: int = 32
    warm: int = 40
    kept: int = 60
    doublings: int = 6
    freedom: float = 2.0
    width: float = 0.5
    scales: tuple[float, ...] | None = None
    hierarchical: bool = True
    between: Between | None = None
    seed: int = 20417


def draw_posterior(sources: Sequence[Source], readies: np.ndarray | None, plan: Plan) -> Draws:
    """Sample the posterior.

    Parameters
    ----------
    sources : sequence of Source
        One a response, on one list of n prints.
    readies : ndarray of int, shape (n,), or None
        Make-ready of each print; None where make-ready and print cannot be separated.
    plan : Plan
    """
    chain = _Chains(sources, readies, plan)
    chain.run(plan.warm)
    draws = _gather(chain.run(plan.kept), split=chain.readies.split)
    for doubling in range(1, plan.doublings + 1):
        if draws.mixing < MIXED:
            break
        draws = _gather(chain.run(plan.kept * 2**doubling), split=chain.readies.split)
    return draws


class _Chains:
    """The state of all chains; leading axes are chains."""

    def __init__(self, sources: Sequence[Source], readies: np.ndarray | None, plan: Plan):
        self.q, self.n = len(sources), len(sources[0].statistics.counts)
        # the more prints, the narrower the posterior: fewer draws place it as well
        self.plan = plan = replace(plan, chains=min(plan.chains, max(8, _EFFECTS // self.n)))
        self.sources = sources
        self.rng = np.random.default_rng(plan.seed)
        self.readies = Readies.of(readies, self.n)
        self.by_count = [ByFeatureCount.of(source.statistics, self.readies) for source in sources]
        self.completed = [s.statistics.complete(s.values[None]) for s in sources]
        start = np.array([_residual_variance(s, c) for s, c in zip(sources, self.completed)])
        scales = plan.width * np.sqrt(start) if plan.scales is None else np.array(plan.scales)
        self.prior_variance = (scales**2).clip(min=1e-24)
        spread = np.exp(self.rng.normal(0.0, 0.7, (3, plan.chains, self.q)))
        # Σ⁻¹ is what the draws of the effects need
        self.print_precision = _diagonal(1.0 / (0.5 * start * spread[0]))
        self.ready_precision = _diagonal(1.0 / (0.3 * start * spread[1]))
        self.feature = np.stack(
            [
                np.full(plan.chains, s.feature_sd**2)
                if s.feature_sd
                else _feature_start(s, start[r]) * spread[2, :, r]
                for r, s in enumerate(sources)
            ],
            axis=1,
        )
        self.ridges = [_Ridge(s.penalised, start[r], plan.chains) for r, s in enumerate(sources)]
        self.a = np.zeros((plan.chains, self.readies.count, self.q))
        self.b = np.zeros((plan.chains, self.n, self.q))
        self.beta: list = [None] * self.q
        self.centre: list = [None] * self.q
        self.helper_a, self.helper_b = (
            np.ones((plan.chains, self.q)) / self.prior_variance for _ in range(2)
        )
        self.held = plan.between
        if self.held is not None:  # the helper under which the prior's scatter is freedom times variance
            self.helper_a = np.tile(2.0 / np.array(self.held.scales) ** 2, (plan.chains, 1))

    def run(self, sweeps: int) -> list[tuple]:
        """The states after each of some sweeps."""
        states = []
        for _ in range(sweeps):
            self.sweep()
            states.append(self.state())
        return states

    def sweep(self) -> None:
        """One draw of everything given the rest."""
        for r, source in enumerate(self.sources):
            if source.censored is not None and self.beta[r] is not None:
                self._complete(r, source.statistics, source.censored)
            self._draw_effects(r, source.statistics, self.ridges[r].precision(source.precision))
            self.ridges[r].draw(self.beta[r], self.rng)
            if source.feature_sd is None:
                self._draw_feature(r, source.statistics)
        learns = self.plan.hierarchical
        self.print_precision, self.helper_b = self._draw_precision(
            self.b, self.helper_b, self.plan.freedom, learns=learns
        )
        if self.readies.split:
            freedom, learns = (self.plan.freedom, learns) if self.held is None else (self.held.freedom, False)
            self.ready_precision, self.helper_a = self._draw_precision(
                self.a, self.helper_a, freedom, learns=learns
            )

    def state(self) -> tuple:
        return (
            list(self.beta),
            list(self.centre),
            self.ready_precision,
            self.print_precision,
            self.feature.copy(),
        )

    def _complete(self, r: int, statistics: PrintStatistics, censored: Censored) -> None:
        mean = self.beta[r] @ statistics.rows.T + self._effect(r)[:, statistics.member]
        drawn = censored.draw(mean, np.sqrt(self.feature[:, r]), self.rng)
        values, inside = censored.complete(drawn)
        self.completed[r] = statistics.complete(values, inside + statistics.feature_ss)

    def _effect(self, r: int) -> np.ndarray:
        return self.a[:, self.readies.member, r] + self.b[:, :, r]

    def _draw_effects(self, r: int, statistics: PrintStatistics, prior: np.ndarray) -> None:
        """β, a and b of one response in one draw: β with a and b integrated out, then a, then b."""
        feature, done, split, by_count = (
            self.feature[:, r, None],
            self.completed[r],
            self.readies,
            self.by_count[r],
        )
        b_mean, b_variance = _conditional(self.print_precision, self.b, r)
        a_mean, a_variance = _conditional(self.ready_precision, self.a, r)
        weights = by_count.used / (b_variance[:, None] + feature / by_count.counts)
        weight = weights[:, by_count.member]
        target = done.means - b_mean - a_mean[:, split.member]

        right = done.within / feature + (weight * target) @ statistics.design
        precision = statistics.within / feature[:, :, None] + by_count.cross(weights) + _diagonal(prior)
        if split.split:
            shrink = a_variance[:, None] / (1.0 + a_variance[:, None] * (weights @ by_count.of_ready.T))
            means = by_count.ready_sums(weights)
            scaled = shrink[:, :, None] * means
            precision -= means.transpose(0, 2, 1) @ scaled
            right -= (split.sums(weight * target)[:, None, :] @ scaled)[:, 0]
        beta, self.centre[r] = self._draw_normal(precision, right)

        rest = target - beta @ statistics.design.T
        if split.split:
            inverse = 1.0 / a_variance[:, None] + weights @ by_count.of_ready.T
            own = split.sums(weight * rest) / inverse + self._normal(inverse.shape) / np.sqrt(inverse)
            self.a[:, :, r] = a_mean + own
            rest = rest - own[:, split.member]
        noise = (by_count.used * by_count.counts / feature)[:, by_count.member]
        inverse = 1.0 / b_variance[:, None] + noise
        own = noise * rest / inverse + self._normal(inverse.shape) / np.sqrt(inverse)
        self.b[:, :, r] = b_mean + own
        self.beta[r] = beta

    def _draw_normal(self, precision: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Draws of N(P⁻¹ right, P⁻¹), and P⁻¹ right, both (c, p)."""
        factor = np.linalg.cholesky(precision)
        # P = L L': P⁻¹ L z has covariance P⁻¹
        about = factor @ self._normal((*right.shape, 1))
        centre, about = np.linalg.solve(precision, np.concatenate([right[:, :, None], about], axis=2)).T
        return (centre + about).T, centre.T

    def _draw_feature(self, r: int, statistics: PrintStatistics) -> None:
        done, beta = self.completed[r], self.beta[r]
        rest = done.means - beta @ statistics.design.T - self._effect(r)
        inside = np.einsum("cp,pq,cq->c", beta, statistics.within, beta)
        inside += done.square - 2.0 * (done.within * beta).sum(axis=1)
        total = inside.clip(min=0.0) + (statistics.counts * rest**2).sum(axis=1)
        freedom = statistics.counts.sum()
        self.feature[:, r] = (total / self.rng.chisquare(freedom, len(beta))).clip(min=1e-30)

    def _draw_precision(
        self, effects: np.ndarray, helper: np.ndarray, nu: float, *, learns: bool
    ) -> tuple[np.ndarray, np.ndarray]:
        """Σ⁻¹ given its effects, and the helper variables of its prior given Σ where that `learns`."""
        q = self.q
        scatter = effects.transpose(0, 2, 1) @ effects + _diagonal(2.0 * nu / helper)
        precision = self._wishart(nu + q - 1 + effects.shape[1], scatter)
        if not learns:
            return precision, helper
        rate = nu * np.einsum("cii->ci", precision) + 1.0 / self.prior_variance
        return precision, rate / self.rng.gamma((nu + q) / 2.0, 1.0, helper.shape)

    def _wishart(self, freedom: float, scatter: np.ndarray) -> np.ndarray:
        """W(freedom, scatter⁻¹) by Bartlett's decomposition."""
        chains, q = len(scatter), self.q
        root = np.linalg.cholesky(scatter)
        lower = np.tril(self._normal((chains, q, q)), -1)
        lower[:, range(q), range(q)] = np.sqrt(self.rng.chisquare(freedom - np.arange(q), (chains, q)))
        # scatter⁻¹ = L'⁻¹ L⁻¹
        half = np.linalg.solve(root.transpose(0, 2, 1), lower)
        return half @ half.transpose(0, 2, 1)

    def _normal(self, shape: tuple[int, ...]) -> np.ndarray:
        return self.rng.standard_normal(shape)


class _Ridge:
    """The variances that the last coefficients of a response share, their roots half-Cauchy (Gelman
    2006, Bayesian Anal. 1, 515-533).
    """

    def __init__(self, counts: tuple[int, ...], scale: float, chains: int):
        self.counts, self.scale = np.array(counts, dtype=int), scale
        self.variance, self.helper = np.full((2, chains, len(counts)), scale)

    def precision(self, prior: np.ndarray) -> np.ndarray:
        """Prior precision of the coefficients, shape (c, p)."""
        found = np.tile(prior, (len(self.variance), 1))
        found[:, len(prior) - self.counts.sum() :] = np.repeat(1.0 / self.variance, self.counts, axis=1)
        return found

    def draw(self, beta: np.ndarray, rng: np.random.Generator) -> None:
        if not len(self.counts):
            return
        starts = beta.shape[1] - self.counts[::-1].cumsum()[::-1]
        square, size = np.add.reduceat(beta**2, starts, axis=1), self.variance.shape
        self.variance = (square / 2.0 + 1.0 / self.helper) / rng.gamma((self.counts + 1) / 2.0, 1.0, size)
        self.helper = (1.0 / self.variance + 1.0 / self.scale) / rng.gamma(1.0, 1.0, size)


def _conditional(precision: np.ndarray, effects: np.ndarray, r: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean, shape (c, n), and variance, shape (c,), of the effects of one response given the others."""
    variance = 1.0 / precision[:, r, r]
    slope = -variance[:, None] * precision[:, :, r]
    slope[:, r] = 0.0
    return (effects @ slope[:, :, None])[:, :, 0], variance


def _diagonal(values: np.ndarray) -> np.ndarray:
    return values[..., None] * np.eye(values.shape[-1])


def _residual_variance(source: Source, done: Completed) -> float:
    """Variance of print means about a plain least-squares surface."""
    statistics = source.statistics
    has = statistics.counts > 0
    x, y = statistics.design[has], done.means[0, has]
    rest = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    rank = np.linalg.matrix_rank(x)
    return max(float(rest @ rest) / max(len(y) - rank, 1), 1e-20)


def _feature_start(source: Source, residual: float) -> float:
    statistics = source.statistics
    freedom = statistics.counts.sum() - len(statistics.weights)
    return statistics.feature_ss / freedom if statistics.feature_ss > 0 else 0.5 * residual


def _gather(kept: list[tuple], *, split: bool) -> Draws:
    """Stack the sweeps: draws of one chain stand together."""
    betas, centres, *spreads = zip(*kept)
    count = len(betas[0])
    ready_precision, print_precision, feature = (np.stack(items, axis=1) for items in spreads)
    print_ = _inverse(print_precision)
    make_ready = _inverse(ready_precision) if split else np.zeros_like(print_)
    total = np.einsum("csii->csi", make_ready + print_)
    return Draws(
        coefficients=tuple(
            np.stack([b[r] for b in betas], axis=1).reshape(-1, betas[0][r].shape[1]) for r in range(count)
        ),
        centres=tuple(np.mean([c[r] for c in centres], axis=(0, 1)) for r in range(count)),
        make_ready=make_ready.reshape(-1, *make_ready.shape[2:]),
        print_=print_.reshape(-1, *print_.shape[2:]),
        feature=feature.reshape(-1, *feature.shape[2:]),
        mixing=_scale_reduction(np.log(total)),
    )


def _inverse(symmetric: np.ndarray) -> np.ndarray:
    found = np.linalg.inv(symmetric)
    return (found + found.swapaxes(-1, -2)) / 2.0


def _scale_reduction(traces: np.ndarray) -> float:
    """Largest over quantities of traces, shape (c, s, k)."""
    if traces.shape[1] < 2:
        return np.inf
    inside = traces.var(axis=1, ddof=1).mean(axis=0)
    between = traces.mean(axis=1).var(axis=0, ddof=1)
    length = traces.shape[1]
    return float(np.sqrt(((length - 1) / length * inside + between) / inside.clip(min=1e-300)).max())
