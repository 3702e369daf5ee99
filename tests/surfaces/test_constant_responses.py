"""Responses that hardly vary are refused with the reason, whatever the arithmetic would make of them."""

import numpy as np
import pytest

import pwindow as pw
from pwindow.errors import SurfaceProblem
from tests.helpers.trials import read_frame

WIDTH, HEIGHT = "line_width [um]", "line_height [um]"


@pytest.fixture
def with_values(demo_rows):
    """Reader of the demo with other values where a column is filled."""

    def read(column, values):
        filled = demo_rows[column].notna()
        return read_frame(demo_rows.assign(**{column: np.where(filled, values, np.nan)}))

    return read


@pytest.mark.parametrize("column, value", [(WIDTH, 60.0), (HEIGHT, 0.6)])
def test_one_value_throughout_is_refused(with_values, column, value):
    with pytest.raises(SurfaceProblem, match="65 of 65 means are the same.*as measured"):
        pw.fit(with_values(column, value))


def test_one_closure_throughout_is_refused(with_values, demo_rows):
    with pytest.raises(SurfaceProblem, match="gap closure: .* are the same"):
        pw.fit(with_values("gap [um]", demo_rows["plate_gap [um]"] - 20.0))


def test_one_value_but_for_a_print_is_refused(with_values, demo_rows):
    with pytest.raises(SurfaceProblem, match="64 of 65 means are the same"):
        pw.fit(with_values(WIDTH, np.where(demo_rows["print"] == "A-001", 61.0, 60.0)))


def test_values_that_lie_on_a_surface_were_not_measured(with_values, demo_rows):
    with pytest.raises(SurfaceProblem, match="more closely than any instrument"):
        pw.fit(with_values(WIDTH, 55.0 * demo_rows["cell_volume [cm3/m2]"] ** 0.1))


@pytest.mark.slow
def test_features_that_were_copied_within_prints_are_fitted_and_said(with_values, demo_rows):
    few = demo_rows["print"].isin(demo_rows["print"].unique()[:8])
    surfaces = pw.fit(with_values(WIDTH, np.where(few, 61.0, 60.0)))
    assert any(
        note.startswith("line width: the features of each print all have the same value")
        for note in surfaces.notes
    )
    at = surfaces.joint.names.index("line_width")
    assert not surfaces.joint.features_compared[at]


@pytest.mark.slow
def test_a_coarse_instrument_is_no_constant(with_values, demo_rows):
    pw.fit(with_values(WIDTH, demo_rows[WIDTH].round(-1)))


def test_no_error_of_linear_algebra_reaches_a_user(demo_trial, monkeypatch):
    def fail(*_):
        raise np.linalg.LinAlgError("Matrix is not positive definite")

    monkeypatch.setattr("pwindow.surfaces.surfaces.join_responses", fail)
    with pytest.raises(SurfaceProblem, match="hardly varies"):
        pw.fit(demo_trial)
