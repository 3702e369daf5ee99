"""Double ridges by the tops of lines on the plates, against shares that were put in."""

import numpy as np
import pytest
from scipy.stats import mannwhitneyu

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.surfaces.checks.double_ridges import double_ridges


def trial_of(shares, prints=6, seed=1, ridges=True, tops=True):
    """A trial of plate features that print double ridges as often as said, by their tops."""
    rng = np.random.default_rng(seed)
    plates = ["plate_id,plate_feature,plate,plate_width [um]" + ",top" * tops]
    rows = [
        "print,speed,cell_volume,pressure [um],plate_id,plate_feature,line_width [um]" + ",ridges" * ridges
    ]
    for at, (top, share) in enumerate(shares):
        plates.append(f"P,f{at},made,{30 + at}" + f",{top}" * tops)
        for k in range(prints):
            double = 1 + int(rng.random() < share)
            rows.append(f"A{k},{60 + k},4.4,50,P,f{at},{60 + at}" + f",{double}" * ridges)
    named = (("trial.csv", rows), ("plates.csv", plates))
    return pw.read_trial([InputFile(name, "\n".join(lines).encode()) for name, lines in named])


def test_rounded_tops_that_print_double_ridges_are_told():
    found = double_ridges(trial_of([("rounded", 0.8)] * 5 + [("flat", 0.05)] * 5))
    assert list(found.by_top.index) == ["rounded", "flat"] and found.by_top["lines"].tolist() == [30, 30]
    doubles = found.by_top["double"]
    assert (
        f"{doubles['rounded']} of 30 printed lines from plate lines with rounded tops have two ridges"
        in found.sentence
    )
    assert found.p < 0.05 and "chance would rarely make" in found.sentence


def test_plate_features_are_compared_and_not_their_many_prints():
    """Three plate features of each top, printed a hundred times, are still three: ranks of 3 and 3 give 0.1 at best."""
    found = double_ridges(trial_of([("rounded", 1.0)] * 3 + [("flat", 0.0)] * 3, prints=100))
    assert found.p == pytest.approx(mannwhitneyu([1.0] * 3, [0.0] * 3).pvalue)
    few = double_ridges(trial_of([("rounded", 1.0)] * 2 + [("flat", 0.0)] * 9, prints=100))
    assert np.isnan(few.p) and "too few plate lines" in few.sentence


def test_equal_shares_are_seldom_told_apart():
    told = [
        double_ridges(trial_of([("rounded", 0.3)] * 6 + [("flat", 0.3)] * 6, seed=seed)).p < 0.05
        for seed in range(40)
    ]
    assert sum(told) <= 6


def test_without_ridges_or_tops_nothing_is_said():
    shares = [("rounded", 0.5)] * 3 + [("flat", 0.5)] * 3
    assert double_ridges(trial_of(shares, ridges=False)) is None
    assert double_ridges(trial_of(shares, tops=False)) is None
    alone = double_ridges(trial_of([("rounded", 0.5)] * 4))
    assert "no lines with tops of the other kind" in alone.sentence
