"""A second-order surface as a scikit-learn estimator, for cross-validation and comparison."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, Self

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data

from pwindow.surfaces.model.terms import Design, Factor, Scale, second_order
from pwindow.surfaces.single.least_squares import least_squares
from pwindow.surfaces.single.term_selection import independent_terms


class SecondOrderSurface(RegressorMixin, BaseEstimator):
    """Least-squares second-order surface of coded settings.

    Parameters
    ----------
    scales : sequence of {'log', 'linear'}, optional
        Scale of each column of X; linear unless given.
    strict : bool, default=False
        Refuse data that cannot separate all terms. Otherwise terms are taken in the order
        intercept, linear, squares, products as far as the data separate them.

    Attributes
    ----------
    design_ : Design
        Factors as coded in the training data, and the terms used.
    coef_ : ndarray, shape (n_terms,)
        Coefficients of the coded terms.
    left_out_ : tuple of str
        Terms that the data could not separate.
    n_features_in_ : int

    Examples
    --------
    >>> import numpy as np
    >>> speed = np.array([30.0, 45, 60, 80, 100, 120])[:, None]
    >>> surface = SecondOrderSurface(scales=["log"]).fit(speed, 2 - 0.3 * np.log(speed[:, 0]))
    >>> surface.predict([[70.0]]).round(6)
    array([0.725451])
    """

    def __init__(self, scales: Sequence[Literal["log", "linear"]] | None = None, *, strict: bool = False):
        self.scales = scales
        self.strict = strict

    def fit(self, X: Any, y: Any, sample_weight: Any = None) -> Self:
        """Fit the surface.

        Parameters
        ----------
        X : array, shape (n, d)
        y : array, shape (n,)
        sample_weight : array, shape (n,), optional
            Weights proportional to the inverse variances; a weight of 0 leaves a row out.

        Returns
        -------
        self
        """
        X, y = validate_data(self, X, y, y_numeric=True, dtype=float, ensure_min_samples=2)
        weights = _check_sample_weight(sample_weight, X, dtype=float, ensure_non_negative=True)
        used = weights > 0
        X, y, root = X[used], np.asarray(y, float)[used], np.sqrt(weights[used])
        settings = self._settings(X)
        factors = tuple(
            Factor.learn(name, scale, settings[name])
            for name, scale in zip(settings.columns, self._scales(X))
            if settings[name].nunique() > 1
        )
        wanted = Design(factors, second_order(factors))
        matrix = wanted.matrix(settings) * root[:, None]
        kept = independent_terms(wanted, matrix)
        self.left_out_ = tuple(name for name in wanted.labels if name not in kept.labels)
        if self.strict and self.left_out_:
            raise ValueError(
                f"the data cannot separate the terms {', '.join(self.left_out_)} from the others"
            )
        self.design_ = kept
        self.coef_ = least_squares(kept.matrix(settings) * root[:, None], y * root).params
        return self

    def predict(self, X: Any) -> np.ndarray:
        """Predicted means, shape (n,)."""
        check_is_fitted(self)
        X = validate_data(self, X, reset=False, dtype=float)
        return self.design_.matrix(self._settings(X)) @ self.coef_

    def _settings(self, X: np.ndarray) -> pd.DataFrame:
        return pd.DataFrame(X, columns=[f"x{at}" for at in range(X.shape[1])])

    def _scales(self, X: np.ndarray) -> list[Scale]:
        scales: list[Scale] = ["linear"] * X.shape[1] if self.scales is None else list(self.scales)
        if len(scales) != X.shape[1]:
            raise ValueError(
                f"scales has {len(scales)} entries but X has {X.shape[1]} columns; give one for each column"
            )
        for at, scale in enumerate(scales):
            if scale not in ("log", "linear"):
                raise ValueError(f"scale “{scale}” is not known; use 'log' or 'linear'")
            if scale == "log" and np.any(X[:, at] <= 0):
                raise ValueError(
                    f"column {at} has values at or below zero; a log scale needs them above zero"
                )
        return scales
