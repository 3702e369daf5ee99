"""A plate to be made moves the product to its sizes, and differs from what is ordered by what plates differ by."""

import numpy as np
import pytest

from pwindow.plates import plate_making
from pwindow.study import Study
from pwindow.window import find_window
from pwindow.window.orders.new_plate import NewPlate


@pytest.fixture(scope="module")
def making(plates_trial):
    return plate_making(plates_trial.plates, Study()).of("laser-imaged")


@pytest.fixture(scope="module")
def plate(making):
    return NewPlate(making, 37.0, 46.0)


def test_its_lips_are_those_that_the_process_makes(plate, making):
    assert plate.lips == making.lip_width(46.0).value
    assert plate.lips - plate.gap == pytest.approx(96.0, abs=12.0)  # truth_plates.toml
    assert NewPlate(making, 37.0, 46.0, 0.0).lips == 46.0


def test_the_product_is_put_on_it(plate, sensor):
    pattern = plate.product(sensor).pattern
    assert (pattern.plate, pattern.plate_width, pattern.plate_gap) == ("laser-imaged", 37.0, 46.0)
    assert pattern.lip_width == plate.lips
    assert sensor.pattern.plate is None


def test_a_wider_gap_on_the_plate_is_a_wider_gap_in_print(plate, plates_surfaces, sensor):
    """Lips and surface move together, so that the printed gap moves by nearly as much as the plate."""
    study = Study()
    window = plate.window(plates_surfaces, sensor, study)
    exact = find_window(plates_surfaces, plate.product(sensor), study)
    at = window.setups("laser-imaged", 60.0, 7.2, 50.0)
    line = [one.requirement for one in window.limits["laser-imaged"].limits].index("gap")
    row = window.limits["laser-imaged"].rows[line]
    more = window.predictive(at).scale[0, row, row] - exact.predictive(at).scale[0, row, row]
    common = sum(one.step**2 / 3.0 for one in plate.tolerances() if one.setting != "plate_width")
    assert 0.8 * common < more < 1.2 * (common + 3.0 * plate.between_gaps)  # of the worst of 12 gaps


def test_what_is_not_known_of_the_average_counts_too(plate, making):
    """All of a line, and of gaps what they share; both wider than the average is uncertain."""
    line, gap = (
        making.plate_width(making.artwork_width(37.0).value),
        making.plate_gap(making.artwork_gap(46.0).value),
    )
    found = {one.setting: one.step / np.sqrt(3.0) for one in plate.tolerances()}
    assert found["plate_width"] == pytest.approx(line.spread) and line.spread > line.shared > line.se
    assert found["plate_gap"] == pytest.approx(gap.shared) and gap.spread > gap.shared > gap.se
    assert found["lip_width"] == pytest.approx(making.lip_width(46.0).shared)


def test_gaps_of_one_plate_differ_as_its_features_do(plate):
    """truth_plates.toml: 0.8 µm between gaps of a plate, and 9 µm between their lips."""
    assert plate.between_gaps**0.5 == pytest.approx(9.04, rel=0.4)
    assert NewPlate(plate.making, 37.0, 46.0, 0.0).between_gaps ** 0.5 == pytest.approx(0.8, rel=0.4)


def test_what_a_plate_differs_by_costs_conformance(plate, plates_surfaces, sensor):
    at = ("laser-imaged", 80.0, 7.2, 50.0)
    exact = find_window(plates_surfaces, plate.product(sensor), Study())
    made = plate.window(plates_surfaces, sensor, Study())
    sure, unsure = (window.joint_conformance(window.setups(*at))[0] for window in (exact, made))
    assert unsure < sure


def test_sizes_that_do_not_matter_are_left_open(making, sensor):
    plate = NewPlate(making, np.nan, 46.0)
    assert plate.product(sensor).pattern.plate_width is None
    assert [one.setting for one in plate.tolerances()] == ["plate_gap", "lip_width"]
