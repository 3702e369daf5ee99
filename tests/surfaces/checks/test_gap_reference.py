"""The width of the plate gap that predicts the printed one is found, or said not to be known."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from pwindow.surfaces.checks.gap_reference import (
    BETWEEN,
    LIP,
    NOT_SEPARATED,
    NOT_TOLD,
    SURFACE,
    WITH_DEPTH,
    Weight,
    gap_reference,
)
from tests.helpers.gap_truths import KINDS, TOLD, GapTruth, judge
from tests.helpers.trials import read_frame

BOTH = ["plate_gap", "lip_width"]


@pytest.mark.parametrize(
    ("truth", "chosen"),
    [
        (GapTruth(), LIP),
        (GapTruth(follows="surface"), SURFACE),
        (GapTruth(follows="depth"), WITH_DEPTH),
        (GapTruth(follows="both", free=40.0, features=20), BETWEEN),
        (GapTruth(free=0.3), NOT_TOLD),
        (GapTruth(free=0.0), NOT_TOLD),
        (GapTruth(features=4, plates=1), NOT_SEPARATED),
    ],
)
def test_what_is_true_is_found_where_it_can_be(truth, chosen):
    found = gap_reference(truth.trial(1))
    assert found.chosen == chosen
    assert (chosen in found.words) or chosen in (BETWEEN, WITH_DEPTH, NOT_SEPARATED, NOT_TOLD)
    assert len(found.to_frame()) == (0 if chosen == NOT_SEPARATED else 3)


def test_a_trial_file_says_the_same_as_its_rows():
    truth = GapTruth()
    assert gap_reference(read_frame(truth.rows(1))).words == gap_reference(truth.trial(1)).words


def test_features_without_names_are_told_by_their_dimensions():
    rows = GapTruth().rows(1)
    named = gap_reference(read_frame(rows))
    unnamed = gap_reference(read_frame(rows.drop(columns=["plate_id", "plate_feature"])))
    assert len(unnamed.features) == len(named.features) == 12
    np.testing.assert_allclose(unnamed.weight.value, named.weight.value, rtol=1e-9)


def test_without_lips_there_is_nothing_to_compare(demo_trial):
    assert gap_reference(demo_trial) is None
    rows = GapTruth().rows(1)
    rows.loc[rows["plate_feature"] == "g3", "lip_width"] = np.nan
    found = gap_reference(read_frame(rows))
    assert (len(found.features), found.unmeasured) == (11, 1) and "1 feature without" in found.words


def test_adjusted_means_are_those_of_a_regression_on_prints_and_features():
    """Statsmodels with an indicator for each print and each feature, of prints that show some of the features."""
    rows = GapTruth(plates=1, features=6).rows(1)
    missing = np.random.default_rng(1).random(len(rows)) < 0.4
    rows = rows[~missing | (rows["plate_feature"] == "g0")]
    found = gap_reference(read_frame(rows)).features.set_index("plate_feature")["printed"]
    cells = rows.groupby(["print", "plate_feature"])["gap"].mean().reset_index()
    x = pd.get_dummies(cells[["print", "plate_feature"]], dtype=float).drop(columns="plate_feature_g0")
    plain = sm.OLS(cells["gap"], x).fit().params
    np.testing.assert_allclose(
        [found[f"g{at}"] - found["g0"] for at in range(1, 6)],
        [plain[f"plate_feature_g{at}"] for at in range(1, 6)],
        rtol=1e-9,
    )


def test_slopes_are_those_of_least_squares_and_errors_those_of_refits():
    """Features of one plate that all prints show weigh the same."""
    found = gap_reference(GapTruth(plates=1, tilt=0.0).trial(1))
    features = found.features
    x, y = sm.add_constant(features[[*BOTH, "gap_depth"]]), features["printed"]
    fit = sm.OLS(y, x).fit()
    assert (found.weight.of_surface, found.weight.of_lip) == pytest.approx(tuple(fit.params[BOTH]), rel=1e-6)
    assert found.depth_slope == pytest.approx(fit.params["gap_depth"], rel=1e-6)
    assert (found.weight.p_surface, found.weight.p_lip) == pytest.approx(tuple(fit.pvalues[BOTH]), rel=1e-3)
    for row in found.to_frame().itertuples():
        names = {SURFACE: BOTH[:1], LIP: BOTH[1:], WITH_DEPTH: ["plate_gap", "gap_depth"]}[row.candidate]
        part, left = x[["const", *names]], []
        for out in range(len(y)):
            kept = np.arange(len(y)) != out
            left.append(y.iloc[out] - part.iloc[out] @ sm.OLS(y[kept], part[kept]).fit().params)
        assert row.rmse_um == pytest.approx(np.sqrt(np.mean(np.square(left))), rel=1e-9)
        plain = sm.OLS(y, part).fit()
        assert (row.slope_low, row.slope_high) == pytest.approx(
            tuple(plain.conf_int().loc[names[0]]), rel=1e-6
        )


def test_the_interval_of_the_weight_is_where_the_combined_slope_is_not_significant():
    """Of a linear combination of slopes, by statsmodels."""
    found = gap_reference(GapTruth(plates=1, tilt=0.0).trial(1))
    features = found.features
    fit = sm.OLS(features["printed"], sm.add_constant(features[[*BOTH, "gap_depth"]])).fit()
    for end in (found.weight.low, found.weight.high):
        test = fit.t_test([[0.0, -end, 1.0 - end, 0.0]])
        assert float(test.pvalue) == pytest.approx(0.05, abs=1e-4)


def test_a_weight_is_not_bounded_where_no_slope_is_known():
    loose = Weight.of(np.array([0.5, 0.6]), np.diag([4.0, 4.0]), 8)
    assert (loose.low, loose.high) == (-np.inf, np.inf)
    assert not (loose.to_lip or loose.to_surface or loose.between)


def test_features_that_bridge_are_left_out_and_said_to_be():
    truth = GapTruth(narrowest=8.0, follows="surface", free=25.0, features=16)
    found = gap_reference(truth.trial(2))
    assert found.bridged > 2 and len(found.features) == 16 - found.bridged
    assert f"{found.bridged} features with more than 10 % of the gaps bridged" in found.words


@pytest.mark.slow
def test_leaving_them_out_keeps_slopes_unbiased():
    """Of 30 trials; printed gaps that are left of features that bridge more often are too wide."""
    truth = GapTruth(narrowest=6.0, follows="surface", free=25.0, features=16, between=1.0, closure=20.0)
    slopes, raw = [], []
    for seed in range(30):
        trial = truth.trial(seed)
        found = gap_reference(trial)
        slopes.append(next(one.slope for one in found.candidates if one.name == SURFACE))
        means = trial.features.groupby("plate_feature")[["plate_gap", "gap"]].mean().dropna()
        raw.append(np.polyfit(means["plate_gap"], means["gap"], 1)[0])
    error = np.std(slopes, ddof=1) / np.sqrt(len(slopes))
    print(f"slope {np.mean(slopes):.4f} ± {error:.4f}, of all gaps that are open {np.mean(raw):.4f}")
    assert np.mean(slopes) == pytest.approx(1.0, abs=0.015)
    assert np.mean(raw) < 0.96


def test_the_words_name_how_much_wider_each_process_prints():
    found = gap_reference(GapTruth().trial(1))
    ratios = found.ratios
    assert list(ratios.index) == ["film-imaged", "laser-imaged"] and ratios["features"].tolist() == [6, 6]
    one = found.features[found.features["plate"] == "film-imaged"]
    assert ratios.loc["film-imaged", "surface"] == pytest.approx(
        one["printed"].sum() / one["plate_gap"].sum()
    )
    assert f"{ratios.loc['film-imaged', 'surface']:.2f} (film-imaged)" in found.words
    assert "Raised lips hold the ink back" in found.words


@pytest.mark.slow
def test_the_right_width_is_found_where_it_can_be_and_hardly_ever_the_wrong_one():
    """20 layouts for each kind and truth; tests/bench/bench_gap_reference has more."""
    rows = pd.DataFrame(
        [
            judge(kind, follows, seed)
            for kind in KINDS
            for follows in ("lip", "surface")
            for seed in range(200, 220)
        ]
    )
    able = rows[rows["can tell"]]
    print(
        f"able to tell (power {TOLD}): {len(able)}, right {able['right'].mean():.3f}, wrong {rows['wrong'].mean():.3f}"
    )
    assert len(able) >= 80
    assert able["right"].mean() >= 0.95
    assert rows["wrong"].mean() <= 1 / 40


@pytest.mark.slow
def test_collinear_lips_are_not_told_from_the_surface():
    """Lips 2.4 times the surface width, measured to 0.3 µm: 40 trials of each truth."""
    chosen = [
        gap_reference(GapTruth(free=0.3, follows=follows, between=2.0).trial(seed)).chosen
        for follows in ("lip", "surface")
        for seed in range(40)
    ]
    assert chosen.count(NOT_TOLD) >= 0.9 * len(chosen)
