"""One fitted second-order surface: what was asked, what the trial taught, and what follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from pwindow.surfaces.model.responses import ResponseData, ResponseKind
from pwindow.surfaces.model.terms import Design
from pwindow.surfaces.single.intervals import intervals
from pwindow.surfaces.single.least_squares import LeastSquares, least_squares
from pwindow.surfaces.single.satterthwaite import Freedom
from pwindow.surfaces.single.variance import Components, Groups, Whitening, estimate_components, whitening


@dataclass(frozen=True, kw_only=True)
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
    freedom : Freedom
        Degrees of freedom of what is estimated.
    slots : ndarray of int, shape (n,)
    """

    kind: ResponseKind
    design: Design
    cells: pd.DataFrame
    white_design: np.ndarray
    white_values: np.ndarray
    solution: LeastSquares
    components: Components
    freedom: Freedom
    slots: np.ndarray
    groups: Groups
    whitening: Whitening

    @property
    def df(self) -> float:
        """Degrees of freedom of the variance of a new print."""
        return self.freedom.of_new_print()

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
            Columns as of `intervals`, for the measured mean of a print. For a response modelled by
            its logarithm the mean is the geometric one, which is also the median.
        """
        matrix = self.design.matrix(setups)
        mean = matrix @ self.solution.params
        of_mean = self.scale * np.einsum("ij,jk,ik->i", matrix, self.solution.unscaled_cov, matrix)
        freedom = self.freedom.of_means(matrix)
        frame = pd.DataFrame(intervals(mean, of_mean, self.scale, freedom, self.df, level))
        return frame.apply(np.exp) if self.kind.log else frame

    def coefficients(self, level: float = 0.95) -> pd.DataFrame:
        """Coefficients of the coded terms with intervals and two-sided p-values."""
        params = self.solution.params
        error = np.sqrt(self.scale * np.diag(self.solution.unscaled_cov))
        df = self.freedom.of_means(np.eye(len(params)))
        reach = stdtrit(df, 0.5 + level / 2) * error
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = params / error
        return pd.DataFrame(
            {
                "coefficient": params,
                "std_error": error,
                "ci_low": params - reach,
                "ci_high": params + reach,
                "t": ratio,
                "p": 2.0 * stdtr(df, -np.abs(ratio)),
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
    white = whitening(groups, components)
    white_design, white_values = white.apply(matrix), white.apply(values)
    solution = least_squares(white_design, white_values)
    variance = solution.ssr / solution.df
    components = components.scaled(variance / components.measured)
    freedom = Freedom.of(white_design, groups, white)
    return Surface(
        kind=data.kind,
        design=design,
        cells=cells,
        white_design=white_design,
        white_values=white_values,
        solution=solution,
        components=components,
        freedom=freedom,
        slots=groups.slots,
        groups=groups,
        whitening=white,
    )
