"""How sure a trial makes a conformance probability.

The stated conformance is the posterior mean of p(θ): the probability that one print of a new make-ready
conforms, if all of the process were known. How far p(θ) may lie from it is what a small trial leaves open.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.posterior.processes import Processes
from pwindow.window.conformance import Conformance
from pwindow.window.probability.rectangle import rectangle_probability
from pwindow.window.requirements.extremes import extreme_moments
from pwindow.window.requirements.limits import Limits
from pwindow.window.requirements.quantities import Errors, gap_count
from pwindow.window.requirements.tolerances import drifts

LEVEL = 0.9
"""Of equal-tailed intervals of a conformance probability."""
CONFIDENCE = 0.95
"""Of lower bounds."""
DRAWS = 1920
"""Processes that are drawn for an interval."""
_WIDE = 0.02
"""A width of the interval from which on a trial is called small."""
_POINTS, _SETTLED = 49, 2e-3


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
    def of(cls, probabilities: np.ndarray) -> ConformanceInterval:
        """Of conformance probabilities under processes that are each as probable, shape (s,)."""
        tail = (1.0 - LEVEL) / 2.0
        low, high, at_least = np.quantile(probabilities, [tail, 1.0 - tail, 1.0 - CONFIDENCE])
        return cls(
            low=float(low), high=float(high), level=LEVEL, at_least=float(at_least), confidence=CONFIDENCE
        )

    def sentence(self, stated: float) -> str:
        """What the stated conformance and the bound mean, in words; counts are cut, so that they never promise too much.

        Examples
        --------
        >>> sure = ConformanceInterval(low=0.83, high=0.99, level=0.9, at_least=0.83, confidence=0.95)
        >>> sure.sentence(0.951)
        'of 100 prints, each from a new make-ready, about 95 would conform; the trial is small: with 95 % confidence at least 83'
        """
        prints = 100 if stated < 0.99 else 1000
        about, sure = (int(prints * value + 1e-9) for value in (stated, self.at_least))
        small = "the trial is small: " if self.high - self.low > _WIDE else ""
        return (
            f"of {prints} prints, each from a new make-ready, about {about} would conform; "
            f"{small}with {100 * self.confidence:g} % confidence at least {sure}"
        )

    def to_dict(self) -> dict[str, float]:
        """As JSON has it."""
        return asdict(self)


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
    return [ConformanceInterval.of(each) for each in conformance_by_process(window, setups)]


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
    processes, limits = Processes.of(window.joint, draws), window.limits_for(setups)
    lines, lower, upper = limits.bounds(requirement)
    shift, errors = _errors(window, limits, processes)
    mean = (processes.means(setups) @ limits.forms.T + shift)[..., lines]
    scale = limits.forms @ processes.spread @ limits.forms.T + errors
    scale = np.broadcast_to(scale, (len(setups), *scale.shape)).copy()
    for drift in drifts(window.tolerances, window.joint, setups):
        moved = drift @ limits.forms.T / np.sqrt(3.0)
        scale += (moved[:, :, None] * moved[:, None, :])[:, None]
    scale = scale[..., lines, :][..., lines]
    found = rectangle_probability(
        lower,
        upper,
        mean.reshape(-1, len(lines)),
        scale.reshape(-1, len(lines), len(lines)),
        np.inf,
        _POINTS,
        _SETTLED,
    )
    return found.reshape(mean.shape[:2])


def _errors(window: Conformance, limits: Limits, processes: Processes) -> tuple[np.ndarray, np.ndarray]:
    """Shift, shape (s, k), and covariance, shape (s, k, k), of what the responses do not hold."""
    names = limits.line_errors
    if "gap_closure" not in window.joint.names:
        return np.zeros((1, len(names))), limits.errors[None]
    at = window.joint.names.index("gap_closure")
    spread, gaps = processes.between[:, at], gap_count(window.product, window.surfaces)
    side = np.array([{"largest": 1.0, "smallest": -1.0}.get(name, 0.0) for name in names])
    beyond = extreme_moments(gaps)[0] * (spread - window.joint.between[at])
    return beyond[:, None] * side, Errors.at_spread(spread, window.study.ink, gaps).covariance(list(names))
