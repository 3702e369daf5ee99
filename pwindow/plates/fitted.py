"""Sums of known columns fitted to features of plates, and what is then expected."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from scipy.stats import t

from pwindow.plates.spreads import LEVEL, Components, matched


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What is expected, in µm.

    Attributes
    ----------
    value : float
        On average over plates; NaN where nothing can be said.
    se, known_degrees : float
        Standard error of `value`, and its degrees of freedom.
    low, high : float
        95 % interval of the average.
    shared : float
        Standard deviation of what all features of a new plate have in common about `value`, the standard error included.
    spread : float
        Standard deviation of one feature of a new plate about `value`, the standard error included.
    degrees : float
        Degrees of freedom of `spread`.
    new_low, new_high : float
        95 % prediction interval of one feature of a new plate.
    why : str
        Why nothing can be said, or what was assumed; "" otherwise.
    """

    value: float
    se: float
    known_degrees: float
    low: float
    high: float
    shared: float
    spread: float
    degrees: float
    new_low: float
    new_high: float
    why: str = ""

    @classmethod
    def unknown(cls, why: str) -> Expected:
        """Nothing, and why."""
        return cls(**dict.fromkeys((one.name for one in fields(cls) if one.name != "why"), math.nan), why=why)


@dataclass(frozen=True)
class Fitted:
    """Coefficients, and how their variance grows with that of plates and of features.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
    of_plate, of_feature : ndarray, shape (p, p)
        Covariance of the coefficients per variance between plates, and between features.
    components : Components
    """

    coefficients: np.ndarray
    of_plate: np.ndarray
    of_feature: np.ndarray
    components: Components

    def at(
        self,
        row: np.ndarray,
        *,
        shift: float = 0.0,
        factor: float = 1.0,
        logged: bool = False,
        more: float = 0.0,
        why: str = "",
    ) -> Expected:
        """What is expected of a row of the model matrix.

        Parameters
        ----------
        row : ndarray, shape (p,)
        shift : float
            Added to the sum, µm.
        factor : float
            That the sum and all spreads are multiplied by.
        logged : bool
            Whether the sum is the logarithm of what is expected; its spreads are then relative.
        more : float
            Variance that is added to that of the average.
        why : str
            What was assumed.
        """
        plate, feature = self.components.draws
        average = (row @ self.of_plate @ row) * plate + (row @ self.of_feature @ row) * feature + more
        value = float(row @ self.coefficients + shift) * factor
        known, known_degrees = matched(average)
        shared, _ = matched(average + plate)
        new, degrees = matched(average + plate + feature)
        ends = value + factor * np.outer(
            [
                t.ppf((1.0 + LEVEL) / 2.0, known_degrees) * known**0.5,
                t.ppf((1.0 + LEVEL) / 2.0, degrees) * new**0.5,
            ],
            [-1.0, 1.0],
        )
        if logged:
            value, ends = math.exp(value), np.exp(ends)
            factor *= value
        return Expected(
            value=value,
            se=factor * known**0.5,
            known_degrees=known_degrees,
            low=float(ends[0, 0]),
            high=float(ends[0, 1]),
            shared=factor * shared**0.5,
            spread=factor * new**0.5,
            degrees=degrees,
            new_low=float(ends[1, 0]),
            new_high=float(ends[1, 1]),
            why=why,
        )


def weighted(values: np.ndarray, columns: np.ndarray, plates: np.ndarray, found: Components) -> Fitted:
    """Generalised least squares with plates in common.

    Parameters
    ----------
    values : ndarray, shape (n,)
    columns : ndarray, shape (n, p)
        Of full rank.
    plates : ndarray of str, shape (n,)
    found : Components
        Whose ratio gives the weights.
    """
    same = (plates[:, None] == plates).astype(float)
    weights = np.linalg.inv(found.plate * same + found.feature * np.eye(len(values)))
    linear = np.linalg.solve(columns.T @ weights @ columns, columns.T @ weights)
    return Fitted(linear @ values, linear @ same @ linear.T, linear @ linear.T, found)
