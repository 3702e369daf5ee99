"""Plates to order: artwork in whole steps, the best first, judged on the plate that comes of it."""

import json

import numpy as np
import pytest

from pwindow.errors import WindowProblem
from pwindow.outputs import plain
from pwindow.plates import plate_making
from pwindow.window.orders import plate_orders
from pwindow.window.orders.orders import FASTEST, SUREST, WIDEST


@pytest.fixture(scope="module")
def making(plates_trial, study):
    return plate_making(plates_trial.plates, study)


@pytest.fixture(scope="module")
def found(plates_surfaces, sensor, study, making):
    return plate_orders(plates_surfaces, sensor, study, making)


def test_each_process_has_its_fastest_and_its_widest(found):
    aims = {(order.plate, aim) for order in found.orders for aim in order.aim.split(" and ")}
    assert aims == {(plate, aim) for plate in ("film-imaged", "laser-imaged") for aim in (FASTEST, WIDEST)}


def test_the_best_comes_first(found):
    speeds = [order.band.high for order in found.orders]
    assert speeds == sorted(speeds, reverse=True)


def test_artwork_has_whole_steps_and_gives_the_plate(found, making, sensor):
    for order in found.orders:
        process = making.of(order.plate)
        for artwork in (order.artwork_width, order.artwork_gap):
            assert artwork / process.resolution == pytest.approx(round(artwork / process.resolution))
        assert order.plate_width == process.plate_width(order.artwork_width, 0.0).value
        assert order.plate_gap == process.plate_gap(order.artwork_gap).value


def test_no_plate_of_the_map_is_much_faster(found):
    for one in found.maps:
        own = max(order.band.high for order in found.orders if order.plate == one.process)
        best = np.nanmax(np.where(one.tried, one.fastest, np.nan))
        assert own > 0.9 * best  # artwork has steps of 5.3 µm


def test_an_order_meets_the_level_within_what_was_tried(found, sensor):
    for order in found.orders:
        assert order.in_trial_region
        assert order.conformance >= sensor.assurance.level
        assert order.interval.at_least < order.conformance
        low, high = order.speeds_between
        assert np.isnan(low) or low <= order.speed
        assert order.speed <= high


def test_it_is_plain_json(found):
    answer = json.loads(json.dumps(plain([order.to_dict("pressure_um") for order in found.orders])))
    assert {
        "plate",
        "plate_width_um",
        "plate_gap_um",
        "artwork_width_um",
        "artwork_gap_um",
        "fastest_speed_m_min",
        "roll",
        "conformance",
        "in_trial_region",
    } <= set(answer[0])
    assert len(found.to_frame("pressure_um")) == len(found.orders)


@pytest.mark.slow
def test_where_nothing_is_assured_the_surest_plate_is_named(plates_surfaces, sensor, study, making):
    hard = plate_orders(plates_surfaces, sensor.with_assurance(0.9999), study, making)
    assert {order.aim for order in hard.orders} == {SUREST}
    assert all(order.band is None for order in hard.orders)
    assert all(0.0 < order.conformance < 0.9999 for order in hard.orders)


def test_the_least_certain_plate_was_tried(found):
    one = found.telling
    assert 0.0 < one.conformance < 1.0
    of = next(plate for plate in found.maps if plate.process == one.plate)
    assert of.widths[0] <= one.plate_width <= of.widths[-1]


def test_a_product_that_no_plate_can_be_judged_for_says_why(demo_surfaces, sensor, study, making):
    with pytest.raises(WindowProblem, match="printed_radius of inner corners"):
        plate_orders(demo_surfaces, sensor, study, making)
