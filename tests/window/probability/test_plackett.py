"""Plackett's identity against closed forms and the lattice."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import trapezoid

from pwindow.window.probability.plackett import quick_probability
from pwindow.window.probability.rectangle import rectangle_probability

INF = np.inf


def correlation(*pairs):
    """Correlation matrix from its upper triangle, row by row."""
    size = int((1 + np.sqrt(1 + 8 * len(pairs))) / 2)
    matrix = np.eye(size)
    matrix[np.triu_indices(size, 1)] = pairs
    return matrix + np.triu(matrix, 1).T


def at_zero(lower, upper, scale, df):
    size = len(scale)
    ends = (np.broadcast_to(np.asarray(end, float), size) for end in (lower, upper))
    return float(quick_probability(*ends, np.zeros((1, size)), scale[None], df)[0])


@pytest.mark.parametrize("df", [1, 3, 20, INF])
@pytest.mark.parametrize("r", [-0.8, 0.05, 0.7])
def test_bivariate_orthant(r, df):
    """1/4 + arcsin r / 2π (Sheppard 1899)."""
    expected = 0.25 + np.arcsin(r) / (2 * np.pi)
    assert at_zero(0.0, INF, correlation(r), df) == pytest.approx(expected, rel=0, abs=1e-12)


@pytest.mark.parametrize("df", [3, 20, INF])
@pytest.mark.parametrize("r", [(0.5, 0.5, 0.5), (0.3, -0.2, 0.6), (-0.4, 0.2, -0.6), (0.8, 0.7, 0.9)])
def test_trivariate_orthant(r, df):
    """1/8 + Σ arcsin r / 4π, whatever the degrees of freedom."""
    expected = 1 / 8 + np.arcsin(r).sum() / (4 * np.pi)
    assert at_zero(-INF, 0.0, correlation(*r), df) == pytest.approx(expected, rel=0, abs=1e-12)


@pytest.mark.parametrize("dimension, tolerance", [(4, 2e-5), (5, 1e-3)])
def test_more_dimensions_against_an_equicorrelated_integral(dimension, tolerance):
    """r = 1/2, all below 1: ∫ φ(z) Φ(√2 - z)^k dz by quadrature. Errors met: 5e-6 and 7e-4."""
    z = np.linspace(-9, 9, 20001)
    expected = trapezoid(stats.norm.pdf(z) * stats.norm.cdf(np.sqrt(2.0) - z) ** dimension, z)
    scale = np.full((dimension, dimension), 0.5) + 0.5 * np.eye(dimension)
    assert at_zero(-INF, 1.0, scale, INF) == pytest.approx(expected, rel=0, abs=tolerance)


@pytest.mark.parametrize("df", [3, 6, 20, INF])
def test_one_dimension(df):
    mean, scale = np.array([[0.3], [-1.0], [5.0]]), np.array([[[4.0]], [[0.25]], [[1.0]]])
    found = quick_probability(np.array([-1.0]), np.array([2.0]), mean, scale, df)
    law = stats.norm if df == INF else stats.t(df)
    deviation = np.sqrt(scale[:, 0, 0])
    expected = law.cdf((2.0 - mean[:, 0]) / deviation) - law.cdf((-1.0 - mean[:, 0]) / deviation)
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-4)


def rectangles(seed, count, dimension):
    """Tilted scales, and rectangles about them of which some sides are open."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        half = rng.normal(size=(dimension, dimension + 1))
        scale = half @ half.T
        deviation = np.sqrt(np.diag(scale))
        lower, upper = (sign * deviation * np.exp(rng.uniform(-1.0, 1.2, dimension)) for sign in (-1, 1))
        side = rng.integers(3, size=dimension)
        mean = rng.normal(size=(16, dimension)) * deviation
        yield np.where(side == 0, -INF, lower), np.where(side == 1, INF, upper), mean, scale


@pytest.mark.slow
@pytest.mark.parametrize("df", [1, 4, 20, INF])
@pytest.mark.parametrize("dimension, tolerance", [(2, 6e-4), (3, 6e-4), (4, 6e-4), (5, 1.2e-3)])
def test_random_rectangles_against_the_lattice(dimension, tolerance, df):
    """Ten rectangles at 16 places each. Largest errors met: 4e-4, 3e-4, 2e-4, 8e-4; without
    correlations they pass 0.05."""
    reached = 0.0
    for lower, upper, mean, scale in rectangles(11, 10, dimension):
        scales = np.broadcast_to(scale, (len(mean), *scale.shape))
        found = quick_probability(lower, upper, mean, scales, df)
        expected = rectangle_probability(lower, upper, mean, scales, df, points=20011, settled=0.0)
        np.testing.assert_allclose(found, expected, rtol=0, atol=tolerance)
        apart = np.eye(dimension) * scales
        reached = max(reached, np.abs(quick_probability(lower, upper, mean, apart, df) - expected).max())
    assert reached > 0.05


def test_a_place_does_not_depend_on_its_company():
    lower, upper, mean, scale = next(rectangles(3, 1, 4))
    scales = np.broadcast_to(scale, (len(mean), *scale.shape))
    crowd = quick_probability(lower, upper, mean, scales, 12.0)
    alone = [
        quick_probability(lower, upper, mean[at : at + 1], scale[None], 12.0)[0] for at in range(len(mean))
    ]
    np.testing.assert_allclose(alone, crowd, rtol=0, atol=1e-12)
    np.testing.assert_array_equal(crowd, quick_probability(lower, upper, mean, scales, 12.0))


def test_certain_impossible_and_unbounded():
    scale = correlation(0.3, -0.2, 0.5)
    assert at_zero(-INF, INF, scale, 5) == 1.0
    assert at_zero(60.0, 61.0, scale, INF) == 0.0
    assert at_zero(-60.0, 60.0, scale, INF) == pytest.approx(1.0, abs=1e-9)
    assert at_zero(-INF, [1.0, -INF, 1.0], scale, 20) == 0.0
    assert at_zero([-INF, 1.0, -INF], [0.0, -1.0, INF], scale, 20) == 0.0
    two = at_zero([-INF, 0.0], [1.0, INF], correlation(0.3), 20)
    assert at_zero([-INF, 0.0, -INF], [1.0, INF, INF], scale, 20) == two


@pytest.mark.parametrize("r", [0.999, -0.999])
def test_nearly_singular_scale(r):
    expected = 0.25 + np.arcsin(r) / (2 * np.pi)
    assert at_zero(-INF, 0.0, correlation(r), INF) == pytest.approx(expected, rel=0, abs=5e-4)


def test_three_lines_through_two_responses():
    """A scale of rank two: the third dimension is the sum of the others."""
    forms = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    scale = forms @ forms.T
    mean = np.random.default_rng(4).normal(size=(50, 2)) @ forms.T
    lower, upper = np.full(3, -INF), np.array([0.8, 0.6, 0.5])
    scales = np.broadcast_to(scale, (50, 3, 3))
    expected = rectangle_probability(lower, upper, mean, scales, INF, points=20011, settled=0.0)
    np.testing.assert_allclose(
        quick_probability(lower, upper, mean, scales, INF), expected, rtol=0, atol=1e-3
    )
