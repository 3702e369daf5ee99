"""Probability of a rectangle under a multivariate t or normal."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import trapezoid

from pwindow.window.probability.rectangle import rectangle_probability

INF = np.inf


def correlation(*pairs: float) -> np.ndarray:
    """Correlation matrix from its upper triangle, row by row."""
    size = int((1 + np.sqrt(1 + 8 * len(pairs))) / 2)
    matrix = np.eye(size)
    matrix[np.triu_indices(size, 1)] = pairs
    return matrix + np.triu(matrix, 1).T


def at_zero(lower, upper, scale, df, **options) -> float:
    size = len(scale)
    return float(
        rectangle_probability(
            np.full(size, lower), np.full(size, upper), np.zeros((1, size)), scale[None], df, **options
        )[0]
    )


@pytest.mark.parametrize("df", [1, 5, INF])
@pytest.mark.parametrize("r", [(0.0, 0.0, 0.0), (0.5, 0.5, 0.5), (0.3, -0.2, 0.6), (-0.4, 0.2, -0.6)])
def test_trivariate_orthant(r, df):
    """1/8 + Σ arcsin r / 4π, whatever the degrees of freedom; lattice of 20,011 points within 1e-5."""
    expected = 1 / 8 + np.arcsin(r).sum() / (4 * np.pi)
    assert at_zero(-INF, 0.0, correlation(*r), df, points=20011) == pytest.approx(expected, rel=0, abs=1e-5)


@pytest.mark.parametrize("points, tolerance", [(199, 1.5e-4), (499, 8e-5), (2039, 1.7e-5)])
def test_lattice_error_with_few_points(points, tolerance):
    """Trivariate orthants; largest errors met: 7.5e-5, 3.7e-5 and 8.2e-6."""
    errors = [
        at_zero(-INF, 0.0, correlation(*r), df, points=points) - (1 / 8 + np.arcsin(r).sum() / (4 * np.pi))
        for r in [(0.0, 0.0, 0.0), (0.5, 0.5, 0.5), (0.3, -0.2, 0.6), (-0.4, 0.2, -0.6)]
        for df in (1, 5, INF)
    ]
    assert np.abs(errors).max() < tolerance


@pytest.mark.parametrize("df", [3, INF])
@pytest.mark.parametrize("r", [-0.8, 0.0, 0.7])
def test_bivariate_orthant(r, df):
    """1/4 + arcsin r / 2π (Sheppard 1899)."""
    expected = 0.25 + np.arcsin(r) / (2 * np.pi)
    assert at_zero(0.0, INF, correlation(r), df, points=20011) == pytest.approx(expected, rel=0, abs=1e-5)


@pytest.mark.parametrize("df", [4, INF])
def test_one_dimension_is_exact(df):
    mean, scale = np.array([[0.3], [-1.0]]), np.array([[[4.0]], [[0.25]]])
    found = rectangle_probability(np.array([-1.0]), np.array([2.0]), mean, scale, df)
    law = stats.norm if df == INF else stats.t(df)
    expected = law.cdf((2.0 - mean[:, 0]) / [2.0, 0.5]) - law.cdf((-1.0 - mean[:, 0]) / [2.0, 0.5])
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_independent_normals_multiply():
    lower, upper = np.array([-1.0, -0.5, -INF]), np.array([0.7, INF, 1.2])
    expected = np.prod(stats.norm.cdf(upper) - stats.norm.cdf(lower))
    found = rectangle_probability(lower, upper, np.zeros((1, 3)), np.eye(3)[None], INF, points=20011)[0]
    assert found == pytest.approx(expected, rel=0, abs=1e-5)


@pytest.mark.parametrize("dimension", [4, 5])
def test_more_dimensions_against_an_equicorrelated_integral(dimension):
    """r = 1/2, all below 1: ∫ φ(z) Φ(√2 - z)^k dz by quadrature."""
    z = np.linspace(-9, 9, 20001)
    expected = trapezoid(stats.norm.pdf(z) * stats.norm.cdf(np.sqrt(2.0) - z) ** dimension, z)
    scale = np.full((dimension, dimension), 0.5) + 0.5 * np.eye(dimension)
    assert at_zero(-INF, 1.0, scale, INF, points=20011) == pytest.approx(expected, rel=0, abs=3e-5)


def test_order_of_the_dimensions_does_not_matter():
    rng = np.random.default_rng(1)
    half = rng.normal(size=(3, 3))
    scale, mean = half @ half.T, rng.normal(size=3)
    lower, upper = np.array([-1.0, -INF, -2.0]), np.array([2.0, 1.0, INF])
    order = [2, 0, 1]
    one = rectangle_probability(lower, upper, mean[None], scale[None], 6)
    other = rectangle_probability(
        lower[order], upper[order], mean[order][None], scale[order][:, order][None], 6
    )
    assert one == pytest.approx(other, rel=0, abs=1e-12)


def test_units_do_not_matter():
    scale = correlation(0.3, -0.2, 0.5)
    units = np.array([1e-8, 1.0, 1e6])
    lower, upper = np.array([-1.0, -0.5, -2.0]), np.array([1.0, 2.0, 0.5])
    one = rectangle_probability(lower, upper, np.full((1, 3), 0.1), scale[None], 8)
    other = rectangle_probability(
        lower * units, upper * units, (0.1 * units)[None], (scale * np.outer(units, units))[None], 8
    )
    assert one == pytest.approx(other, rel=1e-9)


def test_equal_questions_get_equal_answers_alone_and_in_a_crowd():
    rng = np.random.default_rng(2)
    mean = rng.normal(size=(500, 3))
    scale = np.broadcast_to(correlation(0.3, -0.2, 0.5), (500, 3, 3))
    lower, upper = np.array([-1.0, -INF, -2.0]), np.array([2.0, 1.0, INF])
    crowd = rectangle_probability(lower, upper, mean, scale, 6)
    np.testing.assert_array_equal(crowd, rectangle_probability(lower, upper, mean, scale, 6))
    alone = [
        rectangle_probability(lower, upper, mean[at : at + 1], scale[at : at + 1], 6)[0] for at in range(50)
    ]
    # the order of integration may differ alone, so equal to the error of the lattice
    np.testing.assert_allclose(alone, crowd[:50], rtol=0, atol=4e-4)


def test_large_t_is_a_normal():
    scale = correlation(0.3, -0.2, 0.5)
    assert at_zero(-1.0, 1.5, scale, 1e7) == pytest.approx(at_zero(-1.0, 1.5, scale, INF), rel=0, abs=3e-4)


def test_certain_and_impossible():
    scale = correlation(0.3, -0.2, 0.5)
    assert at_zero(-INF, INF, scale, 5) == pytest.approx(1.0, abs=1e-9)
    assert at_zero(60.0, 61.0, scale, INF) == 0.0
    assert at_zero(-60.0, 60.0, scale, INF) == pytest.approx(1.0, abs=1e-9)


def test_settled_bounds_the_error_of_skipping_integration():
    """Where the elementary bounds differ by less than `settled` the middle errs by half of it."""
    scale = np.broadcast_to(correlation(0.6, 0.4, 0.5), (200, 3, 3))
    mean = np.linspace(0, 6, 200)[:, None] * np.ones(3)
    lower, upper = np.zeros(3), np.full(3, INF)
    quick = rectangle_probability(lower, upper, mean, scale, INF, points=20011, settled=0.02)
    full = rectangle_probability(lower, upper, mean, scale, INF, points=20011, settled=0.0)
    assert np.abs(quick - full).max() <= 0.01 + 1e-5
    assert np.abs(quick - full).max() > 1e-4


def test_correlation_bears_on_the_probability():
    """A product of marginal probabilities would miss this by 0.07."""
    together = at_zero(-INF, 0.0, correlation(0.7), INF)
    assert together - 0.25 == pytest.approx(np.arcsin(0.7) / (2 * np.pi), rel=0, abs=2e-4)


@pytest.mark.parametrize("r", [0.999, -0.999])
def test_nearly_singular_scale(r):
    expected = 0.25 + np.arcsin(r) / (2 * np.pi)
    assert at_zero(-INF, 0.0, correlation(r), INF) == pytest.approx(expected, rel=0, abs=5e-4)
