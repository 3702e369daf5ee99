"""Largest and smallest of N standard normals.

The tabulated moments are the usual ones of normal order statistics, from memory (Teichroew 1956,
Ann. Math. Stat. 27, 410; Sarhan & Greenberg 1962). Closed forms and simulation stand beside them.
"""

import numpy as np
import pytest
from scipy import integrate, stats
from scipy.integrate import trapezoid

from pwindow.surfaces.posterior.gap_shape import GapShape
from pwindow.window.requirements.extremes import ONE_GAP, Extremes, extreme_moments, extremes_of_each

COVARIANCE_ERROR = 6e-5  # of the grid, met 5e-5 for every N


@pytest.mark.parametrize(
    "count, mean, variance",
    [
        (2, "0.56419", "0.68169"),
        (3, "0.84628", "0.55947"),
        (4, "1.02938", "0.49172"),
        (5, "1.16296", "0.44753"),
        (10, "1.53875", "0.34434"),
    ],
)
def test_tabulated_moments(count, mean, variance):
    """Five printed decimals, from memory."""
    found = extreme_moments(count)
    assert found[0] == pytest.approx(float(mean), rel=0, abs=5e-6)
    assert found[1] == pytest.approx(float(variance), rel=0, abs=5e-6)


@pytest.mark.parametrize(
    "count, mean, variance, covariance",
    [
        (1, 0.0, 1.0, 1.0),
        (2, 1 / np.sqrt(np.pi), 1 - 1 / np.pi, 1 / np.pi),
        (
            3,
            1.5 / np.sqrt(np.pi),
            1 + np.sqrt(3) / (2 * np.pi) - 9 / (4 * np.pi),
            9 / (4 * np.pi) - np.sqrt(3) / np.pi,
        ),
    ],
)
def test_closed_forms(count, mean, variance, covariance):
    """David & Nagaraja, Order Statistics, section 3.2; checked against quadrature below."""
    found = extreme_moments(count)
    assert found[0] == pytest.approx(mean, rel=1e-9, abs=1e-12)
    assert found[1] == pytest.approx(variance, rel=1e-8)
    assert found[2] == pytest.approx(covariance, rel=0, abs=COVARIANCE_ERROR)


@pytest.mark.parametrize("count", [3, 7, 48, 500])
def test_mean_and_variance_by_adaptive_quadrature(count):
    def weighted(x, power):
        return x**power * count * stats.norm.pdf(x) * stats.norm.cdf(x) ** (count - 1)

    moments = [integrate.quad(weighted, -9, 9, (k,), epsabs=1e-12, points=[2.0])[0] for k in (1, 2)]
    found = extreme_moments(count)
    assert found[0] == pytest.approx(moments[0], rel=1e-8)
    assert found[1] == pytest.approx(moments[1] - moments[0] ** 2, rel=1e-7)


@pytest.mark.parametrize("count", [3, 5, 20])
def test_covariance_by_the_range(count):
    """E[W²] = ∫ w² f(w) dw by the density of the range, on another grid than the project's."""
    x, w = np.linspace(-8, 8, 1601), np.linspace(0, 12, 1201)
    low, high = stats.norm.cdf(x)[:, None], stats.norm.cdf(x[:, None] + w)
    inner = stats.norm.pdf(x)[:, None] * stats.norm.pdf(x[:, None] + w) * (high - low) ** (count - 2)
    density = count * (count - 1) * trapezoid(inner, x, axis=0)
    assert trapezoid(density, w) == pytest.approx(1.0, abs=1e-4)
    spread = trapezoid(w**2 * density, w) - trapezoid(w * density, w) ** 2
    mean, variance, covariance = extreme_moments(count)
    assert trapezoid(w * density, w) == pytest.approx(2 * mean, abs=1e-4)
    assert variance - covariance == pytest.approx(spread / 2, abs=1e-4)


@pytest.mark.parametrize("count", [2, 10, 48])
def test_simulation(count):
    """200,000 samples; mean within 4.5 standard errors, second moments within 2 %."""
    draws = np.random.default_rng(count).standard_normal((200_000, count))
    largest, smallest = draws.max(axis=1), draws.min(axis=1)
    mean, variance, covariance = extreme_moments(count)
    assert largest.mean() == pytest.approx(mean, abs=4.5 * (variance / len(draws)) ** 0.5)
    assert largest.var() == pytest.approx(variance, rel=0.02)
    assert np.cov(largest, smallest)[0, 1] == pytest.approx(
        covariance, abs=4.5 * variance / len(draws) ** 0.5
    )


def test_more_gaps_spread_further_apart_and_vary_less():
    moments = np.array([extreme_moments(count) for count in (2, 3, 5, 10, 48, 200)])
    assert np.all(np.diff(moments[:, 0]) > 0)
    assert np.all(np.diff(moments[:, 1]) < 0)
    assert np.all(np.diff(moments[:, 2]) < 0)


def shape(*points):
    skews, tails, weights = map(np.array, zip(*points))
    return GapShape(skews=skews, tails=tails, weights=weights, inspected=0, p=1.0, skewness=0.0)


@pytest.mark.parametrize("count", [2, 48, 2000, 12.5])
def test_normal_gaps_have_the_moments_of_normal_ones(count):
    mean, variance, covariance = extreme_moments(count)
    found = Extremes.of(count, shape((0.0, 0.0, 1.0)))
    assert [float(value) for value in vars(found).values()] == pytest.approx(
        [mean, -mean, variance, variance, covariance], rel=1e-6, abs=1e-9
    )


@pytest.mark.parametrize("count", [5, 48, 400])
@pytest.mark.parametrize("g, h", [(0.4, 0.0), (-0.2, 0.1), (0.0, 0.15)])
def test_other_shapes_by_simulation(count, g, h):
    """20,000 prints of so many gaps, transformed one by one."""
    rng = np.random.default_rng(count)
    score = rng.standard_normal((20_000, count))
    raw = (np.expm1(g * score) / g if g else score) * np.exp(h * score**2 / 2)
    nodes = rng.standard_normal(4_000_000)
    every = (np.expm1(g * nodes) / g if g else nodes) * np.exp(h * nodes**2 / 2)
    gaps = (raw - every.mean()) / every.std()
    found = extremes_of_each(count, shape((g, h, 1.0)))
    assert found.largest[0] == pytest.approx(gaps.max(axis=1).mean(), rel=0.02)
    assert found.smallest[0] == pytest.approx(gaps.min(axis=1).mean(), rel=0.02)
    assert found.largest_variance[0] == pytest.approx(gaps.max(axis=1).var(), rel=0.12)
    assert found.smallest_variance[0] == pytest.approx(gaps.min(axis=1).var(), rel=0.12)


def test_shapes_that_are_possible_widen_what_is_known():
    one, other = ((0.3, 0.0, 1.0),), ((-0.3, 0.05, 1.0),)
    both = Extremes.of(48, shape((0.3, 0.0, 0.25), (-0.3, 0.05, 0.75)))
    parts = [Extremes.of(48, shape(*each)) for each in (one, other)]
    drawn = np.array([0.25, 0.75])
    means = np.array([part.largest for part in parts])
    assert both.largest == pytest.approx(drawn @ means)
    inside = drawn @ np.array([part.largest_variance for part in parts])
    assert both.largest_variance == pytest.approx(inside + drawn @ means**2 - (drawn @ means) ** 2)


def test_one_gap_is_the_largest_and_the_smallest():
    mean, variance, covariance = extreme_moments(1)
    assert [float(value) for value in vars(ONE_GAP).values()] == [mean, -mean, variance, variance, covariance]
