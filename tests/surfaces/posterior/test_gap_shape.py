"""What a trial tells of how closures vary between the gaps of a print."""

import dataclasses

import numpy as np
import pytest

from pwindow.surfaces.findings import findings
from pwindow.surfaces.posterior.gap_shape import GapShape
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.trial import MeasuredTrial

FAMILIES = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "lopsided": lambda rng, n: (rng.gamma(2.0, size=n) - 2.0) / np.sqrt(2.0),
    "lopsided the other way": lambda rng, n: (2.0 - rng.gamma(2.0, size=n)) / np.sqrt(2.0),
    "heavy": lambda rng, n: rng.standard_t(4, n) / np.sqrt(2.0),
}


def trial_of(demo_rows, family, seed, spread=1.5, copies=1):
    """The demo's prints with gaps of a family; several of each with copies."""
    import pwindow as pw
    from pwindow.shipped import demo

    trial = pw.read_trial(demo("trial_first.csv"))
    features = trial.features.loc[trial.features.index.repeat(copies)].reset_index(drop=True)
    rng = np.random.default_rng(seed)
    closure = 25.0 + spread * FAMILIES[family](rng, len(features))
    gap = (features["plate_gap"] - closure).where(features["gap"].notna())
    features = features.assign(gap=gap, gaps_bridged=0.0)
    return MeasuredTrial(features, trial.pressure_unit, trial.files)


@pytest.fixture(scope="module")
def shapes(demo_rows):
    return {name: [GapShape.of(trial_of(demo_rows, name, seed)) for seed in range(40)] for name in FAMILIES}


def test_weights_are_probabilities(shapes):
    for each in shapes.values():
        for found in each:
            assert found.weights.sum() == pytest.approx(1.0) and (found.weights > 0).all()


def test_normal_gaps_are_seldom_doubted(shapes):
    """One in a hundred would be, 40 of 40 trials; half of them at one in two."""
    p = np.array([one.p for one in shapes["normal"]])
    assert (p < 0.01).sum() <= 2 and 0.25 < (p < 0.5).mean() < 0.75
    lean = [one.weights @ one.skews for one in shapes["normal"]]
    assert abs(np.mean(lean)) < 0.03


def test_others_are_told_with_their_side(shapes):
    lean = {name: np.array([one.weights @ one.skews for one in each]) for name, each in shapes.items()}
    tails = {name: np.array([one.weights @ one.tails for one in each]) for name, each in shapes.items()}
    assert lean["lopsided"].mean() > 0.12 > -0.12 > lean["lopsided the other way"].mean()
    assert (lean["lopsided"] > 0).mean() > 0.9
    assert tails["heavy"].mean() > tails["normal"].mean() + 0.01
    noticed = {name: np.mean([one.p < 0.01 for one in each]) for name, each in shapes.items()}
    assert noticed["lopsided"] > 0.4 and noticed["heavy"] > 0.25


def test_more_gaps_tell_more(demo_rows):
    few, many = (GapShape.of(trial_of(demo_rows, "lopsided", 3, copies=copies)) for copies in (1, 10))
    width = [np.sqrt(one.weights @ one.skews**2 - (one.weights @ one.skews) ** 2) for one in (few, many)]
    assert width[1] < 0.7 * width[0] and many.p < 1e-6 and many.inspected > 9 * few.inspected


def test_a_mirror_turns_the_skewness(demo_rows):
    trial = trial_of(demo_rows, "lopsided", 5)
    features = trial.features.assign(gap=2.0 * (trial.features["plate_gap"] - 25.0) - trial.features["gap"])
    one, other = GapShape.of(trial), GapShape.of(MeasuredTrial(features, trial.pressure_unit, trial.files))
    assert other.skewness == pytest.approx(-one.skewness) and other.p == pytest.approx(one.p)
    assert other.weights @ other.skews == pytest.approx(-(one.weights @ one.skews))


def test_deviations_are_standardised(shapes):
    found = shapes["normal"][0]
    nodes, weights = np.polynomial.hermite_e.hermegauss(90)
    values, weights = found.deviations(nodes), weights / weights.sum()
    np.testing.assert_allclose(values @ weights, 0.0, atol=1e-6)
    np.testing.assert_allclose(values**2 @ weights, 1.0, atol=2e-3)
    assert (np.diff(found.deviations(np.linspace(-6, 6, 200)), axis=1) > 0).all()


def test_each_shape_is_drawn_as_often_as_it_is_probable(shapes):
    found = shapes["lopsided"][1]
    share = np.bincount(found.drawn(1920), minlength=len(found.weights)) / 1920
    np.testing.assert_allclose(share, found.weights, atol=1.0 / 1920)


@pytest.mark.parametrize("kept", ["one gap a print", "bridged ones only", "copies"])
def test_gaps_that_tell_nothing_leave_all_shapes_open(demo_rows, kept):
    trial = trial_of(demo_rows, "lopsided", 3)
    features = trial.features
    if kept == "one gap a print":
        again = features.duplicated(["print", "plate_width", "direction", "plate_gap"])
        features = features.assign(gap=features["gap"].mask(again))
    elif kept == "bridged ones only":
        features = features.assign(gaps_bridged=1.0)
    else:
        features = features.assign(gap=features["plate_gap"] - 25.0)
    found = GapShape.of(MeasuredTrial(features, trial.pressure_unit, trial.files))
    assert found.p == 1.0 and found.weights @ found.skews == pytest.approx(0.0, abs=1e-12)
    assert len(found.weights) > 20


def test_a_finding_says_what_they_do(demo_surfaces, shapes):
    doubted = min(shapes["lopsided"], key=lambda one: one.p)
    surfaces = dataclasses.replace(demo_surfaces)
    surfaces.__dict__["gap_shape"] = doubted
    (found,) = [one for one in findings(surfaces) if "are not normally distributed" in one.sentence]
    assert "some close farther" in found.sentence and found.response == "gap_closure"
    assert isinstance(surfaces, Surfaces)
