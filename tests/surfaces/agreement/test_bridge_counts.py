"""Bridged gaps of new prints beside what a fit expects."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import pwindow as pw
from pwindow.surfaces.agreement.bridge_counts import hold_bridged
from pwindow.surfaces.agreement.new_trial import hold_against
from pwindow.surfaces.posterior.sampler import Plan
from tests.helpers.trials import read_frame


def surface(closure, feature=4.0, df=1e9):
    """What a surface of gap closure tells here: its mean, µm, and the variance between gaps, µm²."""
    return SimpleNamespace(
        mean=lambda cells: np.full(len(cells), float(closure)),
        components=SimpleNamespace(feature=feature),
        df=df,
    )


def cells(bridged, inspected=48, gap=40.0):
    names = [f"p{at}" for at in range(len(bridged))]
    return pd.DataFrame({"print": names, "plate_gap": gap, "count": inspected, "bridged": bridged})


def test_prints_that_do_not_vary_are_binomial():
    found = hold_bridged(surface(37.0), cells([9, 3, 4]), 1e-12 * np.eye(3))
    share = stats.norm.sf(1.5)
    assert found.cells["expected"].to_numpy() == pytest.approx(np.full(3, 48 * share))
    chances = 3 * stats.binom.sf([8, 2, 3], 48, share)
    assert found.cells["p"].to_numpy() == pytest.approx(np.minimum(1.0, chances), rel=1e-6)
    whole = stats.binom(3 * 48, share)
    assert (found.low, found.high) == (whole.ppf(0.025), whole.ppf(0.975))
    assert found.p == pytest.approx(2 * whole.sf(15), abs=0.01)


def test_a_print_that_varies_may_bridge_more():
    alone = hold_bridged(surface(30.0), cells([6, 0, 0]), 1e-9 * np.eye(3))
    varied = hold_bridged(surface(30.0), cells([6, 0, 0]), 36.0 * np.eye(3))
    assert alone.standing_out == ["p0"] and not varied.standing_out
    assert varied.cells["expected"][0] == pytest.approx(48 * stats.norm.sf(10 / np.sqrt(40)), rel=1e-4)


def test_a_common_make_ready_bridges_prints_together():
    """The number of all bridged gaps spreads farther where prints move together."""
    apart = hold_bridged(surface(36.0), cells([8] * 6), 9.0 * np.eye(6))
    together = hold_bridged(surface(36.0), cells([8] * 6), 9.0 * np.ones((6, 6)))
    assert together.high - together.low > 1.5 * (apart.high - apart.low)


def test_nothing_is_said_where_no_gap_could_bridge():
    assert hold_bridged(surface(5.0), cells([0, 0]), np.eye(2)) is None


@pytest.fixture(scope="module")
def later(make_demo):
    return make_demo.simulate_trial(
        make_demo.read_truth(), make_demo.layout_second(), np.random.default_rng(11)
    )


def test_a_trial_like_the_one_before_bridges_as_often(demo_surfaces, later):
    found = hold_against(demo_surfaces, read_frame(later))
    assert found.bridging.agrees
    assert found.sentences()[-1].endswith("expected, 95 % interval 3 to 8): agrees")


def test_shorts_that_were_not_expected_are_told(demo_surfaces, later):
    rows = later.copy()
    narrow = rows.index[rows["plate_gap [um]"] == 75.0][:9]
    rows.loc[narrow, ["gap [um]", "gaps_bridged"]] = [np.nan, 1]
    found = hold_against(demo_surfaces, read_frame(rows))
    assert not found.agrees and not found.bridging.agrees
    names = set(rows.loc[narrow, "print"])
    assert set(found.bridging.standing_out) <= names and found.bridging.standing_out
    assert "check print" in found.sentences()[-1]


@pytest.mark.parametrize("inspected", [1, 48])
@pytest.mark.filterwarnings("error")
def test_where_nothing_tells_what_varies_between_gaps_a_print_bridges_as_one(inspected):
    """One gap a print was measured: the gaps of a print then close alike, by Student's t."""
    found = hold_bridged(surface(30.0, 0.0, 20.0), cells([inspected, 0], inspected), 36.0 * np.eye(2))
    share = stats.t.sf(10.0 / 6.0, 20.0)
    assert found.cells["expected"].to_numpy() == pytest.approx(np.full(2, inspected * share), rel=0.01)
    assert found.cells["p"][0] == pytest.approx(2 * share, rel=0.25), "all gaps of the print"
    assert found.agrees


def test_a_trial_that_measured_one_gap_a_print_can_be_held_against(demo_rows):
    rows = demo_rows.assign(gaps_inspected=np.nan, gaps_bridged=np.nan).drop(columns=["make_ready"])
    one = read_frame(rows[rows["gap [um]"].notna()].groupby("print").head(1))
    found = hold_against(pw.fit(one), one)
    assert np.isfinite(found.by_name["gap_closure"].joint_p)


@pytest.mark.slow
def test_closures_known_from_counts_alone_hold_no_measured_gap(demo_rows, later):
    """They have no true unit: measured gaps of a later trial would lie off by whatever it was taken to be."""
    rows, gaps = demo_rows.copy(), demo_rows["gap [um]"].notna()
    rows.loc[gaps, "gaps_bridged"] = (12 * ((8.0 - rows["gap [um]"][gaps]) / 16.0).clip(0.0, 1.0)).round()
    rows.loc[rows["gaps_inspected"].gt(0), "gaps_inspected"] = 12
    rows.loc[gaps, "gap [um]"] = np.nan
    counted = pw.fit(read_frame(rows), plan=Plan(warm=20, kept=20, doublings=0))
    found = hold_against(counted, read_frame(later))
    assert counted.counts_only and "gap_closure" not in found.by_name
    assert any("reported surface has not settled" in note for note in counted.notes)
    assert found.bridging is not None and "gap widths cannot be compared" in found.notes[-1]
