"""The map against the accurate conformance of the table, and its shortcuts against the long way."""

import numpy as np
import pytest

import pwindow as pw
from pwindow.window.bands import bands_at
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.probability.rectangle import rectangle_probability
from pwindow.window.search.maps import predictive_on_grid, window_map
from tests.helpers.products import make_product
from tests.helpers.trials import read_frame

LENGTH = {"length": 80.0}
CELLS = 16


def setups_of(window, plate, pressure, volumes, speeds):
    volume, speed = np.meshgrid(volumes, speeds, indexing="ij")
    return window.setups(plate, speed.ravel(), volume.ravel(), pressure)


def map_and_truth(window, pressure=50.0, cells=CELLS):
    """Joint conformance of a map, and of the same set-ups by 20,011 points of the lattice each."""
    plate = window.plates[0]
    found = window_map(window, plate, pressure, cells)
    setups = setups_of(window, plate, pressure, found.volumes, found.speeds)
    inside = ~np.isnan(found.joint).ravel()
    assert inside.any()
    return found.joint.ravel()[inside], window.joint_conformance(setups[inside], points=20011)


REQUIREMENTS = {
    "four requirements": {
        "line_resistance": (None, 300.0, LENGTH),
        "line_width": (None, 65.0, {}),
        "line_height": (0.6, None, {}),
        "gap": (20.0, 34.0, {"count": 48}),
    },
    "narrow ridge of the gap": {
        "line_resistance": (None, 300.0, LENGTH),
        "gap": (26.0, 29.0, {"count": 1}),
        "line_width": (None, 64.0, {}),
    },
    "resistance and width in conflict": {
        "line_resistance": (None, 230.0, LENGTH),
        "line_width": (None, 62.0, {}),
        "line_height": (0.6, 0.8, {}),
    },
    "worst gaps in conflict": {"gap": (20.0, 33.0, {"count": 500}), "line_width": (60.0, 64.0, {})},
    "one requirement": {"line_width": (None, 63.0, {})},
}


@pytest.mark.slow
@pytest.mark.parametrize("name", REQUIREMENTS)
@pytest.mark.parametrize("pressure", [30.0, 50.0])
def test_map_is_right_to_two_thousandths(window_of, name, pressure):
    found, expected = map_and_truth(window_of(**REQUIREMENTS[name]), pressure)
    np.testing.assert_allclose(found, expected, rtol=0, atol=2e-3)


@pytest.mark.parametrize("name", ["narrow ridge of the gap", "resistance and width in conflict"])
def test_ridges_are_no_easy_cases(window_of, name):
    """Never safe, in places hopeless, and requirements that do not hold independently of one another."""
    window = window_of(**REQUIREMENTS[name])
    shown = window_map(window, "laser-imaged", 30.0, 30)
    assert 0.1 < np.nanmax(shown.joint) < 0.6 and np.nanmin(shown.joint) < 0.01
    setups = setups_of(window, "laser-imaged", 30.0, shown.volumes, shown.speeds)
    table = window.conformance(setups, points=199)
    apart = table.drop(columns="joint").prod(axis=1).to_numpy()
    assert np.nanmax(np.abs(apart - shown.joint.ravel())) > 0.01


