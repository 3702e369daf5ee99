"""How sure a trial makes a conformance probability.

The stated conformance is the posterior mean of p(θ): the probability that one print of a new make-ready
conforms, if all of the process were known. How far p(θ) may lie from it is what a small trial leaves open.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from pwindow.surfaces.posterior.processes import Processes
from pwindow.window.conformance import Conformance
from pwindow.window.probability.rectangle import POINTS, rectangle_probability
from pwindow.window.requirements.extremes import ONE_GAP, Extremes, extremes_of_each
from pwindow.window.requirements.limits import Limits
from pwindow.window.requirements.quantities import Errors, gap_count
from pwindow.window.requirements.tolerances import drifts

LEVEL = 0.9
"""Of equal-tailed intervals of a conformance probability."""
CONFIDENCE = 0.95
"""Of lower bounds, unless the product asks for another."""
DRAWS = 1920
"""Processes that are drawn for an interval."""
_WIDE = 0.02
"""A width of the interval from which on a trial is called small."""
_POINTS, _SETTLED = 49, 2e-3
_BATCHES = 32
_NEAR, _AT_ONCE = 0.04, 120_000
"""How near the level all processes are looked at; set-ups times processes in memory together."""
_NEAR_SCORE, _FEWER, _SURE = 0.3, 16, 1e-12
"""The same in normal scores, and how many times fewer processes are looked at elsewhere; the largest score is told."""


@dataclass(frozen=True, kw_only=True)
class ConformanceInterval:
    """Where the conformance probability of a set-up may lie, by what the trial tells.

    Attributes
    ----------
    low, high : float
        Equal-tailed interval.
    level : float
        Of the interval.
    at_least : float
        Lower bound.
    confidence : float
        Of the bound.
    """

    low: float
    high: float
    level: float
    at_least: float
    confidence: float

    @classmethod
    def of(cls, probabilities: np.ndarray, confidence: float = CONFIDENCE) -> ConformanceInterval:
        """Of conformance probabilities under processes that are each as probable, shape (s,)."""
        tail = (1.0 - LEVEL) / 2.0
        low, high, at_least = np.quantile(probabilities, [tail, 1.0 - tail, 1.0 - confidence])
        return cls(
            low=float(low), high=float(high), level=LEVEL, at_least=float(at_least), confidence=confidence
        )

    def sentence(self, stated: float) -> str:
        """What the stated conformance and the bound mean, in words.

        The stated one is rounded, but never up to all; the bound is cut, so that it never promises too much.

        Examples
        --------
        >>> sure = ConformanceInterval(low=0.83, high=0.99, level=0.9, at_least=0.83, confidence=0.95)
        >>> sure.sentence(0.951)
        'of 100 prints, each from a new make-ready, about 95 would meet all requirements; the trial is small: with 95 % confidence at least 83'
        """
        prints = 100 if stated < 0.99 else 1000
        about, sure = min(round(prints * stated), prints - 1), int(prints * self.at_least + 1e-9)
        small = "the trial is small: " if self.high - self.low > _WIDE else ""
        return (
            f"of {prints} prints, each from a new make-ready, about {about} would meet all requirements; "
            f"{small}with {100 * self.confidence:g} % confidence at least {sure}"
        )

    def to_dict(self) -> dict[str, float]:
        """As JSON has it."""
        return asdict(self)


def sampling_error(window: Conformance, setup: pd.DataFrame) -> float:
    """Standard error of the joint conformance of one set-up for the draws it stands on being finite in number.

    By the means of batches of draws, each of one chain. Of twelve seeds of the demo's fit the mean over processes has a
    standard deviation of 0.0029 and the stated value one of 0.0021, where this says 0.0026; the lower bound one of 0.012.

    Parameters
    ----------
    window : Conformance
    setup : DataFrame
        One row, as `Conformance.setups` makes it.
    """
    drawn = conformance_by_process(window, setup)[0]
    means = [batch.mean() for batch in np.array_split(drawn, _BATCHES)]
    return float(np.std(means, ddof=1) / np.sqrt(_BATCHES))


def bound_confidence(window: Conformance) -> float:
    """The confidence with which lower bounds are stated: the product's, or 95 %."""
    return CONFIDENCE if window.confidence is None else window.confidence


