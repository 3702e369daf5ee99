"""Products that ask for what the trial did not try."""

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import WindowProblem
from pwindow.inputs import InputFile
from pwindow.window.requirements.pattern import same_direction
from tests.helpers.products import make_product
from tests.helpers.trials import read_frame

GAP = {"gap": (16.0, None, {"count": 1})}


@pytest.mark.parametrize(
    "pattern, words",
    [
        ({"plate": "engraved"}, ["“engraved”", "“film-imaged”", "“laser-imaged”"]),
        ({"plate_gap": 30.0}, ["plate gap 30 µm", "45 to 75 µm"]),
        ({"plate_gap": 200.0}, ["plate gap 200 µm", "45 to 75 µm"]),
        ({"plate_gap": None}, ["plate_gap", "add plate_gap"]),
        ({"plate_width": 35.0}, ["plate width 35 µm", "(30 µm)"]),
        ({"direction": 90.0}, ["direction 90 deg", "(0 deg)"]),
    ],
)
def test_untried_pattern_is_refused_with_what_was_tried(window_of, pattern, words):
    with pytest.raises(WindowProblem) as caught:
        window_of(pattern=pattern, **GAP)
    assert [word for word in words if word not in str(caught.value)] == []


def test_unsaid_constants_are_the_trial_s(window_of):
    pattern = window_of(pattern={"plate_width": None, "direction": None}, **GAP).patterns["laser-imaged"]
    assert (pattern["plate_width"], pattern["direction"]) == (30.0, 0.0)


def test_no_plate_named_judges_every_plate_tried(window_of):
    window = window_of(pattern={"plate": None}, **GAP)
    assert window.plates == ("film-imaged", "laser-imaged")
    assert set(window.speed_bands()["plate"]) == {"film-imaged", "laser-imaged"}


def test_plates_that_do_not_fit_an_open_product_are_passed_over_with_the_reason(window_of):
    window = window_of(pattern={"plate": None, "plate_width": 30.0}, **GAP)
    assert window.plates == ("laser-imaged",)
    assert len(window.notes) == 1 and "film-imaged" in window.notes[0]


def test_a_tolerance_of_a_setting_that_was_not_varied_is_said(demo_rows):
    still = demo_rows.assign(**{"pressure [um]": 50.0})
    product = make_product(assurance={"pressure_tolerance": "5 µm", "speed_tolerance": 0.02}, **GAP)
    window = pw.find_window(pw.fit(read_frame(still)), product)
    assert len(window.notes) == 1 and "did not vary pressure" in window.notes[0]


def test_response_that_was_not_measured(demo_rows):
    lines = demo_rows[demo_rows["plate_gap [um]"].isna()]
    with pytest.raises(WindowProblem, match="gap"):
        pw.find_window(pw.fit(read_frame(lines)), make_product(**GAP))


def test_pressure_tolerance_of_another_kind(demo_surfaces):
    with pytest.raises(WindowProblem, match="pressure_tolerance “5 kPa”.*µm"):
        pw.find_window(demo_surfaces, make_product(assurance={"pressure_tolerance": "5 kPa"}, **GAP))


def test_region_holds_the_tried_set_ups_and_nothing_far_off(tag_window, demo_trial):
    tried = demo_trial.prints.query("plate == 'laser-imaged'")
    setups = tag_window.setups("laser-imaged", tried["speed"], tried["cell_volume"], tried["pressure"])
    assert tag_window.in_trial_region(setups).all()
    for change in (
        {"speed": 25.0},
        {"speed": 130.0},
        {"cell_volume": 2.0},
        {"cell_volume": 8.0},
        {"pressure": 10.0},
        {"pressure": 90.0},
        {"plate_gap": 90.0},
    ):
        assert not tag_window.in_trial_region(setups.assign(**change)).any()


def test_map_is_blank_outside_the_region_only(tag_window):
    from pwindow.window.search.maps import window_map

    for pressure in (20.0, 50.0, 90.0):
        found = window_map(tag_window, "laser-imaged", pressure, cells=25)
        volume, speed = np.meshgrid(found.volumes, found.speeds, indexing="ij")
        setups = tag_window.setups("laser-imaged", speed.ravel(), volume.ravel(), pressure)
        inside = tag_window.in_trial_region(setups)
        np.testing.assert_array_equal(np.isnan(found.joint).ravel(), ~inside)
        assert inside.any() == (pressure <= 80.0)


def test_a_plate_of_which_the_trial_says_nothing_is_noted(demo_rows):
    rows = demo_rows[demo_rows["plate"] == "laser-imaged"].drop(columns="plate")
    surfaces = pw.fit(pw.read_trial(InputFile("bare.csv", rows.to_csv(index=False).encode())))
    asked = pw.find_window(surfaces, make_product(pattern={"plate": "laser-imaged"}, **GAP))
    assert [note for note in asked.notes if "“laser-imaged”" in note and "taken to be" in note] == [
        asked.notes[0]
    ]
    left_open = pw.find_window(surfaces, make_product(pattern={"plate": None}, **GAP))
    assert not any("taken to be" in note for note in left_open.notes)


def test_diagonals_are_alike_whatever_side_they_lean_to():
    found = same_direction(pd.Series([45.0, -45.0, 135.0, 0.0, 90.0, np.nan]), 45.0)
    assert found.tolist() == [True, True, True, False, False, False]
    assert same_direction(pd.Series([180.0, np.nan]), 0.0).tolist() == [True, False]
