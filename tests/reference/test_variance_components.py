"""Variance components by restricted maximum likelihood, against lme4 and analyses of variance.

Dyestuff: a batch stands for a make-ready and each sample for a print. Pastes: batch, cask and test
stand for make-ready, print and feature. Gauge study: a part stands for a make-ready, and operators
are a factor that changes inside it.
"""

import numpy as np
import pytest

from pwindow.surfaces.model.terms import Design, Factor
from tests.helpers.reference import assert_printed, covariance, fit_values, read_json, read_table

MEAN = Design((), ((),))


@pytest.fixture(scope="module")
def published():
    return read_json("dyestuff.json")["published"]


@pytest.fixture(scope="module")
def surface():
    table = read_table("dyestuff.csv")
    return fit_values(table["yield"], MEAN, make_ready=table["batch"])


def test_published_components(published, surface):
    """Found to 7e-7 of the published variances, so the printed digits of both are reached."""
    assert_printed(surface.solution.params[0], published["reml"]["mean"])
    assert_printed(surface.components.make_ready, published["reml"]["batch"])
    assert_printed(surface.components.print_, published["reml"]["residual"])


def test_components_are_those_of_the_analysis_of_variance(published, surface):
    """Balanced data with a positive between-batch component: (MS_batch - MS_residual)/5."""
    between, within = (float(published["analysis_of_variance"][k]) for k in ("ms_batch", "ms_residual"))
    assert surface.components.make_ready == pytest.approx((between - within) / 5, rel=1e-5)
    assert surface.components.print_ == pytest.approx(within, rel=1e-5)


def test_degrees_of_freedom_are_satterthwaite(published, surface):
    """Of MS_batch/5 + 4/5 MS_residual, which stand on 5 and 24 degrees of freedom."""
    between, within = (float(published["analysis_of_variance"][k]) for k in ("ms_batch", "ms_residual"))
    parts = np.array([between / 5, within * 4 / 5])
    expected = parts.sum() ** 2 / (parts**2 / [5, 24]).sum()
    assert surface.df == pytest.approx(expected, rel=1e-5)


def test_standard_error_of_the_mean(published, surface):
    """√(MS_batch/30)."""
    expected = np.sqrt(float(published["analysis_of_variance"]["ms_batch"]) / 30)
    assert np.sqrt(covariance(surface)[0, 0]) == pytest.approx(expected, rel=1e-5)


def test_standard_error_in_the_table_of_coefficients(published, surface):
    expected = np.sqrt(float(published["analysis_of_variance"]["ms_batch"]) / 30)
    assert surface.coefficients()["std_error"].iloc[0] == pytest.approx(expected, rel=1e-5)


def test_batches_that_differ_less_than_their_samples():
    """The likelihood is largest where the make-ready's variance is zero."""
    figures, table = read_json("dyestuff2.json"), read_table("dyestuff2.csv")
    surface = fit_values(table["yield"], MEAN, make_ready=table["batch"])
    reml = figures["published"]["reml"]
    assert_printed(surface.solution.params[0], reml["mean"])
    assert_printed(surface.components.make_ready, reml["batch"])
    assert_printed(surface.components.print_, reml["residual"])
    assert_printed(np.sqrt(covariance(surface)[0, 0]), figures["computed"]["reml"]["standard_error"])


def fit_tests(table):
    """Each test a cell: all three variances are found from the values."""
    return fit_values(table["strength"], MEAN, make_ready=table["batch"], print=table["sample"])


def fit_cask_means(table):
    """As a trial is fitted: means of casks, and the pooled variance of the tests in a cask."""
    casks = table.groupby(["batch", "sample"])["strength"].agg(["mean", "var"]).reset_index()
    columns = dict(make_ready=casks["batch"], print=casks["sample"], count=np.full(len(casks), 2))
    return fit_values(casks["mean"], MEAN, casks["var"].mean(), len(casks), **columns)


@pytest.mark.parametrize("fit", [fit_tests, fit_cask_means])
def test_tests_in_casks_in_batches(fit):
    figures, surface = read_json("pastes.json"), fit(read_table("pastes.csv"))
    reml, found = figures["published"]["reml"], surface.components
    assert_printed(surface.solution.params[0], reml["mean"])
    assert_printed(np.sqrt(found.make_ready), reml["sd_batch"])
    assert_printed(np.sqrt(found.print_), reml["sd_cask"])
    assert_printed(np.sqrt(found.feature), reml["sd_test"])
    assert_printed(np.sqrt(covariance(surface)[0, 0]), figures["computed"]["reml"]["standard_error"])


def test_parts_measured_by_every_operator():
    """Balanced, so these components are the same whether operators are fixed or random."""
    published = read_json("gauge_rr.json")["published"]["reduced"]
    table = read_table("gauge_rr.csv", dtype=str)
    operator = Factor.learn("operator", "category", table["operator"])
    design = Design((operator,), ((), *((name,) for name in operator.columns)))
    found = fit_values(table["y"], design, make_ready=table["part"], operator=table["operator"]).components
    assert_printed(found.make_ready, published["part"])
    assert_printed(found.print_, published["repeatability"])
