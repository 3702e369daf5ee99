"""A split plot: strength of paper (Montgomery, Design and Analysis of Experiments, table 14.16).

A pulp, one preparation on one day, is a whole plot and stands for a make-ready; its four samples,
each cooked at another temperature, stand for prints. Days are blocks of whole plots: a fixed factor.
"""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.terms import Design, Factor
from tests.helpers.reference import assert_printed, covariance, fit_values, read_json, read_table, wald

NAMES = ("rep", "prep", "temperature")
BY_LME4 = ("rep", "prep", "temperature", "prep × temperature")
BY_BOOK = (*BY_LME4, "rep × temperature")  # the book takes days × temperatures out of the error


@pytest.fixture(scope="module")
def figures():
    return read_json("paper_split_plot.json")


def fit(effects):
    """Fitter of the surface that has some main effects and products of factors."""
    table = read_table("paper_split_plot.csv", dtype=str)
    factors = tuple(Factor.learn(name, "category", table[name]) for name in NAMES)
    design = Design(factors, ((), *(term for effect in effects for term in terms_of(factors, effect))))
    return fit_values(table["y"], design, make_ready=table["rep"] + table["prep"], **table[[*NAMES]])


def terms_of(factors, effect: str) -> list:
    columns = {factor.name: factor.columns for factor in factors}
    return list(product(*(columns[name] for name in effect.split(" × "))))


def rows_of(surface, effect: str) -> list[int]:
    return [surface.design.terms.index(term) for term in terms_of(surface.design.factors, effect)]


def strata(surface) -> dict[str, float]:
    """Mean squares that the components stand for, of four samples a pulp."""
    found = surface.components
    return {"whole": found.print_ + 4 * found.make_ready, "sub": found.print_}


def test_published_errors_of_both_strata(figures):
    published, mean_squares = figures["published"], strata(fit(BY_BOOK))
    assert_printed(mean_squares["whole"], published["ms_whole_plot_error"])
    for stratum, mean_square in mean_squares.items():
        name = f"{stratum}-plot error"
        assert_printed(mean_square * published["df"][name], published["ss"][name])


@pytest.mark.parametrize(
    "effect, stratum",
    [("prep", "whole"), ("temperature", "sub"), ("prep × temperature", "sub"), ("rep × temperature", "sub")],
)
def test_published_sums_of_squares(figures, effect, stratum):
    surface = fit(BY_BOOK)
    rows = rows_of(surface, effect)
    found = wald(surface, rows) * len(rows) * strata(surface)[stratum]
    assert_printed(found, figures["published"]["ss"][effect])


@pytest.mark.parametrize("effect", ["prep", "prep × temperature"])
def test_published_tests_of_either_stratum(figures, effect):
    """Each effect is held against the error of its own stratum by one covariance of coefficients."""
    surface = fit(BY_BOOK)
    assert_printed(wald(surface, rows_of(surface, effect)), figures["published"]["f"][effect])


def test_degrees_of_freedom_of_the_next_print(figures):
    """Satterthwaite of MS_whole/4 + 3/4 MS_sub on 4 and 12, from the exact sums of squares."""
    assert_printed(fit(BY_BOOK).df, figures["computed"]["df_of_next_print"])


def test_components_and_standard_errors_of_lme4(figures):
    """Of differences to preparation 1 at 200 degrees: one between whole plots, one inside them."""
    expected, surface = figures["computed"]["reml"], fit(BY_LME4)
    assert_printed(surface.components.make_ready, expected["whole_plot"])
    assert_printed(surface.components.print_, expected["sub_plot"])
    settings = {"rep": "1", "prep": ["1", "2", "1"], "temperature": ["200", "200", "225"]}
    rows = surface.design.matrix(pd.DataFrame(settings))
    for difference, name in zip(rows[1:] - rows[0], ("se_prep", "se_temperature"), strict=True):
        assert_printed(np.sqrt(difference @ covariance(surface) @ difference), expected[name])