def test_nearly_certain_and_nearly_hopeless(window_of):
    easy = {
        "line_width": (None, 120.0, {}),
        "line_height": (0.05, None, {}),
        "gap": (1.0, None, {"count": 1}),
    }
    hard = {"line_width": (None, 40.0, {}), "line_height": (3.0, None, {}), "gap": (50.0, None, {"count": 1})}
    for requirements, value in ((easy, 1.0), (hard, 0.0)):
        found, expected = map_and_truth(window_of(**requirements))
        np.testing.assert_allclose(found, value, rtol=0, atol=1e-3)
        np.testing.assert_allclose(found, expected, rtol=0, atol=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("setting", ["speed [m/min]", "cell_volume [cm3/m2]"])
def test_a_setting_that_was_not_varied(demo_rows, setting):
    still = demo_rows.assign(**{setting: demo_rows[setting].iloc[0]})
    product = make_product(line_width=(None, 63.0, {}), gap=(24.0, None, {"count": 1}))
    window = pw.find_window(pw.fit(read_frame(still)), product)
    shown = window_map(window, "laser-imaged", 50.0, CELLS)
    assert shown.joint.shape == ((5 * CELLS, 1) if setting.startswith("speed") else (1, 5 * CELLS))
    found, expected = map_and_truth(window)
    np.testing.assert_allclose(found, expected, rtol=0, atol=2e-3)


def test_a_trial_of_one_response(demo_rows):
    columns = [name for name in demo_rows if name.split(" ")[0] not in ("line_height", "resistance", "gap")]
    surfaces = pw.fit(read_frame(demo_rows[columns].dropna(subset="line_width [um]")))
    assert list(surfaces.by_name) == ["line_width"]
    found, expected = map_and_truth(pw.find_window(surfaces, make_product(line_width=(61.0, 64.0, {}))))
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("terms, tolerance", [("all", 3e-6), ("bending", 3e-5)])
def test_few_set_ups_tell_the_predictive_everywhere(demo_trial, tag, terms, tolerance):
    """Met: 1e-6 of a standard deviation, for spreads that grow, and 1e-5 where the surfaces depart from second order."""
    window = pw.find_window(pw.fit(demo_trial, terms=terms), tag)
    assert len(window.tolerances) == 2
    volumes, speeds = np.linspace(3.0, 6.8, 20), np.linspace(31.0, 118.0, 21)
    found = predictive_on_grid(window, "laser-imaged", 47.0, volumes, speeds)
    expected = window.predictive(setups_of(window, "laser-imaged", 47.0, volumes, speeds))
    deviation = np.sqrt(np.einsum("mii->mi", expected.scale))
    np.testing.assert_allclose(found.mean / deviation, expected.mean / deviation, rtol=0, atol=tolerance)
    unit = deviation[:, :, None] * deviation[:, None, :]
    np.testing.assert_allclose(found.scale / unit, expected.scale / unit, rtol=0, atol=tolerance)
    assert found.df == expected.df


def test_margin_is_positive_where_all_means_are_within_their_limits(window_of):
    window = window_of(**REQUIREMENTS["four requirements"])
    shown = window_map(window, "laser-imaged", 50.0, 30)
    means = window.quantities(setups_of(window, "laser-imaged", 50.0, shown.volumes, shown.speeds))
    within = np.all(
        [
            (means[item.name]["mean"] >= (item.least or -np.inf))
            & (means[item.name]["mean"] <= (item.most or np.inf))
            for item in window.product.requirements
        ],
        axis=0,
    )
    known = ~np.isnan(shown.margin).ravel()
    np.testing.assert_array_equal((shown.margin >= 0).ravel()[known], within[known])
    assert 0 < within.sum() < len(within)


def test_margin_counts_standard_deviations_of_the_next_print(window_of):
    window = window_of(line_width=(None, 63.0, {}))
    shown = window_map(window, "laser-imaged", 50.0, 12)
    setups = setups_of(window, "laser-imaged", 50.0, shown.volumes, shown.speeds)
    at = window.joint.names.index("line_width")
    margin = (np.log(63.0) - window.joint.means(setups)[:, at]) / np.sqrt(window.joint.spread[at, at])
    known = ~np.isnan(shown.margin).ravel()
    np.testing.assert_allclose(shown.margin.ravel()[known], margin[known], rtol=1e-9)


def test_equal_questions_get_equal_maps(window_of):
    window = window_of(**REQUIREMENTS["four requirements"])
    one, other = (window_map(window, "laser-imaged", 50.0, CELLS) for _ in range(2))
    np.testing.assert_array_equal(one.joint, other.joint)


@pytest.mark.slow
def test_random_rectangles_over_the_map(window_of):
    """30 rectangles about set-ups of the map, sides open or not (seed 9)."""
    window, rng = window_of(**REQUIREMENTS["four requirements"]), np.random.default_rng(9)
    found = predictive_on_grid(
        window, "laser-imaged", 50.0, np.linspace(3.0, 6.8, 8), np.linspace(31.0, 118.0, 8)
    )
    for _ in range(30):
        centre = rng.integers(len(found.mean))
        deviation = np.sqrt(np.diag(found.scale[centre]))
        lower, upper = (
            found.mean[centre] + sign * deviation * np.exp(rng.uniform(-1.5, 1.4, len(deviation)))
            for sign in (-1, 1)
        )
        side = rng.integers(3, size=len(deviation))
        lower, upper = np.where(side == 0, -np.inf, lower), np.where(side == 1, np.inf, upper)
        rectangle = lower, upper, found.mean, found.scale, found.df
        expected = rectangle_probability(*rectangle, points=5003, settled=0.0)
        np.testing.assert_allclose(quick_probability(*rectangle), expected, rtol=0, atol=2e-3)


@pytest.mark.parametrize("pressure", [33.0, 47.0])
def test_bands_of_a_map_are_those_that_a_search_finds(tag_window, pressure):
    """To a tenth of a metre a minute or two, which a picture does not show."""
    shown = window_map(tag_window, "laser-imaged", pressure, 80)
    found = bands_at(tag_window, tag_window.speed_bands([50.0]), "laser-imaged", pressure)
    for roll in tag_window.rolls:
        searched = found.loc[found["roll"] == roll.id, ["speed_low_m_min", "speed_high_m_min"]]
        spans = np.array(shown.spans(roll.cell_volume, tag_window.level)).reshape(-1, 2)
        np.testing.assert_allclose(spans, searched.to_numpy(float), atol=0.2)
    assert shown.spans(1.0, 0.9) == shown.spans(20.0, 0.9) == []
