"""Rectangle probabilities of the trivariate normal and t against quadrature and published values."""

import numpy as np
import pytest
from scipy import optimize

from pwindow.window.probability.rectangle import POINTS, rectangle_probability
from tests.helpers.reference import printed, read_json


@pytest.fixture(scope="module")
def figures():
    return read_json("multivariate_t_rectangles.json")


def probability(case: dict, points: int) -> float:
    lower, upper = (np.array([float(v) for v in case[end]]) for end in ("lower", "upper"))
    correlation = np.array(case["corr"], dtype=float)[None]
    return float(
        rectangle_probability(
            lower, upper, np.zeros((1, 3)), correlation, case["df"] or np.inf, points=points
        )[0]
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    "points, tolerance",
    [(199, 8e-4), (POINTS, 3e-5), (200003, 5e-7)],
    ids=["199 points", "2039 points", "200003 points"],
)
def test_every_case_against_quadrature(figures, points, tolerance):
    """Largest errors met over the ten cases: 5.5e-4, 1.3e-5, 2.5e-7."""
    assert len(figures["cases"]) == 10
    for case in figures["cases"]:
        found = probability(case, points)
        assert found == pytest.approx(case["reference"], rel=0, abs=tolerance), case["name"]


def test_published_probabilities(figures):
    """Lattice error with 200003 points below 1e-6 for both."""
    cases = {case["name"]: case for case in figures["cases"]}
    assert figures["published"]
    for name, text in figures["published"].items():
        assert probability(cases[name], 200003) == printed(text)


def test_dunnett_two_sided_quantiles(figures):
    """d with P(|T_i| ≤ d for three comparisons) = 0.95 at correlation 1/2."""
    correlation = [[1.0, 0.5, 0.5], [0.5, 1.0, 0.5], [0.5, 0.5, 1.0]]

    def excess(d, df):
        return probability({"lower": [-d] * 3, "upper": [d] * 3, "corr": correlation, "df": df}, 20011) - 0.95

    for df, text in figures["dunnett_two_sided_5pct_k3"]["published"].items():
        assert optimize.brentq(excess, 1.5, 5.0, args=(int(df),), xtol=1e-6) == printed(text)
