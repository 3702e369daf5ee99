"""Trials simulated from a fit, and what they state against what comes true."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.window import calibration
from pwindow.window.calibration import Calibration, calibrate
from tests.helpers.products import make_product, without_tolerances

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def truth(demo_surfaces):
    return Truth.of(demo_surfaces)


@pytest.fixture(scope="module")
def simulated_again(demo_trial, truth):
    return simulate_trial(demo_trial, truth, np.random.default_rng(1))


def test_a_simulated_trial_has_the_layout_of_the_trial(demo_trial, simulated_again):
    before, after = demo_trial.features, simulated_again.features
    settings = [
        "print",
        "make_ready",
        "speed",
        "cell_volume",
        "pressure",
        "plate",
        "plate_gap",
        "gaps_inspected",
    ]
    pd.testing.assert_frame_equal(before[settings], after[settings])
    for name in ("line_height", "line_width", "section_area", "resistance"):
        assert before[name].notna().equals(after[name].notna())
        assert not np.isclose(before[name], after[name]).any()
    bridged = after["gaps_bridged"] == 1
    assert after.loc[bridged, "gap"].isna().all() and (after["gap"].dropna() > 0).all()
    assert (after["gap"].notna() | bridged).equals(before["plate_gap"].notna())


def test_many_simulated_trials_average_to_the_truth(demo_trial, truth):
    """Means of each print's line heights over 100 trials, within 4.5 standard errors."""
    lines = demo_trial.features["line_height"].notna()
    rng = np.random.default_rng(2)
    drawn = np.array(
        [np.log(simulate_trial(demo_trial, truth, rng).features["line_height"][lines]) for _ in range(100)]
    )
    expected = truth.means(demo_trial.features[lines])[:, 0]
    total = truth.make_ready[0, 0] + truth.print_[0, 0] + truth.feature[0] ** 2
    np.testing.assert_allclose(drawn.mean(axis=0), expected, atol=4.5 * np.sqrt(total / 100))
    assert drawn.std(axis=0).mean() == pytest.approx(np.sqrt(total), rel=0.03)


def test_realised_conformance_is_that_of_the_written_truth(demo_surfaces, make_demo, tag, truth):
    """The demo's own script judges next runs by other code; both with the demo's truth."""
    written = make_demo.read_truth()
    order = ["log_height", "log_width", "log_resistivity", "closure"]
    rows = demo_surfaces.trial.features
    means = make_demo.expected(written, rows)[order].to_numpy()
    coefficients = []
    for at, design in enumerate(truth.designs):
        known = rows[[factor.name for factor in design.factors]].notna().all(axis=1).to_numpy()
        known = known & np.isfinite(means[:, at])
        coefficients.append(np.linalg.lstsq(design.matrix(rows[known]), means[known, at], rcond=None)[0])
    place = [make_demo.RESPONSES.index(name) for name in order]
    levels = [make_demo.covariance(written, level)[np.ix_(place, place)] for level in ("make_ready", "print")]
    feature = np.sqrt(np.diag(make_demo.covariance(written, "feature")))[place]
    known = dataclasses.replace(
        truth, coefficients=tuple(coefficients), make_ready=levels[0], print_=levels[1], feature=feature
    )
    window = pw.find_window(demo_surfaces, without_tolerances(tag))
    runs = calibration._Runs.draw(window, known, np.random.default_rng(3))
    product = make_demo.read_product(pw.demo("tag.toml"))
    for speed, volume, pressure in [
        (60, 4.4, 50),
        (90, 5.6, 50),
        (110, 5.6, 35),
        (50, 5.6, 78),
        (90, 4.4, 60),
    ]:
        setup = window.setups("laser-imaged", speed, volume, pressure)
        run = {"speed": speed, "cell_volume": volume, "pressure": pressure}
        theirs = make_demo.simulate_next_runs(written, run, product, 20_000, np.random.default_rng(4))
        # the section factor cancels but for its own error of half a percent in the resistance
        assert runs.conformance(setup)[0] == pytest.approx(theirs["all"].mean(), abs=0.04)


def test_the_least_closed_of_many_gaps_has_its_moments(demo_surfaces, tag, truth):
    from pwindow.window.requirements.extremes import extreme_moments

    runs = calibration._Runs.draw(pw.find_window(demo_surfaces, tag), truth, np.random.default_rng(5))
    spread = truth.feature[truth.names.index("gap_closure")]
    mean, variance, covariance = extreme_moments(48)
    largest, smallest = runs.largest / spread, runs.smallest / spread
    assert largest.mean() == pytest.approx(mean, abs=0.04)
    assert smallest.mean() == pytest.approx(-mean, abs=0.04)
    assert smallest.var() == pytest.approx(variance, rel=0.12)
    assert np.cov(largest, smallest)[0, 1] == pytest.approx(covariance, abs=0.03)


