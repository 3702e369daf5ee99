"""Joint predictive probability of three responses (Peterson 2004, J. Quality Technology 36, 139)."""

import numpy as np
import pandas as pd
import pytest
from scipy import optimize

from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.posterior.joint import join_responses
from pwindow.window.probability.rectangle import POINTS, rectangle_probability
from tests.helpers.reference import as_response, printed, read_json, read_table

FACTORS = (Factor("x1", "linear", -1.0, 1.0), Factor("x2", "linear", -1.0, 1.0))


@pytest.fixture(scope="module")
def figures():
    return read_json("joint_probability.json")


@pytest.fixture(scope="module")
def settings():
    return read_table("montgomery_ccd_process.csv")[["x1", "x2"]]


@pytest.fixture(scope="module")
def joint(settings, figures):
    table = read_table("montgomery_ccd_process.csv")
    responses = {name: as_response(table[name], **settings) for name in figures["responses"]}
    return join_responses(responses, dict.fromkeys(responses, Design(FACTORS, second_order(FACTORS))))


@pytest.fixture(scope="module")
def probability(joint, figures):
    lower = np.array([-np.inf if v is None else v for v in figures["lower"]])
    upper = np.array([np.inf if v is None else v for v in figures["upper"]])

    def at(x1, x2, points):
        found = joint.predict(pd.DataFrame({"x1": np.atleast_1d(x1), "x2": np.atleast_1d(x2)}))
        return rectangle_probability(lower, upper, found.mean, found.scale, found.df, points=points)

    return at


def test_degrees_of_freedom_and_scale(joint, figures):
    """nu = n - p - q + 1, and S/nu; the references have 15 digits."""
    assert joint.df == figures["nu"]
    expected = np.array(figures["S"]) / figures["nu"]
    np.testing.assert_allclose(joint.spread, expected, rtol=1e-11)


def test_predictive_scale_is_one_plus_leverage(joint, settings):
    """(1 + z'(X'X)⁻¹z) S/nu, by explicit matrices."""
    x = joint.designs[0].matrix(settings)
    z = np.array([1.0, 0.3, -0.7, 0.09, 0.49, -0.21])
    expected = (1.0 + z @ np.linalg.inv(x.T @ x) @ z) * joint.spread
    found = joint.predict(pd.DataFrame({"x1": [0.3], "x2": [-0.7]}))
    np.testing.assert_allclose(found.scale[0], expected, rtol=1e-10)


@pytest.mark.slow
@pytest.mark.parametrize("points, tolerance", [(POINTS, 4e-5), (20011, 3e-6)])
def test_map(probability, points, tolerance):
    """Largest errors met: 3.0e-5 with 2039 points, 1.8e-6 with 20011."""
    table = read_table("joint_probability_map.csv")
    found = probability(table["x1"], table["x2"], points)
    np.testing.assert_allclose(found, table["p_joint"], rtol=0, atol=tolerance)


@pytest.mark.slow
def test_largest_probability(probability, figures):
    """Met: 1e-5 in position with 20,011 points, 8e-7 in probability with 200,003."""
    start = [-0.1, -0.7]
    best = optimize.minimize(
        lambda x: -probability(*x, 20011)[0],
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-5, "fatol": 1e-9},
    )
    for found, text in zip(best.x, figures["argmax_coded"]):
        assert found == printed(text)
    assert probability(*best.x, 200003)[0] == printed(figures["max_prob"])


@pytest.mark.slow
def test_means_that_conform_say_little(joint, probability, figures):
    """Where all means conform the joint probability is only 0.14 to 0.38."""
    axis = np.linspace(-1.414, 1.414, 60)
    x1, x2 = (grid.ravel() for grid in np.meshgrid(axis, axis, indexing="ij"))
    mean = joint.predict(pd.DataFrame({"x1": x1, "x2": x2})).mean
    lower = np.array([-np.inf if v is None else v for v in figures["lower"]])
    upper = np.array([np.inf if v is None else v for v in figures["upper"]])
    inside = np.all((mean >= lower) & (mean <= upper), axis=1)
    found = probability(x1[inside], x2[inside], 20011)
    assert inside.sum() == figures["overlap_cells_60_grid"]
    for value, text in zip((found.min(), found.max()), figures["prob_in_overlap_60_grid"]):
        assert value == printed(text)
