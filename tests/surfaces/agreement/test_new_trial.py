"""A new trial beside the fit of those before it."""

import re

import numpy as np
import pytest

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.study import EACH_PRINT, MakeReadies
from pwindow.surfaces.agreement.new_trial import hold_against
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.wording import METRIC, us_customary
from tests.helpers.trials import read_frame

SHORT = Plan(warm=20, kept=20, doublings=0)
HEIGHT = "line_height [um]"


@pytest.fixture(scope="module")
def rows_of(make_demo):
    """Rows of a simulated trial of the demo's second layout, by seed."""
    truth, layout = make_demo.read_truth(), make_demo.layout_second()
    return lambda seed: make_demo.simulate_trial(truth, layout, np.random.default_rng(seed))


@pytest.fixture(scope="module")
def before(make_demo):
    """Fits of simulated first trials."""
    truth, layout = make_demo.read_truth(), make_demo.layout_first()
    return [
        pw.fit(
            read_frame(make_demo.simulate_trial(truth, layout, np.random.default_rng(500 + at))), plan=SHORT
        )
        for at in range(8)
    ]


@pytest.fixture
def told(before):
    return lambda rows, at=0: hold_against(before[at], read_frame(rows))


@pytest.mark.slow
def test_more_of_the_same_agrees_as_often_as_stated(before, rows_of):
    """96 comparisons of each response: probabilities below 0.1 in about a tenth of them."""
    chances, covered = [], []
    for at in range(96):
        found = hold_against(before[at % 8], read_frame(rows_of(at)))
        chances += [[one.shift_p, one.joint_p] for one in found.by_name.values()]
        covered += [one.covered for one in found.by_name.values()]
    rare = (np.array(chances) < 0.1).mean(axis=0)
    print(f"below 0.1: shift {rare[0]:.3f}, joint {rare[1]:.3f}; covered {np.mean(covered):.3f}")
    # eight fits stand behind all comparisons
    assert (rare > 0.03).all() and (rare < 0.2).all()
    assert np.mean(covered) == pytest.approx(0.95, abs=0.025)


def test_another_ink_batch_is_told_as_a_shift(told, rows_of):
    rows = rows_of(3)
    rows[HEIGHT] *= 0.85
    found = told(rows)
    height = found.by_name["line_height"]
    assert not found.agrees and height.shift_low < np.log(0.85) < height.shift_high
    assert re.search(r"consistently \d+ % low", height.sentence(found.trial, METRIC))
    assert found.by_name["line_width"].agrees


def test_a_dryer_that_lags_is_told_as_a_trend(told, rows_of):
    rows = rows_of(3)
    rows[HEIGHT] *= (rows["speed [m/min]"] / 30.0) ** -0.2
    found = told(rows)
    height = found.by_name["line_height"]
    assert height.trend.factor == "speed" and height.trend.p < 0.01
    assert height.trend.shift_high == pytest.approx(height.trend.shift_low - 0.2 * np.log(4.0), abs=0.12)
    assert "high at 30 m/min and " in height.sentence(found.trial, METRIC)
    in_feet = height.sentence(found.trial, us_customary())
    assert "high at 98.4 ft/min and " in in_feet and "its trend with speed has changed" in in_feet


def test_a_print_that_stands_out_is_named(told, rows_of):
    rows = rows_of(3)
    name = rows["print"].iloc[40]
    rows.loc[rows["print"] == name, HEIGHT] *= 1.6
    found = told(rows)
    assert found.by_name["line_height"].standing_out == [name]
    assert f"print {name} does not fit" in found.sentences()[0]


def test_prints_outside_what_was_tried_are_not_compared(told, rows_of):
    rows = rows_of(3)
    fast = rows["print"] == rows["print"].iloc[0]
    rows.loc[fast, "speed [m/min]"] = 200.0
    found = told(rows)
    assert found.outside == (rows["print"].iloc[0],)
    assert "1 print lies outside" in found.sentences()[-1]


@pytest.mark.slow
def test_nothing_compared_is_no_agreement(told, rows_of):
    rows = rows_of(3)
    rows["speed [m/min]"] = 200.0
    found = told(rows)
    assert found.compared == 0 and found.verdict == "cannot be compared"
    rows = rows_of(3)
    names = list(dict.fromkeys(rows["print"]))
    rows.loc[rows["print"].isin(names[:10]), "speed [m/min]"] = 200.0
    assert told(rows).verdict.endswith(
        f"judged by {len(names) - 10} of {len(names)} prints; the others cannot be compared"
    )


def test_another_kind_of_pressure_is_refused(told, rows_of):
    rows = rows_of(3).rename(columns={"pressure [um]": "pressure [kPa]"})
    with pytest.raises(UnusableInput, match="in kPa, but in µm in the earlier trials"):
        told(rows)


def test_a_response_that_was_not_measured_before(rows_of, demo_rows):
    lines = [name for name in demo_rows if name not in ("resistance [ohm]", "line_length [mm]")]
    surfaces = pw.fit(read_frame(demo_rows[lines]), plan=SHORT)
    found = hold_against(surfaces, read_frame(rows_of(3)))
    assert "resistivity" not in found.by_name
    assert found.sentences()[-1] == "resistivity was not measured before, so it cannot be compared"


@pytest.mark.slow
def test_one_mounting_shares_an_error_that_trials_without_mountings_do_not_tell(demo_rows, rows_of):
    """Six prints of one make-ready are then no eight witnesses of a shift."""
    mounted = pw.fit(read_frame(demo_rows), plan=SHORT)
    stated = MakeReadies(unrecorded=EACH_PRINT)
    alone = pw.fit(read_frame(demo_rows.drop(columns="make_ready")), plan=SHORT, make_readies=stated)
    rows = rows_of(21)
    of_one_roll = (rows["roll"] == "1318") & (rows["plate"] == "laser-imaged")
    run = read_frame(rows[of_one_roll].assign(make_ready="M1"))
    width, same = (hold_against(one, run).by_name["line_width"] for one in (alone, mounted))
    assert same.surface.components.split and not width.surface.components.split
    least = 2.0 * np.sqrt(width.surface.components.print_)
    assert (width.shift_high - width.shift_low) / 2 > least


@pytest.mark.slow
def test_prints_whose_mountings_nobody_recorded_are_no_independent_witnesses(told, rows_of):
    """Eight prints that came from one mounting, off by as much as mountings are, and a file that does not say so."""
    rows = rows_of(21)
    rows = rows[(rows["roll"] == "1318") & (rows["plate"] == "laser-imaged")]
    shared = told(rows.assign(make_ready="M1"))
    unsaid = told(rows.drop(columns="make_ready"))
    each = told(rows.assign(make_ready=rows["print"]))
    for name, one in shared.by_name.items():
        assert unsaid.by_name[name].shift_p == pytest.approx(max(one.shift_p, each.by_name[name].shift_p))
        assert unsaid.by_name[name].shift_high - unsaid.by_name[name].shift_low > 0.999 * (
            one.shift_high - one.shift_low
        )
    assert any("make_ready is not recorded" in sentence for sentence in unsaid.sentences())
    assert not any("make_ready" in sentence for sentence in shared.sentences())
