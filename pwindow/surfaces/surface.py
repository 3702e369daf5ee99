"""One fitted second-order surface: what was asked, what the trial taught, and what follows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import stats

from pwindow.surfaces.least_squares import LeastSquares, least_squares
from pwindow.surfaces.responses import ResponseData, ResponseKind
from pwindow.surfaces.terms import Design
from pwindow.surfaces.variance import Components, Groups, Whitening, estimate_components, whitening


@dataclass(frozen=True)
class Surface:
    """A second-order surface of one response.

    Attributes
    ----------
    kind : ResponseKind
    design : Design
        Factors as coded in the trial, and terms.
    cells : DataFrame
        The means it was fitted to, ordered as the whitened rows are.
    white_design : ndarray, shape (n, p)
    white_values : ndarray, shape (n,)
        Whitened model matrix and means: their errors are independent, of one variance.
    solution : LeastSquares
        Of the whitened rows.
    components : Components
        What varies, on the modelled scale.
    df : float
        Degrees of freedom of the variance of a new print (Satterthwaite 1946, Biometrics 2, 110).
    slots : ndarray of int, shape (n,)
    """

    kind: ResponseKind
    design: Design
    cells: pd.DataFrame
    white_design: np.ndarray
    white_values: np.ndarray
    solution: LeastSquares
    components: Components
    df: float
    slots: np.ndarray
    groups: Groups
    whitening: Whitening

    @property
    def scale(self) -> float:
        """Estimated variance of the measured mean of a new print, on the modelled scale."""
        return self.components.measured

    def mean(self, setups: pd.DataFrame) -> np.ndarray:
        """Predicted mean on the modelled scale, shape (len(setups),)."""
        return self.design.matrix(setups) @ self.solution.params

    def predict(self, setups: pd.DataFrame, level: float = 0.95) -> pd.DataFrame:
        """Prediction with intervals, in the response's own unit.

        Parameters
        ----------
        setups : DataFrame
            One row per set-up, with a column for each factor of the surface.
        level : float
            Level of the intervals.

        Returns
        -------
        DataFrame
            ``mean``; ``mean_ci_low``, ``mean_ci_high`` for the mean over many prints; ``obs_ci_low``,
            ``obs_ci_high`` for the measured mean of the next print. For a response modelled by its
            logarithm the mean is the geometric one, which is also the median.
        """
        matrix = self.design.matrix(setups)
        mean = matrix @ self.solution.params
        of_mean = self.scale * np.einsum("ij,jk,ik->i", matrix, self.solution.unscaled_cov, matrix)
        reach = stats.t.ppf(0.5 + level / 2, self.df)
        columns = {"mean": mean}
        for name, variance in (("mean_ci", of_mean), ("obs_ci", of_mean + self.scale)):
            columns[f"{name}_low"] = mean - reach * np.sqrt(variance)
            columns[f"{name}_high"] = mean + reach * np.sqrt(variance)
        frame = pd.DataFrame(columns)
        return np.exp(frame) if self.kind.log else frame

    @cached_property
    def results(self):
        """The fit as statsmodels results of the whitened rows, with the refined parameters."""
        from statsmodels.regression.linear_model import OLS, RegressionResults

        model = OLS(self.white_values, self.white_design)
        results = RegressionResults(
            model, self.solution.params, normalized_cov_params=self.solution.unscaled_cov, scale=self.scale
        )
        results.df_resid = self.df
        return results

    def coefficients(self, level: float = 0.95) -> pd.DataFrame:
        """Coefficients of the coded terms with intervals and two-sided p-values."""
        results = self.results
        low, high = results.conf_int(alpha=1 - level).T
        return pd.DataFrame(
            {
                "coefficient": results.params,
                "std_error": results.bse,
                "ci_low": low,
                "ci_high": high,
                "t": results.tvalues,
                "p": results.pvalues,
            },
            index=pd.Index(self.design.labels, name="term"),
        )


def fit_surface(data: ResponseData, design: Design) -> Surface:
    """Fit one response by generalised least squares on its cell means.

    Parameters
    ----------
    data : ResponseData
    design : Design
        Must have full column rank on the cells.

    Returns
    -------
    Surface
    """
    groups = Groups.of(data.cells)
    cells = data.cells.iloc[groups.order].reset_index(drop=True)
    matrix, values = design.matrix(cells), cells["value"].to_numpy(float)
    components = estimate_components(data, groups, matrix, values)
    white = whitening(groups, cells["count"].to_numpy(float), components)
    white_design, white_values = white.apply(matrix), white.apply(values)
    solution = least_squares(white_design, white_values)
    variance = solution.ssr / solution.df
    components = components.scaled(variance / components.measured)
    df = _degrees_of_freedom(groups, matrix, components, solution.df)
    return Surface(
        data.kind,
        design,
        cells,
        white_design,
        white_values,
        solution,
        components,
        df,
        groups.slots,
        groups,
        white,
    )


def _degrees_of_freedom(groups: Groups, matrix: np.ndarray, components: Components, residual: int) -> float:
    """Satterthwaite's degrees of freedom of σ_m² + σ_p² + σ_f²/n from the two strata.

    With k prints a make-ready the variance of a new print is MS_between/k + (1 - 1/k) MS_within.
    """
    if not groups.split or components.measured == 0.0:
        return float(residual)
    first = groups.slots == 0
    readies = np.concatenate([np.full(len(m), at) for at, (_, m) in enumerate(groups.blocks)])
    frame = pd.DataFrame(matrix[first])
    within = (frame - frame.groupby(readies[first]).transform("mean")).to_numpy()
    rank_within = np.linalg.matrix_rank(within, tol=1e-8 * max(np.abs(matrix).max(), 1.0) * len(matrix))
    count, prints = len(groups.blocks), int(first.sum())
    df_between = max(count - (matrix.shape[1] - rank_within), 1)
    df_within = max(prints - count - rank_within, 1)
    size = prints / count
    inside = components.print_ + components.feature / components.typical_count
    between = (inside + size * components.make_ready) / size
    rest = (1.0 - 1.0 / size) * inside
    found = (between + rest) ** 2 / (between**2 / df_between + rest**2 / df_within)
    return float(min(found, residual))