def conformance_interval(window: Conformance, setup: pd.DataFrame) -> ConformanceInterval:
    """Where the joint conformance probability of one set-up may lie.

    Parameters
    ----------
    window : Conformance
    setup : DataFrame
        One row, as `Conformance.setups` makes it.
    """
    return conformance_intervals(window, setup)[0]


def conformance_intervals(window: Conformance, setups: pd.DataFrame) -> list[ConformanceInterval]:
    """Where the joint conformance probability of each of some set-ups may lie.

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them, all of one plate process.
    """
    confidence = bound_confidence(window)
    return [ConformanceInterval.of(each, confidence) for each in conformance_by_process(window, setups)]


def conformance_by_process(
    window: Conformance, setups: pd.DataFrame, draws: int = DRAWS, requirement: str | None = None
) -> np.ndarray:
    """Conformance probability p(θ) at set-ups under each process that the trial leaves possible.

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them, all of one plate process.
    draws : int
        Processes, at most.
    requirement : str, optional
        All together unless one is named.

    Returns
    -------
    ndarray, shape (m, s)
        Absolute error of each about 1e-3, by the integration; the mean over processes is that of `joint_conformance`
        but for what its multivariate t does not follow.
    """
    found = _Rectangles.of(window, setups, draws, requirement)
    shape = found.mean.shape[1:]
    return found.probability(np.ones(shape, bool)).reshape(shape)


def reached(
    window: Conformance,
    setups: pd.DataFrame,
    points: int = POINTS,
    stated: np.ndarray | None = None,
    least: float = 0.0,
) -> np.ndarray:
    """What is held against the assurance level at set-ups of one plate process, shape (m,).

    The joint conformance; where the product asks for a confidence, what it is at least with that.

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them.
    points : int
        Points of the integration lattice of the joint conformance.
    stated : ndarray, shape (m,), optional
        The joint conformance, where it is known already.
    least : float
        Of joint conformances: what is surely lower need not be exact.
    """
    if window.confidence is not None:
        return conformance_at_least(window, setups, window.confidence, window.level)
    return window.joint_conformance(setups, points, least) if stated is None else stated