@pytest.fixture(scope="module")
def found(tag_window):
    return calibrate(tag_window, trials=6, seed=3, workers=1, setups=240)


def test_a_study_of_the_demo(found):
    table = found.to_frame()
    assert found.trials == 6 and found.unusable == ()
    assert table["judgements"].sum() == len(found.judged) > 1000
    assert (table["stated"] >= table["from"]).all() and (table["stated"] <= table["to"]).all()
    assert abs((found.judged["stated"] - found.judged["realised"]).mean()) < 0.05
    assert (found.recommended["stated"] >= 0.95).all()


def test_equal_seeds_give_equal_studies(tag_window, found):
    """Of trials of one seed, the first two are the same however many follow."""
    again = calibrate(tag_window, trials=2, seed=3, workers=1, setups=240)
    pd.testing.assert_frame_equal(found.judged[found.judged["trial"] < 2], again.judged)


def test_bands_and_their_errors():
    """Two trials, one 0.1 above and one 0.1 below what came true: the difference is 0 ± 0.1 · √½."""
    judged = pd.DataFrame({"trial": [0, 0, 1, 1], "stated": [0.55] * 4, "realised": [0.45, 0.45, 0.65, 0.65]})
    row = Calibration(judged, judged.iloc[:0], 2, ()).to_frame().iloc[0]
    assert (row["from"], row["to"], row["judgements"]) == (0.5, 0.6, 4)
    assert row["difference"] == pytest.approx(0.0)
    assert row["std_error"] == pytest.approx(0.1 * 0.5**0.5)


def without_bridged(trial, truth, rng):
    """A simulated trial whose bridged gaps were thrown away."""
    drawn = simulate_trial(trial, truth, rng)
    return dataclasses.replace(drawn, features=drawn.features[~(drawn.features["gaps_bridged"] > 0)])


def test_dropping_bridged_gaps_would_be_seen(demo_trial, truth, monkeypatch):
    """Gaps close by 13 µm more, so that half of those of 45 µm on the plate bridge."""
    closure = truth.names.index("gap_closure")
    pressed = [
        beta + 13.0 * (np.arange(len(beta)) == 0) * (at == closure)
        for at, beta in enumerate(truth.coefficients)
    ]
    process = dataclasses.replace(truth, coefficients=tuple(pressed))
    surfaces = pw.fit(simulate_trial(demo_trial, process, np.random.default_rng(7)))
    bridged = surfaces.trial.features["gaps_bridged"].sum()
    assert 80 < bridged < 180
    window = pw.find_window(
        surfaces, make_product(pattern={"plate_gap": 45.0}, gap=(2.0, None, {"count": 4}))
    )

    def off():
        judged = calibrate(window, trials=6, seed=5, workers=1, setups=240).judged
        return (judged["stated"] - judged["realised"])[judged["realised"].between(0.05, 0.95)].mean()

    kept = off()
    monkeypatch.setattr(calibration, "simulate_trial", without_bridged)
    dropped = off()
    print(
        f"{bridged:.0f} gaps bridged: stated - realised {kept:+.3f} as it is, {dropped:+.3f} with them dropped"
    )
    assert abs(kept) < 0.05 < dropped - kept and dropped > 0.04


SIZE = 0.24


class Bent(Truth):
    """A process whose lines are higher by a cubic in log speed: zero at 30, 60 and 120 m/min."""

    def means(self, rows):
        means, x = super().means(rows), np.log2(rows["speed"].to_numpy(float) / 60.0)
        means[:, self.names.index("line_height")] += SIZE * (x**3 - x)
        return means


@pytest.fixture
def came_true(mesh_window, truth, monkeypatch):
    """Mean share of conforming runs at the recommended set-ups of some trials of the bent process."""
    study = calibration._Study(mesh_window, Bent(**vars(truth)), None, 6, np.random.default_rng(7))

    def share(fit, trials=8):
        monkeypatch.setattr(calibration, "fit", fit)
        found = [study.judge(seed)[1]["realised"] for seed in np.random.SeedSequence(3).spawn(trials)]
        return np.mean(found)

    return share


def blind(trial, **options):
    surfaces = pw.fit(trial, **options)
    return dataclasses.replace(surfaces, joint=dataclasses.replace(surfaces.joint, misses={}))


def test_what_the_form_misses_is_allowed_for(came_true):
    """In 60 trials: 0.74 blind, 0.96 allowed for, 0.94 by surfaces that bend; standard error of 8 trials 0.04."""
    bending = came_true(lambda trial, **_: pw.fit(trial, "bending"), trials=4)
    found = came_true(blind), came_true(pw.fit), bending
    print("recommended at 0.95; came true blind, allowed for, bending:", *np.round(found, 3))
    assert found[0] < 0.86 and found[1] > 0.90 and found[2] > 0.82
