"""Two responses of a deposition process in eleven runs (NIST/SEMATECH e-Handbook)."""

import pytest

from pwindow.surfaces.checks.diagnostics import diagnose
from pwindow.surfaces.model.terms import Design, Factor, second_order
from tests.helpers.reference import fit_values, printed, read_json, read_table

PRESSURE, RATIO = "pressure", "flow_ratio"
FACTORS = (Factor(PRESSURE, "linear", 4.0, 80.0), Factor(RATIO, "linear", 2.0, 10.0))
REDUCED = {
    "uniformity": ((), (PRESSURE,), (RATIO,), (PRESSURE, RATIO)),
    "stress": ((), (PRESSURE,), (RATIO,), (PRESSURE, PRESSURE)),
}


@pytest.fixture(scope="module")
def figures():
    return read_json("deposition.json")


def fit(response, terms):
    table = read_table("deposition.csv")
    return fit_values(table[response], Design(FACTORS, terms), **table[[PRESSURE, RATIO]])


@pytest.mark.parametrize("response", REDUCED)
def test_published_reduced_surfaces(figures, response):
    found = fit(response, REDUCED[response]).solution.params
    published = figures["published"][response]["coef"]
    assert len(found) == len(published)
    for value, text in zip(found, published):
        assert value == printed(text)


@pytest.mark.parametrize("response", REDUCED)
def test_full_second_order_surfaces(figures, response):
    surface = fit(response, second_order(FACTORS))
    expected = figures["computed"][response]
    for value, text in zip(surface.solution.params, expected["coef"], strict=True):
        assert value == printed(text)
    assert diagnose(surface).r2 == printed(expected["r2"])