def conformance_at_least(
    window: Conformance,
    setups: pd.DataFrame,
    confidence: float,
    level: float | None = None,
    draws: int = DRAWS,
) -> np.ndarray:
    """What the joint conformance of set-ups is at least, shape (m,); as of `ConformanceInterval`.

    Only the processes of which elementary bounds leave open on which side of the answer they lie are integrated.

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them, all of one plate process.
    confidence : float
    level : float, optional
        Where all that matters is on which side of it the answers lie: those that an eighth of the processes puts more
        than 0.04 away from it are left at that, 0.035 off at most (`tests/bench/bench_confidence`).
    draws : int
        Processes, at most.
    """
    if level is None:
        return _at_least(window, setups, confidence, draws)
    found = _at_least(window, setups, confidence, draws // 8, level / 2.0)
    near = np.flatnonzero(np.abs(found - level) < _NEAR)
    if len(near):
        found[near] = _at_least(window, setups.iloc[near], confidence, draws)
    return found


def conformance_at_least_everywhere(
    window: Conformance, setups: pd.DataFrame, confidence: float, level: float
) -> np.ndarray:
    """What the joint conformance of set-ups is at least, shape (m,), as smooth over set-ups as it is.

    All processes are looked at near the level, and a few elsewhere. What the few are off by changes slowly over
    set-ups, so that what they are off by near the level, nearest first, is taken from the others too: without that
    there is a step between both, at which splines through the answers swing.

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them, all of one plate process and pressure.
    confidence, level : float
    """
    scores = _scores(_at_least(window, setups, confidence, DRAWS // _FEWER, level / 2.0))
    near = np.abs(scores - ndtri(level)) < _NEAR_SCORE
    if near.any():
        exact = _scores(_at_least(window, setups[near], confidence, DRAWS))
        places = _places(setups)
        apart = ((places[~near, None] - places[None, near]) ** 2).sum(axis=2)
        scores[~near] += (1.0 / apart) @ (exact - scores[near]) / (1.0 / apart).sum(axis=1)
        scores[near] = exact
    return ndtr(scores)


def _scores(shares: np.ndarray) -> np.ndarray:
    return ndtri(shares.clip(_SURE, 1.0 - _SURE))


def _places(setups: pd.DataFrame) -> np.ndarray:
    """Cell volumes and speeds by their logarithms, from 0 to 1, shape (m, 2)."""
    logs = np.log(setups[["cell_volume", "speed"]].to_numpy(float))
    spans = np.ptp(logs, axis=0)
    return (logs - logs.min(axis=0)) / np.where(spans > 0.0, spans, 1.0)


def _at_least(
    window: Conformance, setups: pd.DataFrame, confidence: float, draws: int, worth: float = 0.0
) -> np.ndarray:
    found = (_Rectangles.of(window, part, draws) for part in _parts(setups, draws))
    return np.concatenate([part.quantile(1.0 - confidence, worth) for part in found])


def _parts(setups: pd.DataFrame, draws: int) -> Iterator[pd.DataFrame]:
    count = max(_AT_ONCE // draws, 1)
    return (setups.iloc[at : at + count] for at in range(0, len(setups), count))


def reach_under_each(window: Conformance, setups: pd.DataFrame) -> np.ndarray:
    """Whether each set-up reaches the assurance level under each process, shape (m, s).

    Parameters
    ----------
    window : Conformance
    setups : DataFrame
        As `Conformance.setups` makes them, all of one plate process.
    """
    return np.concatenate(
        [_Rectangles.of(window, part).reach(window.level) for part in _parts(setups, DRAWS)]
    )


def reach_elsewhere(
    window: Conformance, setups: pd.DataFrame, less: np.ndarray, more: np.ndarray, draws: int
) -> np.ndarray:
    """As `reach_under_each`, of set-ups on other plates than the window's.

    Parameters
    ----------
    window : Conformance
    setups : DataFrame, m rows
        All of one plate process; few enough to be looked at together.
    less : ndarray, shape (m, k)
        What the quantities of the limits are lower by than the window takes them to be.
    more : ndarray, shape (m, k, k)
        What is added to their covariance.
    draws : int
        Number of processes.
    """
    found, (lines, *_) = _Rectangles.of(window, setups, draws), window.limits_for(setups).bounds()
    moved = replace(
        found,
        mean=found.mean - less[:, lines].T[:, :, None],
        drift=found.drift + more[:, lines][:, :, lines],
    )
    return moved.reach(window.level)


@dataclass(frozen=True, kw_only=True)
class _Rectangles:
    """Limits of set-ups under each process: rectangles of a multivariate normal.

    Attributes
    ----------
    lower, upper : ndarray, shape (k,)
    mean : ndarray, shape (k, m, s)
    spread : ndarray, shape (s, q, q)
        Covariance of what a process varies by, where its spread is even.
    forms : ndarray, shape (k, q)
        From responses to limited quantities.
    deviations : ndarray, shape (m, s, q)
        Standard deviations at the set-ups beside those of `spread`.
    errors : ndarray, shape (s, k, k)
        Covariance of what the responses do not hold.
    drift : ndarray, shape (m, k, k)
        Covariance of what settings drift by.
    """

    lower: np.ndarray
    upper: np.ndarray
    mean: np.ndarray
    spread: np.ndarray
    forms: np.ndarray
    deviations: np.ndarray
    errors: np.ndarray
    drift: np.ndarray

    @classmethod
    def of(
        cls, window: Conformance, setups: pd.DataFrame, draws: int = DRAWS, requirement: str | None = None
    ) -> _Rectangles:
        processes, limits = Processes.of(window.joint, draws), window.limits_for(setups)
        lines, lower, upper = limits.bounds(requirement)
        shift, errors = _errors(window, limits, processes)
        forms, means = limits.forms[lines], processes.means(setups)
        of_lines = (forms @ means.reshape(-1, means.shape[-1]).T).reshape(len(forms), *means.shape[:2])
        moved = drifts(window.tolerances, window.joint, setups) @ forms.T / np.sqrt(3.0)
        return cls(
            lower=lower,
            upper=upper,
            mean=of_lines + shift[:, lines].T[:, None],
            spread=processes.spread,
            forms=forms,
            deviations=processes.deviations(setups),
            errors=errors[:, lines][:, :, lines],
            drift=np.einsum("tmi,tmj->mij", moved, moved),
        )

    def probability(self, where: np.ndarray) -> np.ndarray:
        """Of set-ups under processes; `where` is a mask of shape (m, s), answers are in its order."""
        setup, process = np.nonzero(where)
        grown = self.forms * self.deviations[where][:, None, :]
        scale = grown @ self.spread[process] @ grown.swapaxes(1, 2)
        scale += self.errors[process] + self.drift[setup]
        return rectangle_probability(
            self.lower, self.upper, self.mean[:, where].T, scale, np.inf, _POINTS, _SETTLED
        )

    def quantile(self, share: float, worth: float) -> np.ndarray:
        """Of the probabilities at each set-up, shape (m,); roughly where it is surely below `worth`."""
        values, least, most = self._bounded()
        below = int(share * (values.shape[1] - 1))
        above = min(below + 1, values.shape[1] - 1)
        from_ = np.partition(least, below, axis=1)[:, below, None]
        to = np.partition(most, above, axis=1)[:, above, None]
        open_ = (to >= worth) & (most >= from_) & (least <= to) & (most - least > _SETTLED)
        values[open_] = self.probability(open_)
        return np.quantile(values, share, axis=1)

    def reach(self, level: float) -> np.ndarray:
        """Whether the probabilities reach a level, shape (m, s)."""
        values, least, most = self._bounded()
        open_ = (least < level) & (most >= level) & (most - least > _SETTLED)
        values[open_] = self.probability(open_)
        return values >= level

    def _bounded(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Probabilities as if nothing were correlated, and Boole's and Fréchet's bounds, each of shape (m, s).

        Where the bounds are close together their middle is the first.
        """
        alone = np.array([self._alone(line) for line in range(len(self.mean))])
        least, most = np.clip(alone.sum(axis=0) - (len(alone) - 1.0), 0.0, None), alone.min(axis=0)
        return np.where(most - least > _SETTLED, alone.prod(axis=0), (least + most) / 2.0), least, most

    def _alone(self, line: int) -> np.ndarray:
        """Probability of one line by itself, shape (m, s)."""
        used = np.flatnonzero(self.forms[line])
        grown = self.deviations[:, :, used] * self.forms[line, used]
        own = np.einsum("msi,sij,msj->ms", grown, self.spread[:, used][:, :, used], grown)
        variance = own + self.errors[:, line, line] + self.drift[:, line, line, None]
        deviation, inside = np.sqrt(variance), np.ones(self.mean.shape[1:])
        for bound, sign in ((self.lower[line], 1.0), (self.upper[line], -1.0)):
            if np.isfinite(bound):
                inside -= ndtr(sign * (bound - self.mean[line]) / deviation)
        return inside.clip(min=0.0)


def _errors(window: Conformance, limits: Limits, processes: Processes) -> tuple[np.ndarray, np.ndarray]:
    """Shift, shape (s, k), and covariance, shape (s, k, k), of what the responses do not hold."""
    names, count = limits.line_errors, len(processes.spread)
    if "gap_closure" not in window.joint.names:
        return np.zeros((count, len(names))), np.broadcast_to(limits.errors, (count, *limits.errors.shape))
    at = window.joint.names.index("gap_closure")
    spread, stated = processes.between[:, at], window.joint.between[at]
    each = together = ONE_GAP
    if (gaps := gap_count(window.product, window.surfaces)) != 1:
        shape = window.surfaces.gap_shape
        each, together = extremes_of_each(gaps, shape).chosen(shape.drawn(count)), Extremes.of(gaps, shape)
    beyond = {
        "largest": each.largest * spread - together.largest * stated,
        "smallest": each.smallest * spread - together.smallest * stated,
    }
    shift = np.stack([beyond.get(name, np.zeros(count)) for name in names], axis=1)
    errors = Errors.at_spread(spread, window.study.ink, each).covariance(list(names))
    return shift, np.broadcast_to(errors, (count, len(names), len(names)))
