"""The test of normality against a general library and against its own promise."""

import numpy as np
import pytest
from scipy import stats

from pwindow.surfaces.checks.shape import FEWEST, Shape

DRAWN = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "skewed": lambda rng, n: rng.gamma(2.0, size=n),
    "heavy": lambda rng, n: rng.standard_t(4, n),
}


@pytest.mark.parametrize("size", [20, 65, 1000])
@pytest.mark.parametrize("family", DRAWN)
def test_figures_agree_with_a_general_library(family, size):
    values = 3.0 + 0.01 * DRAWN[family](np.random.default_rng(size), size)
    found, scores = Shape.of(values), stats.norm.ppf((stats.rankdata(values) - 0.375) / (size + 0.25))
    assert found.straightness == pytest.approx(stats.pearsonr(values, scores).statistic ** 2, rel=1e-9)
    assert found.skewness * np.sqrt(6 / size) == pytest.approx(stats.skew(values), rel=1e-9)
    assert found.kurtosis * np.sqrt(24 / size) == pytest.approx(stats.kurtosis(values), rel=1e-9)


@pytest.mark.parametrize("size", [16, 65, 400])
@pytest.mark.parametrize("share", [0.01, 0.05])
def test_so_many_normal_samples_are_doubted_as_p_says(size, share):
    """Of 10,000."""
    rng = np.random.default_rng(size)
    doubted = np.mean([Shape.of(rng.standard_normal(size)).p < share for _ in range(10_000)])
    assert doubted == pytest.approx(share, rel=0.25)


@pytest.mark.parametrize("family", ["skewed", "heavy"])
def test_as_much_is_noticed_as_by_a_related_test(family):
    """Shapiro and Wilk's, which sees skewed values a little more often and heavy tails a little less."""
    rng = np.random.default_rng(8)
    samples = [DRAWN[family](rng, 65) for _ in range(1000)]
    ours = np.mean([Shape.of(values).p < 0.01 for values in samples])
    theirs = np.mean([stats.shapiro(values).pvalue < 0.01 for values in samples])
    assert ours == pytest.approx(theirs, abs=0.08) and ours > 0.35


@pytest.mark.parametrize("values", [np.full(30, 2.5), np.arange(FEWEST - 1.0)])
def test_no_shape_without_spread_or_values(values):
    assert Shape.of(values) is None
