"""A pressure between the tried ones: the fastest of them, and none where none gains."""

import numpy as np
import pytest

import pwindow as pw
from pwindow.window.bands import speed_bands
from pwindow.window.search.between import between_pressures
from pwindow.window.search.recommendation import recommend
from pwindow.window.window import find_window
from pwindow.wording import us_customary
from tests.helpers.trials import read_frame


@pytest.fixture(scope="module")
def best(tag_window):
    return recommend(tag_window, tag_window.speed_bands())


def test_no_pressure_next_to_the_recommended_one_is_clearly_faster(tag_window, best):
    found = between_pressures(tag_window, best)
    tried = tag_window.surfaces.trial.pressures
    near = np.arange(best.setup.pressure - 25.0, best.setup.pressure + 26.0, 5.0)
    there = speed_bands(tag_window, [at for at in near if tried[0] <= at <= tried[-1]], [best.setup.plate])
    fastest = there[there["roll"] == best.setup.roll.id]["fastest_speed_m_min"].max()
    assert found is not None and not any(np.isclose(found.band.pressure, tried))
    assert found.band.high == pytest.approx(fastest, rel=0.005) and found.band.high > best.setup.speed


def test_its_band_is_the_one_that_a_search_at_its_pressure_finds(tag_window, best):
    found = between_pressures(tag_window, best)
    searched = speed_bands(tag_window, [found.band.pressure], [best.setup.plate])
    own = searched[searched["roll"] == best.setup.roll.id].iloc[-1]
    assert own["fastest_speed_m_min"] == found.band.high


def test_it_says_that_nothing_was_printed_there(tag_window, best):
    found = between_pressures(tag_window, best)
    assert found.sentence().endswith("no print was made at that pressure.")
    assert f"{found.band.high:.1f} m/min" in found.sentence()
    assert "thou" in found.sentence(us_customary()) and "ft/min more" in found.sentence(us_customary())


def test_what_is_asked_for_with_confidence_is_searched_with_it(demo_surfaces, tag, study):
    sure = find_window(demo_surfaces, tag.with_confidence(0.9), study)
    best = recommend(sure, sure.speed_bands())
    held = speed_bands(sure, [52.0, 55.0])
    assert held[held["roll"] == best.setup.roll.id]["fastest_speed_m_min"].max() < 1.005 * best.setup.speed
    assert (
        between_pressures(sure, best) is None
    )  # 0.4 m/min more at 52 µm, and none with the stated probability's 55 µm


def test_none_where_the_trial_tried_one_pressure(demo_rows, tag, study):
    surfaces = pw.fit(read_frame(demo_rows[demo_rows["pressure [um]"] == 50.0]))
    window = find_window(surfaces, tag, study)
    assert between_pressures(window, recommend(window, window.speed_bands())) is None
