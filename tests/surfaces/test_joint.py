"""The joint predictive distribution where responses have terms or prints of their own."""

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.joint import join_surfaces
from pwindow.surfaces.responses import ResponseData
from pwindow.surfaces.surface import fit_surface
from pwindow.surfaces.terms import Design, Factor

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
SMALL = Design(FACTORS, ((), ("speed",)))
LARGE = Design(FACTORS, ((), ("speed",), ("pressure",), ("speed", "pressure")))
SET_UPS = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 3


@pytest.fixture
def pair(make_cells, plain_kind):
    """Two correlated responses of the same prints, each with its own terms."""
    cells = make_cells(SET_UPS)
    noise = np.random.default_rng(0).multivariate_normal([0, 0], [[1, 0.6], [0.6, 1]], len(cells))
    data = [ResponseData(plain_kind, cells.assign(value=noise[:, at])) for at in range(2)]
    return fit_surface(data[0], SMALL), fit_surface(data[1], LARGE)


def test_coefficients_of_different_terms_covary_as_two_regressions_do(pair):
    """σ_12 (X1'X1)⁻¹ X1'X2 (X2'X2)⁻¹, by explicit matrices."""
    joint = join_surfaces(dict(zip("ab", pair)))
    x1, x2 = (surface.white_design for surface in pair)
    expected = np.linalg.inv(x1.T @ x1) @ x1.T @ x2 @ np.linalg.inv(x2.T @ x2)
    at = (1, 0) if (1, 0) in joint.coupling else (0, 1)
    found = joint.coupling[at] if at == (0, 1) else joint.coupling[at].T
    np.testing.assert_allclose(found, expected, atol=1e-13)


def test_correlation_is_that_of_the_residuals(pair):
    joint = join_surfaces(dict(zip("ab", pair)))
    one, other = (surface.solution.residuals for surface in pair)
    expected = one @ other / np.sqrt((one @ one) * (other @ other))
    assert joint.correlation[0, 1] == pytest.approx(expected, rel=1e-12)


def test_correlation_uses_only_shared_prints(make_cells, plain_kind):
    cells = make_cells(SET_UPS)
    half = cells.iloc[:18].reset_index(drop=True)
    surfaces = [fit_surface(ResponseData(plain_kind, table), SMALL) for table in (cells, half)]
    one, other = surfaces[0].solution.residuals[:18], surfaces[1].solution.residuals
    expected = one @ other / np.sqrt((one @ one) * (other @ other))
    assert join_surfaces(dict(zip("ab", surfaces))).correlation[0, 1] == pytest.approx(expected, rel=1e-12)


def test_predictive_matches_the_surfaces_alone(pair):
    """Location of each response, and its variance on the joint degrees of freedom."""
    joint = join_surfaces(dict(zip("ab", pair)))
    new = pd.DataFrame({"speed": [40.0, 110.0], "pressure": [70.0, 20.0]})
    found = joint.predict(new)
    assert joint.df == min(surface.df for surface in pair) - 1
    for at, surface in enumerate(pair):
        z = surface.design.matrix(new)
        leverage = np.einsum("ij,jk,ik->i", z, surface.solution.unscaled_cov, z)
        np.testing.assert_allclose(found.mean[:, at], surface.mean(new), rtol=1e-12)
        expected = surface.scale * surface.df / joint.df * (1.0 + leverage)
        np.testing.assert_allclose(found.scale[:, at, at], expected, rtol=1e-12)


def test_scatter_of_features_is_not_in_the_true_mean(make_cells, line_height):
    """With four features a print, a quarter of their variance leaves the predictive scale."""
    cells = make_cells(SET_UPS, count=4)
    plain, scattered = (
        join_surfaces({"h": fit_surface(line_height(cells, feature_variance=v), SMALL)}) for v in (0.0, 0.004)
    )
    assert scattered.residual[0, 0] == pytest.approx(plain.residual[0, 0], rel=1e-12)
    assert plain.spread[0, 0] - scattered.spread[0, 0] == pytest.approx(0.001, rel=1e-9)


def test_scale_stays_positive_definite_when_responses_repeat_each_other(make_cells, plain_kind):
    cells = make_cells(SET_UPS)
    surface = fit_surface(ResponseData(plain_kind, cells), SMALL)
    joint = join_surfaces({"a": surface, "b": surface})
    assert np.linalg.eigvalsh(joint.spread).min() > 0
    assert joint.correlation[0, 1] == pytest.approx(1.0, abs=1e-5)
