"""Identities of least squares that hold for any design."""

import numpy as np
import pytest
import statsmodels.api as sm

from pwindow.surfaces.single.least_squares import least_squares


@pytest.fixture(params=[(12, 3), (30, 10), (11, 10)], ids=lambda shape: f"{shape[0]} rows, {shape[1]} terms")
def problem(request):
    rng = np.random.default_rng(3)
    return rng.normal(size=request.param), rng.normal(size=request.param[0])


def test_agrees_with_a_general_library(problem):
    x, y = problem
    ours, theirs = least_squares(x, y), sm.OLS(y, x).fit()
    np.testing.assert_allclose(ours.params, theirs.params, rtol=1e-11)
    np.testing.assert_allclose(ours.unscaled_cov, theirs.normalized_cov_params, rtol=1e-10)
    np.testing.assert_allclose(ours.residuals, theirs.resid, rtol=1e-10, atol=1e-14)
    assert ours.ssr == pytest.approx(theirs.ssr, rel=1e-11)
    assert ours.df == theirs.df_resid


def test_trace_of_the_hat_matrix_is_the_number_of_terms(problem):
    x, y = problem
    solution = least_squares(x, y)
    assert solution.leverage.sum() == pytest.approx(x.shape[1], rel=1e-13)
    np.testing.assert_allclose(solution.leverage, np.diag(x @ np.linalg.pinv(x)), atol=1e-12)


def test_residuals_are_orthogonal_to_the_design(problem):
    x, y = problem
    np.testing.assert_allclose(x.T @ least_squares(x, y).residuals, 0.0, atol=1e-13)


def test_column_scaling_by_units_changes_nothing_but_units(problem):
    x, y = problem
    units = 10.0 ** np.linspace(-9, 9, x.shape[1])
    scaled, plain = least_squares(x * units, y), least_squares(x, y)
    np.testing.assert_allclose(scaled.params * units, plain.params, rtol=1e-11)
    np.testing.assert_allclose(scaled.unscaled_cov * np.outer(units, units), plain.unscaled_cov, rtol=1e-9)


def test_exact_polynomial_is_recovered():
    x = np.linspace(-1, 1, 9)[:, None] ** np.arange(4)
    solution = least_squares(x, x @ [1.0, -2.0, 3.0, 0.5])
    np.testing.assert_allclose(solution.params, [1.0, -2.0, 3.0, 0.5], rtol=1e-14)
    assert solution.ssr < 1e-28
