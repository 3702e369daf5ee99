"""Intervals of a surface that is only a mean: Student's t, one more value, and most values.

Factors count sample standard deviations s: the mean is known to t s/√n, the next value lies inside
t s √(1 + 1/n) of it (Hahn & Meeker 1991, Statistical Intervals, ch. 4), and 95 % of all values lie
above the mean less k s with a confidence of 95 % (ISO 16269-6).
"""

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.terms import Design
from tests.helpers.reference import assert_printed, fit_values, read_json

MEAN = Design((), ((),))
ANYWHERE = pd.DataFrame(index=[0])


@pytest.fixture(scope="module")
def figures():
    return read_json("one_sample.json")


def factors(size, level):
    """Half widths of the intervals, in sample standard deviations, of n uneven values."""
    values = 40.0 + np.sqrt(np.arange(size))
    found = fit_values(values, MEAN).predict(ANYWHERE, level).iloc[0]
    halves = [(found[f"{name}_high"] - found[f"{name}_low"]) / 2 for name in ("mean_ci", "obs_ci", "most")]
    return np.array(halves) / np.std(values, ddof=1)


@pytest.mark.parametrize("level", ["0.95", "0.99"])
def test_published_quantiles_in_the_interval_of_the_mean(figures, level):
    for df, text in figures["published"]["t"][level].items():
        size = int(df) + 1
        assert_printed(factors(size, float(level))[0] * np.sqrt(size), text)


def test_prediction_factors(figures):
    for size, text in figures["computed"]["prediction"].items():
        assert_printed(factors(int(size), 0.95)[1], text)


def test_one_sided_tolerance_factors(figures):
    for size, text in figures["published"]["tolerance"].items():
        assert_printed(factors(int(size), 0.95)[2], text)
