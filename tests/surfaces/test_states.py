"""Trials of a process that has changed: each earlier state differs from the last by a shift."""

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.surfaces.agreement.new_trial import hold_against
from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.trials.archive import Archive

SHIFT = -0.2
SHORT = Plan(warm=40, kept=40)
STATE = Factor.learn("state", "state", pd.Series(["old", "old", "new"]))
PATTERN = {"plate": "laser-imaged", "plate_width": 30.0, "plate_gap": 60.0, "direction": 0.0}
AT = pd.DataFrame({"speed": [45.0, 90.0], "cell_volume": 4.4, "pressure": 50.0, **PATTERN})


def test_the_last_state_is_what_others_differ_from():
    assert STATE.levels == ("old", "new") and STATE.columns == ("state=old",)
    np.testing.assert_array_equal(STATE.code(["old", "new", None])[:, 0], [1.0, 0.0, 0.0])
    speed = Factor("speed", "log", 30.0, 120.0)
    design = Design((speed, STATE), second_order([speed, STATE]))
    assert design.labels == ["intercept", "speed", "state=old", "speed²"]
    assert design.needs == ["speed"]
    told = pd.DataFrame({"speed": [60.0, 60.0], "state": ["old", "new"]})
    np.testing.assert_array_equal(design.matrix(told)[:, 2], [1.0, 0.0])
    np.testing.assert_array_equal(design.matrix(told[["speed"]])[:, 2], [0.0, 0.0])


@pytest.fixture(scope="module")
def archive(make_demo, tmp_path_factory):
    """A first trial, one of a process whose lines are lower since, and a third of the same."""
    kept = Archive(str(tmp_path_factory.mktemp("archive") / "trials.db"))
    truth, layouts = make_demo.read_truth(), (make_demo.layout_first(), *[make_demo.layout_second()] * 2)
    for at, layout in enumerate(layouts):
        rows = make_demo.simulate_trial(truth, layout, np.random.default_rng(70 + at))
        if at:
            rows["line_height [um]"] *= np.exp(SHIFT)
        kept.add(InputFile(f"trial_{at}.csv", rows.to_csv(index=False).encode()))
    kept.decide(1, "same process", "the first")
    kept.decide(2, "changed process", "thinner ink")
    kept.decide(3, "same process", "the same ink")
    return kept


@pytest.fixture(scope="module")
def surfaces(archive):
    return pw.fit(archive.trial(), plan=SHORT)


def test_the_shift_is_found(surfaces):
    height = surfaces.by_name["line_height"].coefficients().loc["state=trial_0.csv"]
    assert height["ci_low"] < -SHIFT < height["ci_high"] and height["p"] < 1e-4
    width = surfaces.by_name["line_width"].coefficients().loc["state=trial_0.csv"]
    assert width["p"] > 1e-3


@pytest.mark.slow
def test_predictions_are_for_how_it_is_since(surfaces, archive):
    before = pw.fit(archive.trial([1]), plan=SHORT)
    moved = np.log(surfaces.predict("line_height", AT)["mean"] / before.predict("line_height", AT)["mean"])
    assert moved.to_numpy() == pytest.approx(SHIFT, abs=0.1)
    joint = surfaces.joint.predict(AT).mean[:, 0] - before.joint.predict(AT).mean[:, 0]
    assert joint == pytest.approx(SHIFT, abs=0.1)
    assert (moved < -0.1).all() and (joint < -0.1).all()


def test_a_window_asks_for_no_state(surfaces, tag):
    window = pw.find_window(surfaces, tag)
    assert "state" not in window.setups("laser-imaged", 60.0, 4.4, 50.0)
    assert len(window.speed_bands())


def test_a_third_trial_is_held_against_the_last_state(surfaces, archive):
    one, two = (hold_against(surfaces, archive.trial([number])) for number in (3, 1))
    assert one.by_name["line_height"].agrees and not two.by_name["line_height"].agrees


@pytest.mark.slow
def test_without_the_change_the_spread_takes_the_shift(archive):
    """What is not said to have changed must have varied."""
    same = pw.fit(archive.trial([1, 2, 3], dict.fromkeys([1, 2, 3], "same process")), plan=SHORT)
    assert "state" not in same.trial.prints
    told = pw.fit(archive.trial(), plan=SHORT)
    one, other = (fit.by_name["line_height"].components.make_ready for fit in (same, told))
    assert one > 2.0 * other
    assert same.trial.fingerprint != told.trial.fingerprint
