"""Lips, corners, plate widths and directions in the surfaces, against the truth of the demo trial of plates."""

import numpy as np
import pytest

from pwindow.surfaces.surfaces import setups_frame

MIDDLE = {"speed": 60.0, "cell_volume": 4.4, "pressure": 50.0, "plate_width": 30.0, "direction": 0.0}


def at(**more):
    return setups_frame([{**MIDDLE, "plate": "film-imaged", **more}])


def interval(surfaces, name, setups):
    found = surfaces.predict(name, setups, 0.99).iloc[0]
    return found["mean_ci_low"], found["mean_ci_high"]


@pytest.mark.parametrize("plate", ["film-imaged", "laser-imaged"])
@pytest.mark.parametrize(("gap", "lips"), [(50.0, 50.0), (50.0, 150.0), (90.0, 190.0)])
def test_a_gap_closes_from_its_lips(plates_surfaces, make_plates, plate, gap, lips):
    setups = at(plate=plate, plate_gap=gap, lip_width=lips)
    truth = make_plates.expected(make_plates.read_truth(), setups)["closure"].iloc[0]
    low, high = interval(plates_surfaces, "gap_closure", setups)
    assert low < truth < high
    assert high - low < 16.0


@pytest.mark.parametrize("corner", ["inner", "outer"])
@pytest.mark.parametrize("radius", [10.0, 25.0])
def test_radii_of_corners_are_predicted(plates_surfaces, make_plates, corner, radius):
    setups = at(corner_radius=radius).assign(corner=corner)
    truth = make_plates.printed_radius(make_plates.read_truth(), setups)[0]
    low, high = interval(plates_surfaces, f"{corner}_radius", setups)
    assert low < np.exp(truth) < high
    assert high / low < 1.5


@pytest.mark.parametrize("width", [20.0, 30.0, 55.0])
@pytest.mark.parametrize("direction", [0.0, 45.0, 90.0])
def test_lines_of_every_width_and_direction_are_predicted(plates_surfaces, make_plates, width, direction):
    if direction and width != 30.0:
        pytest.skip("printed along the web only")
    setups = at(plate="laser-imaged", plate_width=width, direction=direction, plate_gap=50.0, lip_width=50.0)
    truth = np.exp(make_plates.expected(make_plates.read_truth(), setups).iloc[0])
    for name, wanted in (("line_width", truth["log_width"]), ("line_height", truth["log_height"])):
        low, high = interval(plates_surfaces, name, setups)
        assert low < wanted < high


def test_gaps_without_lips_count_with_their_width_at_the_surface(plates_surfaces):
    assert any("12 plate gaps have no lip-to-lip width" in note for note in plates_surfaces.notes)
