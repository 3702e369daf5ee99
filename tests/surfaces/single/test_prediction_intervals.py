"""Intervals of the mean and of the next print."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from threadpoolctl import threadpool_limits

from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.single.surface import fit_surface
from tests.helpers.cells import line_height, make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, second_order(FACTORS))
NEW = pd.DataFrame({"speed": [45.0, 60.0, 120.0, 150.0], "pressure": [20.0, 50.0, 80.0, 90.0]})
COLUMNS = ["mean", "mean_ci_low", "mean_ci_high", "obs_ci_low", "obs_ci_high"]


@pytest.fixture
def cells():
    return make_cells([(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2)


def by_general_library(cells, alpha):
    fit = sm.OLS(cells["value"], DESIGN.matrix(cells)).fit()
    frame = fit.get_prediction(DESIGN.matrix(NEW)).summary_frame(alpha=alpha)
    return frame[["mean", "mean_ci_lower", "mean_ci_upper", "obs_ci_lower", "obs_ci_upper"]].to_numpy()


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_plain_design_agrees_with_a_general_library(cells, plain_kind, level):
    predicted = fit_surface(ResponseData(kind=plain_kind, cells=cells), DESIGN).predict(NEW, level)
    np.testing.assert_allclose(predicted[COLUMNS], by_general_library(cells, 1 - level), rtol=1e-10)


def test_log_response_is_predicted_in_its_own_unit(cells):
    predicted = fit_surface(line_height(cells), DESIGN).predict(NEW)
    np.testing.assert_allclose(predicted[COLUMNS], np.exp(by_general_library(cells, 0.05)), rtol=1e-9)


def test_coefficients_agree_with_a_general_library(cells):
    theirs = sm.OLS(cells["value"], DESIGN.matrix(cells)).fit()
    ours = fit_surface(line_height(cells), DESIGN).coefficients()
    np.testing.assert_allclose(ours["coefficient"], theirs.params, rtol=1e-10)
    np.testing.assert_allclose(ours["std_error"], theirs.bse, rtol=1e-10)
    np.testing.assert_allclose(ours[["ci_low", "ci_high"]], theirs.conf_int(), rtol=1e-9)
    np.testing.assert_allclose(ours["p"], theirs.pvalues, rtol=1e-7)


@pytest.mark.slow
@threadpool_limits.wrap(limits=1)  # many small fits: threads only wait for each other
def test_next_print_of_a_new_make_ready_is_covered():
    """400 simulated trials of eight make-readies: the stated 90 % within four standard errors.

    The share covered has a standard error of 1.5 %.
    """
    rng = np.random.default_rng(5)
    cells = make_cells([(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2 + [(60, 4.0, 50)] * 6)
    of = np.arange(len(cells)) // 3
    cells["make_ready"] = [f"M{at}" for at in of]
    here = pd.DataFrame({"speed": [60.0], "pressure": [50.0]})
    linear, covered, trials = Design(FACTORS, ((), ("speed",), ("pressure",))), 0, 400
    for _ in range(trials):
        cells["value"] = rng.normal(0, 0.2, of.max() + 1)[of] + rng.normal(0, 0.1, len(cells))
        interval = np.log(fit_surface(line_height(cells), linear).predict(here, 0.9).iloc[0])
        covered += interval["obs_ci_low"] <= rng.normal(0, np.hypot(0.2, 0.1)) <= interval["obs_ci_high"]
    assert covered / trials == pytest.approx(0.9, abs=4 * stats.binom.std(trials, 0.9) / trials)
