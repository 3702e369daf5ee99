"""How much plates of one process differ, and features of one plate."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from scipy.stats import chi2, qmc

from pwindow.wording import counted, with_interval

Basis = Literal["estimated", "stated", "default"]
LEVEL = 0.95
_DRAWS = 10  # of both variances, as a power of two
_LEAST = 1e-4
"""The least variance, relative to the unit of the values squared: no instrument resolves 0.01 µm on a plate."""
_MOST_DEGREES = 1e6
_ENDS = ((1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0)
_LOG_RATIOS = np.linspace(np.log(1e-3), np.log(1e4), 1000)
"""Of the standard deviation between plates to that of features, at which their posterior is looked at."""


@cache
def _evenly() -> np.ndarray:
    """Points that fill the unit square evenly, shape (2, n)."""
    points = qmc.Sobol(2, scramble=False).random_base2(_DRAWS).T
    return points + 0.5 / points.shape[1]


@dataclass(frozen=True)
class Components:
    """Variances of values that share plates.

    Attributes
    ----------
    plate, feature : float
        Between plates, and between features of a plate; by the method of moments, none below zero.
    draws : ndarray, shape (2, n)
        Both variances as the data allow them, all equally likely.
    degrees : (int, int)
        Degrees of freedom of plates and of features. Without the second only the sum of the variances is known; without
        the first nothing is known of plates.
    """

    plate: float
    feature: float
    draws: np.ndarray
    degrees: tuple[int, int]


def components(values: np.ndarray, fixed: np.ndarray, plates: np.ndarray) -> Components | None:
    """Variances between plates and between features of a plate; None where nothing is left to estimate them from.

    Parameters
    ----------
    values : ndarray, shape (n,)
    fixed : ndarray, shape (n, p)
        Columns that the mean is a sum of.
    plates : ndarray of str, shape (n,)

    Notes
    -----
    What is left within plates is σ²ₑ times a chi-squared variable. What the fixed columns leave of the plates is, along
    the singular vectors of their indicators, independent normal with variances σ²ₑ + λₖσ²ₚ. Draws are of the posterior
    with σₚ / σₑ half-Cauchy of scale 1 (Gelman 2006, Bayesian Analysis 1, 515-534; from memory), which takes plates to
    differ about as much as features of one where few plates tell, and 1/σₑ. The estimates are Henderson's third method;
    on balanced data they are those of the analysis of variance.
    """
    indicators = (plates[:, None] == np.unique(plates)).astype(float)
    within, left = _sum_of_squares(values, np.column_stack([fixed, indicators]))
    basis = _column_space(fixed)
    u, singular, _ = np.linalg.svd(indicators - basis @ (basis.T @ indicators), full_matrices=False)
    kept = singular > 1e-8
    squares, growth = (u[:, kept].T @ values) ** 2, singular[kept] ** 2
    if not len(squares) and not left:
        return None
    if not len(squares):
        feature = max(within / left, _LEAST)
        return Components(0.0, feature, np.array([0.0 * _evenly()[0], _of(within, left, 1)]), (0, left))
    if not left:
        return _together(squares, growth)
    between, error = float(squares.mean()), max(within / left, _LEAST)
    plate = max((between - error) / float(growth.mean()), 0.0)
    draws = _posterior(squares, growth, max(within, left * _LEAST), left)
    return Components(plate, error, draws, (len(squares), left))


def _column_space(columns: np.ndarray) -> np.ndarray:
    u, singular, _ = np.linalg.svd(columns, full_matrices=False)
    return u[:, singular > 1e-10 * singular.max()]


def _sum_of_squares(values: np.ndarray, columns: np.ndarray) -> tuple[float, int]:
    """What columns leave of values, and its degrees of freedom."""
    basis = _column_space(columns)
    rest = values - basis @ (basis.T @ values)
    return float(rest @ rest), len(values) - basis.shape[1]


def _of(squares: float, degrees: int, axis: int) -> np.ndarray:
    """Variances that a sum of squares allows."""
    return np.maximum(squares / chi2.ppf(_evenly()[axis], degrees), _LEAST)


def _together(squares: np.ndarray, growth: np.ndarray) -> Components:
    """One feature of each plate: the sum of both variances, in equal parts."""
    total = float((squares / growth).sum())
    draws = _of(total, len(squares), 0) / 2.0
    half = max(total / len(squares), _LEAST) / 2.0
    return Components(half, half, np.array([draws, draws]), (len(squares), 0))


def _posterior(squares: np.ndarray, growth: np.ndarray, within: float, left: int) -> np.ndarray:
    """Variances between plates and of features, shape (2, n): first their ratio, then features given it."""
    ratio = np.exp(2.0 * _LOG_RATIOS)
    wider = 1.0 + growth[:, None] * ratio
    rest, degrees = within + (squares[:, None] / wider).sum(axis=0), left + len(squares)
    log_prior = _LOG_RATIOS - np.log1p(ratio)
    log_density = log_prior - 0.5 * np.log(wider).sum(axis=0) - degrees / 2.0 * np.log(rest)
    density = np.exp(log_density - log_density.max())
    share, other = _evenly()
    at = np.interp(share, (np.cumsum(density) - density / 2.0) / density.sum(), _LOG_RATIOS)
    features = np.maximum(np.interp(at, _LOG_RATIOS, rest) / chi2.ppf(other, degrees), _LEAST)
    return np.array([features * np.exp(2.0 * at), features])


@dataclass(frozen=True)
class Spread:
    """A standard deviation with the ends of its 95 % interval."""

    sd: float
    low: float
    high: float

    def words(self, unit: str = "µm") -> str:
        """The standard deviation with its interval.

        Examples
        --------
        >>> Spread(1.23, 0.84, 2.31).words()
        '1.2 µm (95 % interval 0.8 to 2.3)'
        """
        sd, low, high = with_interval(self.sd, self.low, self.high)
        return f"{sd} {unit} (95 % interval {low} to {high})"


@dataclass(frozen=True, kw_only=True)
class Spreads:
    """How plates of a process differ, and what that is known from.

    Attributes
    ----------
    plate, feature : Spread
        From plate to plate, and between features of one plate; NaN where only their sum is known.
    new : Spread
        Of one feature of a new plate.
    basis : {'estimated', 'stated', 'default'}
    plates : int
        Number of plates that they were estimated from, or are as well known as from.
    components : Components
    """

    plate: Spread
    feature: Spread
    new: Spread
    basis: Basis
    plates: int
    components: Components

    @property
    def words(self) -> str:
        """What they are known from."""
        plates = counted(self.plates, "plate", "plates")
        if self.basis == "estimated":
            return f"estimated from {plates}"
        what = "stated in the study" if self.basis == "stated" else "a default (common practice, no source)"
        return f"{what}, taken to be as well known as from {plates}"


def estimated(values: np.ndarray, fixed: np.ndarray, plates: np.ndarray) -> Spreads | None:
    """Spreads that repeated plates show; None where they show none.

    Parameters
    ----------
    values : ndarray, shape (n,)
    fixed : ndarray, shape (n, p)
        A column for each feature that plates have in common, or what else the mean is a sum of.
    plates : ndarray of str, shape (n,)
    """
    found = components(values, fixed, plates)
    if found is None or not found.degrees[0]:
        return None
    unknown = Spread(np.nan, np.nan, np.nan)
    apart = found.degrees[1] > 0
    return Spreads(
        plate=_spread(found.plate, found.draws[0]) if apart else unknown,
        feature=_spread(found.feature, found.draws[1]) if apart else unknown,
        new=_spread(found.plate + found.feature, found.draws.sum(axis=0)),
        basis="estimated",
        plates=len(np.unique(plates)),
        components=found,
    )


def taken(sd: float, known_from: int, basis: Basis) -> Spreads:
    """Spreads that are stated or usual: half of the variance from plate to plate.

    Parameters
    ----------
    sd : float
        Of one feature of a new plate, µm.
    known_from : int
        Number of plates.
    basis : {'stated', 'default'}
    """
    degrees = known_from - 1
    half = _of(sd**2 * degrees, degrees, 0) / 2.0
    found = Components(sd**2 / 2.0, sd**2 / 2.0, np.array([half, half]), (degrees, 0))
    part = _spread(sd**2 / 2.0, half)
    return Spreads(
        plate=part,
        feature=part,
        new=_spread(sd**2, 2.0 * half),
        basis=basis,
        plates=known_from,
        components=found,
    )


def _spread(variance: float, draws: np.ndarray) -> Spread:
    sd, (low, high) = np.sqrt(variance), np.sqrt(np.quantile(draws, _ENDS, method="hazen"))
    return Spread(float(sd), float(min(low, sd)), float(max(high, sd)))


def matched(variances: np.ndarray) -> tuple[float, float]:
    """The one variance and its degrees of freedom that stand for draws of a variance.

    Parameters
    ----------
    variances : ndarray, shape (n,)
        All equally likely.

    Returns
    -------
    variance, degrees : float
        Of the scaled inverse chi-squared distribution whose reciprocal has the mean and the variance of theirs: exact
        where one mean square is known.
    """
    precision = 1.0 / variances
    mean, spread = float(precision.mean()), float(precision.var())
    return 1.0 / mean, min(2.0 * mean**2 / max(spread, mean**2 * 1e-9), _MOST_DEGREES)
