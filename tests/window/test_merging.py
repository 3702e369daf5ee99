"""Merging of close lines: against the written-down truth, and said of what was tried alone."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from pwindow.errors import WindowProblem
from pwindow.surfaces.posterior.processes import Processes
from pwindow.window.merging import (
    OUTSIDE,
    SHARES,
    WITHIN,
    _at_shares,
    _crossing,
    bridging_by_process,
    merging,
)
from pwindow.wording import METRIC
from tests.helpers.merging_truths import PLATE, covered, table_of

PRESSURES = (20.0, 50.0, 80.0, 90.0)


@pytest.fixture(scope="module")
def found(tag_window):
    return merging(tag_window, PLATE, 60.0, 7.2, PRESSURES)


def at(found, pressure, table="curves"):
    rows = getattr(found, table)
    return rows[rows["pressure_um"] == pressure].reset_index(drop=True)


def test_curves_fall_with_the_plate_gap_and_rise_with_the_pressure(found):
    names = ["pressure_um", "plate_gap_um", "bridged", "bridged_low", "bridged_high"]
    assert list(found.curves) == names and found.tried == (45.0, 75.0)
    curves = [at(found, pressure)["bridged"].to_numpy() for pressure in PRESSURES[:3]]
    assert all((np.diff(curve) < 0.0).all() for curve in curves)
    assert (curves[0] < curves[1]).all() and (curves[1] < curves[2]).all()
    known = found.curves.dropna()
    assert known["bridged_low"].lt(known["bridged_high"]).all()


def test_nothing_is_stated_outside_the_trial_region_or_the_plate_gaps(found):
    assert at(found, 90.0)["bridged"].isna().all()
    outside = at(found, 90.0, "plate_gaps")
    assert (outside["tried"] == OUTSIDE).all() and outside["plate_gap_um"].isna().all()
    low = at(found, 20.0, "plate_gaps")
    assert low["plate_gap_um"].isna().all() and (low["tried"] == f"{OUTSIDE} (narrower than 45 µm)").all()
    assert found.curves["plate_gap_um"].between(45.0, 75.0).all()


def test_plate_gaps_are_where_the_curve_has_the_share(found):
    curve, gaps = at(found, 80.0), at(found, 80.0, "plate_gaps")
    assert gaps["bridged"].tolist() == list(SHARES)
    for row in gaps[gaps["tried"] == WITHIN].itertuples():
        share = np.exp(np.interp(row.plate_gap_um, curve["plate_gap_um"], np.log(curve["bridged"])))
        assert share == pytest.approx(row.bridged, rel=0.15)
        assert row.plate_gap_low_um < row.plate_gap_um < row.plate_gap_high_um
    assert (gaps["tried"] == WITHIN).sum() == 2


def test_probabilities_are_those_of_drawn_gaps(tag_window):
    """A hundred thousand prints of new make-readies under some processes, with a gap of the process's shape each."""
    setups = tag_window.setups(PLATE, 60.0, 7.2, 80.0).assign(plate_gap=46.0)
    found = bridging_by_process(tag_window, setups)[0]
    processes, shape = Processes.of(tag_window.joint, len(found)), tag_window.surfaces.gap_shape
    closure = tag_window.joint.names.index("gap_closure")
    means = processes.means(setups)[0, :, closure]
    deviations = processes.deviations(setups)[0, :, closure]
    shapes, rng = shape.drawn(len(found)), np.random.default_rng(3)
    for one in range(0, len(found), 240):
        print_ = deviations[one] * np.sqrt(processes.spread[one, closure, closure])
        gap = shape.deviations(rng.standard_normal(100_000))[shapes[one]] * processes.between[one, closure]
        drawn = (means[one] + print_ * rng.standard_normal(100_000) + gap >= 46.0).mean()
        assert found[one] == pytest.approx(drawn, abs=4.5 * np.sqrt(0.25 / 100_000))


def test_sentences_say_what_merges_where(found):
    said = found.sentences(METRIC)
    assert len(said) == len(PRESSURES) and said[-1] == f"90 µm: set-up {OUTSIDE}"
    assert said[2].startswith("80 µm: a plate gap of 45 µm bridges with a probability of ")
    assert "1 in 100 at " in said[2] and "narrower than tried" in said[1]


def test_crossings_of_straight_scores_are_exact():
    gaps = np.linspace(45.0, 75.0, 7)
    means = np.array([52.3, 40.0, 90.0])
    bridged = norm.cdf(means - gaps[:, None], scale=2.0)
    assert _crossing(gaps, bridged, 0.5).tolist() == pytest.approx([52.3, -np.inf, np.inf], abs=1e-6)
    assert _crossing(gaps, bridged[:, :1], 0.01)[0] == pytest.approx(52.3 + 2.0 * norm.ppf(0.99), abs=1e-6)


def test_an_interval_that_reaches_past_what_was_tried_has_no_end_there():
    gaps, means = np.linspace(45.0, 75.0, 7), np.linspace(38.0, 56.0, 200)
    bridged = norm.cdf(means - gaps[:, None], scale=2.0)
    row = _at_shares(gaps, bridged).iloc[0]
    assert row["tried"] == WITHIN and np.isnan(row["plate_gap_low_um"])
    assert row["plate_gap_high_um"] == pytest.approx(55.6, abs=0.15)


def test_a_trial_without_measured_gaps_is_refused(tag_window):
    trial = SimpleNamespace(counts_only=True)
    counted = SimpleNamespace(joint=tag_window.joint, surfaces=trial)
    unmeasured = SimpleNamespace(joint=SimpleNamespace(names=("line_width",)), surfaces=trial)
    for window in (SimpleNamespace(**vars(counted)), unmeasured):
        window.surfaces.trial = tag_window.surfaces.trial
        with pytest.raises(WindowProblem, match="measured no gaps"):
            merging(window, PLATE, 60.0, 7.2)


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_intervals_hold_the_truth(make_demo):
    """Of 40 simulated trials; those of one trial hold or fail together, so the share has a standard error of 0.02 or so."""
    truth = make_demo.read_truth()
    rows = [row for seed in range(40) for row in covered(make_demo, truth, seed)]
    print(table_of(rows).round(3).to_string())
    held = pd.DataFrame(rows)["held"]
    assert 0.88 <= held.mean() <= 0.99
