"""Censored regression: Tobin's durable goods, of which no household can buy less than none."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pwindow.surfaces.model.censoring import Censored, expected_closures
from tests.helpers.reference import assert_printed, read_json, read_table


@pytest.fixture(scope="module")
def durable():
    return read_table("tobin.csv")


@pytest.fixture(scope="module")
def published():
    return read_json("tobin.json")["published"]


@pytest.fixture(scope="module")
def found(durable):
    """Coefficients and spread; a purchase of nothing stands for a wish of less than 0."""
    bought = durable["durable"] > 0
    cells = pd.DataFrame(
        {
            "measured": bought * 1.0,
            "measured_mean": durable["durable"].where(bought),
            "bridged": 0.0,
            "unmeasured": ~bought * 1.0,
            "plate_gap": 0.0,
        }
    )
    design = np.column_stack([np.ones(len(durable)), durable["age"], durable["quant"]])
    fitted = expected_closures(Censored.of(cells), design, 0.0)
    return design, fitted.coefficients, fitted.spread


def test_coefficients(published, found):
    for value, text in zip(found[1], published["coefficients"], strict=True):
        assert_printed(value, text)


def test_spread(published, found):
    assert_printed(found[2], published["scale"])
    assert_printed(np.log(found[2]), published["log_scale"])


def test_log_likelihood(durable, published, found):
    design, coefficients, spread = found
    mean, bought = design @ coefficients, durable["durable"] > 0
    reached = stats.norm.logpdf(durable["durable"], mean, spread)
    nothing = stats.norm.logcdf(0.0, mean, spread)
    assert_printed(np.where(bought, reached, nothing).sum(), published["log_likelihood"])
