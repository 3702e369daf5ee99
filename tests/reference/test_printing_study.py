"""A published printing study: second-order surfaces of the mean and of the spread of three replicates.

Box & Draper 1987, Empirical Model-Building and Response Surfaces, p. 247; surfaces of Vining & Myers
1990, J. Quality Technology 22, 38; optima of theirs and of Lin & Tu 1995, ibid. 27, 34.
"""

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.single.estimator import SecondOrderSurface
from tests.helpers.reference import assert_printed, fit_values, read_json, read_table

SETTINGS = ["speed", "pressure", "distance"]
FACTORS = tuple(Factor(name, "linear", -1.0, 1.0) for name in SETTINGS)
DESIGN = Design(FACTORS, second_order(FACTORS))


@pytest.fixture(scope="module")
def figures():
    return read_json("printing_ink.json")


@pytest.fixture(scope="module")
def table():
    runs = read_table("printing_ink.csv")
    replicates = runs[["y1", "y2", "y3"]]
    return runs.assign(mean=replicates.mean(axis=1), sd=replicates.std(axis=1))


@pytest.fixture(scope="module")
def fit(table):
    return lambda response: fit_values(table[response], DESIGN, **table[SETTINGS])


@pytest.mark.parametrize("response", ["mean", "sd"])
def test_published_coefficients(figures, table, fit, response):
    by_estimator = SecondOrderSurface().fit(table[SETTINGS].to_numpy(float), table[response])
    for params in (fit(response).solution.params, by_estimator.coef_):
        for found, text in zip(params, figures["published"][response], strict=True):
            assert_printed(found, text)


@pytest.mark.parametrize("response", ["mean", "sd"])
def test_residual_spread_and_standard_errors(figures, fit, response):
    """Of the intercept, and of linear terms, squares and products, which share theirs."""
    surface, computed = fit(response), figures["computed"]
    assert_printed(np.sqrt(surface.scale), computed["residual_sd"][response])
    of_kind = np.repeat(computed["standard_errors"][response], [1, 3, 3, 3])
    for found, text in zip(surface.coefficients()["std_error"], of_kind, strict=True):
        assert_printed(found, str(text))


def test_two_runs_without_spread_stand_in_the_spread_surface(table, fit):
    still = table[table["sd"] == 0.0]
    assert list(still["run"]) == [10, 14]
    surface = fit("sd")
    assert len(surface.cells) == 27
    assert np.isfinite(surface.predict(still[SETTINGS])).all(axis=None)


def test_published_optimum_from_our_own_surfaces(figures, fit):
    published = figures["published"]["optima"][0]
    here = pd.DataFrame([published["at"]], columns=SETTINGS)
    for response in ("mean", "sd"):
        assert_printed(fit(response).predict(here)["mean"].iloc[0], published[response])


@pytest.mark.parametrize("at", [0, 1])
def test_published_optima_from_the_published_surfaces(figures, at):
    """Holds our terms, not the fit: rounded coefficients move these figures by up to 0.1."""
    published = figures["published"]
    optimum = published["optima"][at]
    row = DESIGN.matrix(pd.DataFrame([optimum["at"]], columns=SETTINGS))[0]
    mean, sd = (float(row @ np.array(published[response], float)) for response in ("mean", "sd"))
    assert_printed(mean, optimum["mean"])
    assert_printed(sd, optimum["sd"])
    if "squared_error" in optimum:
        assert_printed((mean - published["target"]) ** 2 + sd**2, optimum["squared_error"])
