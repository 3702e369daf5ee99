"""The trial region: set-ups that the prints surround."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.region import Hull, TrialRegion
from pwindow.trials.columns import COLUMNS
from pwindow.trials.trial import MeasuredTrial
from tests.helpers.trials import read_frame

SQUARE = np.array(list(product((-1.0, 1.0), repeat=2)))


def region_of(set_ups, **columns):
    """Region of a trial with prints at the given set-ups."""
    table = pd.DataFrame(set_ups, columns=["speed", "cell_volume", "pressure"]).astype(float)
    table = table.assign(print=[f"P{at}" for at in range(len(table))], line_width=60.0, **columns)
    features = table.reindex(columns=list(COLUMNS))
    return TrialRegion.of(MeasuredTrial(features.astype({"plate": object, "make_ready": object})))


def set_up(speed, cell_volume, pressure, plate="") -> pd.DataFrame:
    return pd.DataFrame(
        {"speed": [speed], "cell_volume": [cell_volume], "pressure": [pressure], "plate": [plate]}
    )


def test_hull_of_a_square():
    inside = Hull.around(SQUARE).contains(np.array([[0, 0], [1, 1], [0, -1], [1.001, 0], [0, 2.0]]))
    np.testing.assert_array_equal(inside, [True, True, True, False, False])


def test_hull_contains_mixtures_of_its_points_and_nothing_beyond_a_corner():
    rng = np.random.default_rng(8)
    points = rng.normal(size=(12, 3))
    hull = Hull.around(points)
    assert hull.contains(rng.dirichlet(np.ones(12), 200) @ points).all()
    centre = points.mean(axis=0)
    farthest = points[np.argmax(np.linalg.norm(points - centre, axis=1))]
    assert not hull.contains((centre + 1.01 * (farthest - centre))[None])[0]


def test_points_in_a_line():
    hull = Hull.around(np.array([[0, 0, 0], [1, 2, 2], [0.5, 1, 1]], dtype=float))
    queries = np.array([[0.25, 0.5, 0.5], [1, 2, 2], [1.1, 2.2, 2.2], [0.25, 0.5, 0.6]])
    np.testing.assert_array_equal(hull.contains(queries), [True, True, False, False])


def test_points_in_a_plane():
    hull = Hull.around(np.column_stack([SQUARE, SQUARE.sum(axis=1)]))
    queries = np.array([[0.5, 0.25, 0.75], [0.5, 0.25, 0.8], [1.5, 0, 1.5]])
    np.testing.assert_array_equal(hull.contains(queries), [True, False, False])


def test_one_point_is_its_own_hull():
    hull = Hull.around(np.array([[0.3, -0.2], [0.3, -0.2]]))
    np.testing.assert_array_equal(hull.contains(np.array([[0.3, -0.2], [0.3, -0.1]])), [True, False])
    assert hull.chord(np.array([0.3, -0.2]), np.array([1.0, 0.0])) == (0.0, 0.0)
    assert hull.chord(np.array([0.4, -0.2]), np.array([1.0, 0.0])) == pytest.approx((-0.1, -0.1))
    assert hull.chord(np.array([0.3, -0.1]), np.array([1.0, 0.0])) is None


@pytest.mark.parametrize("dimension", [2, 3])
def test_chord_ends_where_containment_ends(dimension):
    rng = np.random.default_rng(dimension)
    hull = Hull.around(rng.normal(size=(15, dimension)))
    met = 0
    for _ in range(60):
        point, direction = rng.normal(size=dimension), rng.normal(size=dimension)
        direction /= np.linalg.norm(direction)
        steps = np.linspace(-6, 6, 2401)
        inside = steps[hull.contains(point + steps[:, None] * direction)]
        chord = hull.chord(point, direction)
        if chord is None:
            assert len(inside) == 0
            continue
        low, high = chord
        ends = point + np.array([[low + 1e-3], [high - 1e-3], [low - 1e-3], [high + 1e-3]]) * direction
        if high - low > 0.01:
            np.testing.assert_array_equal(hull.contains(ends), [True, True, False, False])
            assert (inside.min(), inside.max()) == pytest.approx((low, high), abs=6e-3)
            met += 1
    assert met > 15


def test_chord_of_a_line_across_it_is_a_point_or_nothing():
    hull = Hull.around(np.array([[-1.0, 0.0], [1.0, 0.0]]))
    up = np.array([0.0, 1.0])
    assert hull.chord(np.array([0.5, 0.0]), up) == (0.0, 0.0)
    assert hull.chord(np.array([1.5, 0.0]), up) is None
    assert hull.chord(np.array([0.0, 0.0]), np.array([1.0, 0.0])) == pytest.approx((-1.0, 1.0))
    assert hull.chord(np.array([0.0, 0.5]), np.array([1.0, 0.0])) is None


def test_region_is_a_hull_in_log_settings():
    """Half way between (30, 2) and (120, 8) in logarithms is (60, 4)."""
    region = region_of([(30, 2, 20), (120, 8, 20), (30, 2, 80), (120, 8, 80)])
    assert region.contains(set_up(60, 4, 50))[0]
    assert not region.contains(set_up(75, 5.5, 50))[0]
    assert not region.contains(set_up(60, 4, 81))[0]


def test_speed_range_in_a_trial_whose_speeds_depend_on_the_roll():
    """Corners (30, 2), (120, 2), (60, 8): at volume 4, half way in logs, √(30·60) to √(120·60)."""
    region = region_of([(s, v, p) for s, v in ((30, 2), (120, 2), (60, 8)) for p in (20, 80)])
    assert region.speed_range("", 2.0, 50.0) == pytest.approx((30.0, 120.0), rel=1e-6)
    assert region.speed_range("", 4.0, 50.0) == pytest.approx((1800**0.5, 7200**0.5), rel=1e-6)
    assert region.speed_range("", 8.0, 50.0) == pytest.approx((60.0, 60.0), rel=1e-5)
    assert region.speed_range("", 8.2, 50.0) is None
    assert region.speed_range("", 4.0, 90.0) is None


def test_speed_range_of_prints_in_a_line():
    region = region_of([(30, 4, 50), (60, 4, 50), (120, 4, 50)])
    assert region.constant == {"cell_volume": 4.0, "pressure": 50.0}
    assert region.speed_range("", 4.0, 50.0) == pytest.approx((30.0, 120.0), rel=1e-9)
    assert region.speed_range("", 5.0, 50.0) is None
    assert region.contains(set_up(45, 4, 50))[0] and not region.contains(set_up(45, 4.1, 50))[0]


def test_speed_that_never_varied_must_be_kept():
    region = region_of([(60, v, p) for v in (2, 8) for p in (20, 80)])
    assert region.speed_range("", 4.0, 50.0) == (60.0, 60.0)
    assert region.speed_range("", 9.0, 50.0) is None
    assert not region.contains(set_up(61, 4, 50))[0]


def test_each_plate_has_its_own_region():
    slow = [(s, v, p) for s in (30, 60) for v in (2, 8) for p in (20, 80)]
    fast = [(s, v, p) for s in (60, 120) for v in (2, 8) for p in (20, 80)]
    region = region_of(slow + fast, plate=["a"] * 8 + ["b"] * 8)
    assert region.plates == ("a", "b")
    assert region.speed_range("a", 4.0, 50.0) == pytest.approx((30.0, 60.0), rel=1e-6)
    assert region.speed_range("b", 4.0, 50.0) == pytest.approx((60.0, 120.0), rel=1e-6)
    assert region.contains(set_up(45, 4, 50, "a"))[0] and not region.contains(set_up(45, 4, 50, "b"))[0]


def test_covariates_outside_what_was_tried_are_outside():
    corners = [(s, v, p) for s in (30, 120) for v in (2, 8) for p in (20, 80)]
    region = region_of(corners, plate_width=[30.0, 50.0] * 4)
    inside = [
        region.contains(set_up(60, 4, 50).assign(plate_width=w))[0] for w in (30.0, 40.0, 50.0, 51.0, 29.0)
    ]
    assert inside == [True, True, True, False, False]


def test_demo_prints_are_inside_and_on_their_speed_ranges(demo_surfaces):
    region, prints = demo_surfaces.region, demo_surfaces.trial.prints
    assert region.contains(prints.assign(plate=prints["plate"].fillna(""))).all()
    for row in prints.itertuples():
        low, high = region.speed_range(row.plate, row.cell_volume, row.pressure)
        assert low * (1 - 1e-6) <= row.speed <= high * (1 + 1e-6)


def test_where_speed_and_volume_went_together_each_roll_has_its_own_speed(demo_rows):
    """Rolls that were each run at one speed: the region is a line, and a roll finds its speed on it."""
    speeds = {"0655": 30.0, "1203": 60.0, "2047": 120.0}
    rows = demo_rows[demo_rows["roll"].isin(speeds)]
    volumes = rows["roll"].map({"0655": 3.0, "1203": 6.0, "2047": 12.0})
    rows = rows.assign(**{"speed [m/min]": rows["roll"].map(speeds), "cell_volume [cm3/m2]": volumes})
    region = TrialRegion.of(read_frame(rows))
    for volume, speed in ((3.0, 30.0), (6.0, 60.0), (12.0, 120.0)):
        assert region.speed_range("laser-imaged", volume, 50.0) == pytest.approx((speed, speed))
    between = region.speed_range("laser-imaged", 4.5, 50.0)
    assert between[0] == between[1] and 30.0 < between[0] < 60.0
    assert region.speed_range("laser-imaged", 2.0, 50.0) is None
