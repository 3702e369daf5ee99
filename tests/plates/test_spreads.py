"""Variances of plates and of their features against the analysis of variance and likelihood."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.integrate import dblquad
from scipy.stats import chi2

from pwindow.plates.spreads import Spread, components, estimated, matched, taken


def balanced(plates=5, kinds=4, seed=3, plate=2.0, feature=1.0):
    rng = np.random.default_rng(seed)
    values = (
        np.linspace(0.0, 3.0, kinds)
        + plate * rng.normal(size=(plates, 1))
        + feature * rng.normal(size=(plates, kinds))
    )
    labels, of_kind = np.repeat([f"P{at}" for at in range(plates)], kinds), np.tile(range(kinds), plates)
    return values, values.ravel(), (of_kind[:, None] == np.arange(kinds)).astype(float), labels


def test_balanced_plates_are_those_of_the_analysis_of_variance():
    """Two-way layout without interaction: mean squares from their textbook sums."""
    table, values, kinds, plates = balanced()
    of_plate = 4 * table.mean(axis=1).var(ddof=1)
    rest = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    error = (rest**2).sum() / (4 * 3)
    found = components(values, kinds, plates)
    assert found.degrees == (4, 12)
    assert found.feature == pytest.approx(error, rel=1e-10)
    assert found.plate == pytest.approx((of_plate - error) / 4, rel=1e-10)


def test_draws_are_of_the_posterior():
    """Against the two-dimensional integral over both standard deviations, of the prior and the likelihood of mean squares."""
    table, values, kinds, plates = balanced()
    of_plate = table.mean(axis=1).var(ddof=1) * 4 * 4
    rest = ((table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()) ** 2).sum()

    def density(sd_plate, sd_feature):
        e, p = sd_feature**2, sd_feature**2 + 4 * sd_plate**2
        likelihood = e**-6.0 * p**-2.0 * np.exp(-rest / (2 * e) - of_plate / (2 * p))
        return likelihood / sd_feature / (1.0 + (sd_plate / sd_feature) ** 2) / sd_feature

    def integral(weight):
        return dblquad(lambda p, e: weight(p, e) * density(p, e), 0.2, 4.0, 0.0, 40.0, epsrel=1e-6)[0]

    whole, found = integral(lambda p, e: 1.0), components(values, kinds, plates).draws
    for weight, drawn in (
        (lambda p, e: 1.0 / (p * p + e * e), 1.0 / found.sum(axis=0)),
        (lambda p, e: p, np.sqrt(found[0])),
        (lambda p, e: np.exp(-p / e), np.exp(-np.sqrt(found[0] / found[1]))),
    ):
        assert np.mean(drawn) == pytest.approx(integral(weight) / whole, rel=0.02)


def test_balanced_plates_are_those_of_restricted_likelihood():
    """statsmodels' MixedLM; moments and REML agree on balanced data with no variance at zero."""
    _, values, kinds, plates = balanced()
    table = pd.DataFrame({"value": values, "plate": plates, "kind": kinds.argmax(axis=1)})
    fitted = smf.mixedlm("value ~ C(kind)", table, groups="plate").fit(reml=True)
    found = components(values, kinds, plates)
    assert found.plate == pytest.approx(float(fitted.cov_re.iloc[0, 0]), rel=1e-4)
    assert found.feature == pytest.approx(fitted.scale, rel=1e-4)


def test_unbalanced_plates_are_near_those_of_restricted_likelihood():
    _, values, kinds, plates = balanced(plates=30, seed=5)
    kept = np.random.default_rng(1).random(len(values)) > 0.3
    values, kinds, plates = values[kept], kinds[kept], plates[kept]
    table = pd.DataFrame({"value": values, "plate": plates, "kind": kinds.argmax(axis=1)})
    fitted = smf.mixedlm("value ~ C(kind)", table, groups="plate").fit(reml=True)
    found = components(values, kinds, plates)
    assert found.plate == pytest.approx(float(fitted.cov_re.iloc[0, 0]), rel=0.1)
    assert found.feature == pytest.approx(fitted.scale, rel=0.05)


def test_the_prior_of_the_ratio_weighs_like_one_more_plate():
    """Where features hardly differ, plates alone are chi-squared, and the half-Cauchy falls like their square."""
    table, values, kinds, plates = balanced(feature=0.02)
    square = table.mean(axis=1).var(ddof=1)
    low, high = np.sqrt(square * 4 / chi2.ppf([0.975, 0.025], 5))
    spread = estimated(values, kinds, plates).plate
    assert (spread.low, spread.high) == (pytest.approx(low, rel=1e-2), pytest.approx(high, rel=1e-2))


def test_one_feature_of_each_plate_gives_the_sum_only():
    values = np.array([30.0, 31.0, 33.5, 29.0])
    found = estimated(values, np.ones((4, 1)), np.array(list("abcd")))
    assert np.isnan([found.plate.sd, found.feature.sd]).all()
    assert found.new.sd == pytest.approx(values.std(ddof=1))
    variance, degrees = matched(found.components.draws.sum(axis=0))
    assert (variance, degrees) == (pytest.approx(values.var(ddof=1), rel=2e-3), pytest.approx(3.0, rel=2e-2))


def test_an_estimate_of_nothing_lies_in_its_interval():
    """Plates that differ by less than their features would make them."""
    values = np.array([30.0, 32.0, 34.0, 34.0, 32.1, 30.0])
    found = estimated(values, np.ones((6, 1)), np.array(list("aaabbb")))
    assert found.plate.sd == found.plate.low == 0.0 < found.plate.high


def test_one_plate_tells_nothing_of_plates():
    values, plates = np.array([30.0, 31.0, 33.5]), np.array(["a"] * 3)
    assert estimated(values, np.ones((3, 1)), plates) is None
    assert components(values, np.ones((3, 1)), plates).degrees == (0, 2)
    assert components(values[:1], np.ones((1, 1)), plates[:1]) is None


def test_equal_values_leave_a_spread_that_can_be_used():
    found = estimated(np.full(4, 30.0), np.ones((4, 1)), np.array(list("aabb")))
    assert 0.0 < found.new.sd < 0.02


def test_a_stated_spread_is_as_well_known_as_it_says():
    found = taken(1.5, 7, "default")
    low, high = 1.5 * np.sqrt(6 / chi2.ppf([0.975, 0.025], 6))
    assert (found.new.low, found.new.high) == (pytest.approx(low, rel=3e-3), pytest.approx(high, rel=3e-3))
    assert found.plate.sd == found.feature.sd == pytest.approx(1.5 / 2**0.5)
    assert found.words == "a default (common practice, no source), taken to be as well known as from 7 plates"
    assert taken(1.5, 9, "stated").words == "stated in the study, taken to be as well known as from 9 plates"


def test_words_of_a_spread():
    assert Spread(1.234, 0.8, 2.9).words() == "1.2 µm (95 % interval 0.8 to 2.9)"
