"""The set-up to start from: one rule, and the highest joint conformance where nothing is assured."""

import dataclasses

import numpy as np
import pytest

import pwindow as pw
from pwindow.study import Roll, Study
from pwindow.window.search.recommendation import recommend
from pwindow.window.search.starting import Choice, closest_setup, starting_setup


@pytest.fixture(scope="module")
def tightened(demo_surfaces, tag, study):
    """Maker of windows of the tag with other limits of line resistance."""

    def make(most, level=0.95):
        requirements = tuple(
            dataclasses.replace(one, most=most) if one.name == "line_resistance" else one
            for one in tag.requirements
        )
        product = dataclasses.replace(tag, requirements=requirements).with_assurance(level)
        return pw.find_window(demo_surfaces, product, study)

    return make


def test_what_is_recommended_is_started_from(tag_window):
    best = recommend(tag_window, tag_window.speed_bands())
    found = starting_setup(tag_window, best)
    assert (found.choice, found.assured) == (Choice.RECOMMENDED, True)
    assert (found.setup.roll.id, found.setup.speed) == (best.setup.roll.id, best.setup.speed)


@pytest.mark.slow
@pytest.mark.parametrize("most, level", [(150.0, 0.95), (330.0, 0.99999), (110.0, 0.95)])
def test_the_closest_is_the_best_speed_of_every_roll_and_tried_pressure(tightened, most, level):
    """Against every tenth of a metre a minute, worked out accurately."""
    window = tightened(most, level)
    assert window.speed_bands().empty
    found = closest_setup(window)
    assert (found.choice, found.assured) == (Choice.CLOSEST, False)
    best = 0.0
    for roll in window.rolls:
        for pressure in window.surfaces.trial.pressures:
            ends = window.surfaces.region.speed_range("laser-imaged", roll.cell_volume, pressure)
            speeds = np.round(np.arange(ends[0], ends[1] + 0.05, 0.1), 1)
            setups = window.setups("laser-imaged", speeds, roll.cell_volume, pressure)
            best = max(best, window.joint_conformance(setups).max())
    assert found.joint == pytest.approx(best, abs=2e-5)
    frame = found.setup.frame(window)
    assert window.in_trial_region(frame)[0]
    assert found.joint == pytest.approx(window.joint_conformance(frame)[0], abs=1e-12)


def test_of_hopeless_set_ups_the_one_whose_means_are_least_far_outside_is_closest(tightened):
    """All probabilities are next to nothing at 20 Ω; the means still tell which comes nearest."""
    window = tightened(20.0)
    found = closest_setup(window)
    assert found.joint < 1e-6
    margins = [
        window.margin_of_means(
            "laser-imaged",
            window.predictive(window.setups("laser-imaged", speeds, roll.cell_volume, pressure)).mean,
        ).max()
        for roll in window.rolls
        for pressure in window.surfaces.trial.pressures
        for speeds in [np.arange(30.0, 120.05, 0.5)]
    ]
    own = window.margin_of_means("laser-imaged", window.predictive(found.setup.frame(window)).mean)[0]
    assert own == pytest.approx(max(margins), abs=1e-6)


def test_only_the_pressures_asked_for_are_looked_at(tightened):
    assert closest_setup(tightened(150.0), [80.0]).setup.pressure == 80.0


def test_no_roll_in_the_region_has_no_closest(demo_surfaces, tag):
    window = pw.find_window(demo_surfaces, tag, Study(rolls=(Roll("large", 12.0),)))
    assert window.speed_bands().empty and closest_setup(window) is None
