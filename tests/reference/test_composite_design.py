"""The two-factor composite design of Montgomery, ch. 11: surfaces of three responses.

The book prints the axial points as 1.414 and its analysis follows from √2 exactly: F of lack of fit
is then the printed 1.78, with 1.414 it is 1.79. Both are checked.
"""

import numpy as np
import pandas as pd
import pytest
from scipy import ndimage

from pwindow.surfaces.checks.diagnostics import diagnose
from pwindow.surfaces.model.terms import Design, Factor, second_order
from tests.helpers.reference import fit_values, printed, read_json, read_table

FACTORS = (Factor("time", "linear", 80.0, 90.0), Factor("temperature", "linear", 170.0, 180.0))
LINEAR = ((), ("time",), ("temperature",))
ROOT_2 = np.sqrt(2.0)


def set_ups(x1, x2) -> pd.DataFrame:
    return pd.DataFrame({"time": 85.0 + 5.0 * np.asarray(x1), "temperature": 175.0 + 5.0 * np.asarray(x2)})


@pytest.fixture(scope="module")
def figures():
    return read_json("montgomery_ccd_process.json")


def fit(response, axial=ROOT_2, terms=None):
    """Fitter of one response with the axial points at a given distance."""
    table = read_table("montgomery_ccd_process.csv")
    x1, x2 = (np.where(table[x].abs() > 1, np.sign(table[x]) * axial, table[x]) for x in ("x1", "x2"))
    design = Design(FACTORS, terms or second_order(FACTORS))
    return fit_values(table[response], design, **set_ups(x1, x2))


@pytest.mark.parametrize("axial", [1.414, ROOT_2])
@pytest.mark.parametrize(
    "response, key, terms",
    [
        ("yield", "yield", None),
        ("viscosity", "viscosity", None),
        ("molecular_weight", "molecular_weight_linear", LINEAR),
    ],
)
def test_published_coefficients(figures, response, key, terms, axial):
    surface = fit(response, axial, terms)
    published = figures["published"][key]
    assert len(surface.solution.params) == len(published)
    for found, text in zip(surface.solution.params, published):
        assert found == printed(text)


def test_published_analysis_of_variance(figures):
    published = figures["published"]["yield_analysis"]
    surface = fit("yield")
    checks = diagnose(surface)
    assert checks.ss_model == printed(published["ss_model"])
    assert checks.ss_residual == printed(published["ss_residual"])
    assert checks.f == printed(published["f_model"])
    assert (checks.df_model, checks.df_residual) == (published["df_model"], published["df_residual"])
    assert np.sqrt(surface.scale) == printed(published["residual_sd"])
    assert checks.r2 == printed(published["r2"])
    assert checks.adjusted_r2 == printed(published["adjusted_r2"])


def test_published_lack_of_fit(figures):
    published = figures["published"]["yield_analysis"]
    lack = diagnose(fit("yield")).lack_of_fit
    assert lack.ss == printed(published["ss_lack_of_fit"])
    assert lack.ss_pure == printed(published["ss_pure_error"])
    assert (lack.df, lack.df_pure) == (published["df_lack_of_fit"], published["df_pure_error"])
    assert lack.f == printed(published["f_lack_of_fit"])
    assert lack.p == printed(published["p_lack_of_fit"])


@pytest.mark.parametrize("axial, key", [(1.414, "axial 1.414"), (ROOT_2, "axial root 2")])
def test_lack_of_fit_follows_the_axial_distance(figures, axial, key):
    assert diagnose(fit("yield", axial)).lack_of_fit.f == printed(figures["computed"]["f_lack_of_fit"][key])


def test_published_prediction_of_left_out_runs(figures):
    published = figures["published"]["yield_analysis"]
    checks = diagnose(fit("yield"))
    assert checks.left_out == "print"
    assert checks.press == printed(published["press"])
    assert checks.predicted_r2 == printed(published["predicted_r2"])


def curvature(surface) -> tuple[np.ndarray, np.ndarray]:
    """Slope vector and matrix of the quadratic form."""
    _, a, b, aa, bb, ab = surface.solution.params
    return np.array([a, b]), np.array([[aa, ab / 2], [ab / 2, bb]])


def test_published_stationary_point(figures):
    published, surface = figures["published"], fit("yield", 1.414)
    slope, matrix = curvature(surface)
    point = -np.linalg.solve(matrix, slope) / 2
    for found, text in zip(point, published["stationary_coded"]):
        assert found == printed(text)
    at = set_ups(point[:1], point[1:])
    for found, text in zip(at.iloc[0], published["stationary_natural"]):
        assert found == printed(text)
    assert surface.predict(at)["mean"].iloc[0] == printed(published["yield_at_stationary"])


def test_published_canonical_form(figures):
    _, matrix = curvature(fit("yield", 1.414))
    for found, text in zip(np.linalg.eigvalsh(matrix), figures["published"]["canonical"]):
        assert found == printed(text)


def test_overlap_of_means_is_two_separate_regions(figures):
    computed = figures["computed"]
    axis = np.linspace(-computed["reach"], computed["reach"], computed["grid"])
    x1, x2 = (grid.ravel() for grid in np.meshgrid(axis, axis, indexing="ij"))
    inside = np.ones(len(x1), dtype=bool)
    for response, (least, most) in figures["published"]["limits"].items():
        terms = LINEAR if response == "molecular_weight" else None
        mean = fit(response, 1.414, terms).mean(set_ups(x1, x2))
        inside &= mean >= (-np.inf if least is None else least)
        inside &= mean <= (np.inf if most is None else most)
    labels, regions = ndimage.label(inside.reshape(len(axis), -1))
    assert inside.sum() == computed["overlap_cells"]
    assert regions == len(computed["overlap_regions"])
    assert sorted(np.bincount(labels.ravel())[1:]) == computed["overlap_regions"]
