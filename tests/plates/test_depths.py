"""Lips and depths against the gap."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from pwindow.plates.depths import compared, relation_of


def gaps_of(plates=1, per_plate=6, factor=0.2, seed=1, low=40.0):
    rng = np.random.default_rng(seed)
    rows = []
    for at in range(plates):
        of_plate = rng.normal()
        for gap in np.linspace(low, 100.0, per_plate):
            lips = gap + 8.0 + of_plate + 0.4 * rng.normal()
            rows.append((f"P{at}", gap, lips, factor * gap * np.exp(0.05 * rng.normal())))
    return pd.DataFrame(rows, columns=["plate_id", "plate_gap", "lip_width", "gap_depth"])


@pytest.mark.parametrize("quantity, change", [("lip_width", np.asarray), ("gap_depth", np.log)])
def test_gaps_of_one_plate_are_those_of_least_squares(quantity, change):
    """statsmodels' OLS, its standard error, and its interval of the next gap of this plate."""
    features = gaps_of()
    columns = sm.add_constant(change(features["plate_gap"]))
    fitted = sm.OLS(change(features[quantity]), columns).fit()
    expected = relation_of(features, quantity).at(55.0)
    reference = fitted.get_prediction(np.array([[1.0, change(np.array(55.0))]])).summary_frame().iloc[0]
    back = np.exp if quantity == "gap_depth" else float
    assert expected.value == pytest.approx(back(reference["mean"]), rel=1e-9)
    for ours, theirs in (
        (expected.low, "mean_ci_lower"),
        (expected.high, "mean_ci_upper"),
        (expected.new_low, "obs_ci_lower"),
        (expected.new_high, "obs_ci_upper"),
    ):
        assert ours - expected.value == pytest.approx(back(reference[theirs]) - expected.value, rel=0.02)
    assert expected.why == "only one plate was measured: how plates differ is not known"


def test_plates_add_to_the_spread():
    relation = relation_of(gaps_of(plates=8, seed=2), "lip_width")
    found = relation.fitted.components
    assert found.degrees == (7, 48 - 9)
    assert (found.plate**0.5, found.feature**0.5) == (
        pytest.approx(1.0, abs=0.5),
        pytest.approx(0.4, abs=0.1),
    )
    assert relation.at(60.0).why == "" and relation.at(60.0).spread > found.plate**0.5


@pytest.mark.parametrize("gaps", [(), (40.0,), (40.0, 60.0, 60.4)])
def test_fewer_than_three_gaps_have_no_line(gaps):
    features = pd.DataFrame({"plate_id": "P", "plate_gap": np.array(gaps), "gap_depth": np.array(gaps) / 5.0})
    relation = relation_of(features, "gap_depth")
    expected = relation.at(50.0)
    assert relation.fitted is None and np.isnan([expected.value, expected.se, expected.new_low]).all()
    assert "a line takes 3" in expected.why


def test_processes_are_compared_at_one_gap():
    """At 55 µm a groove of 0.4 against one of 0.2 times the gap: 22 and 11 µm, about as common practice has it (no source)."""
    relations = {
        "film": relation_of(gaps_of(plates=4, factor=0.4), "gap_depth"),
        "laser": relation_of(gaps_of(plates=4, seed=2), "gap_depth"),
        "other": relation_of(gaps_of().iloc[:2], "gap_depth"),
    }
    found = compared(relations, 55.0)
    first = found.iloc[0]
    assert (first["one"], first["other"], first["outside"], first["why"]) == ("film", "laser", [], "")
    assert first["low"] < 11.0 < first["high"] and first["high"] - first["low"] < 3.0
    assert first["difference"] == pytest.approx(
        relations["film"].at(55.0).value - relations["laser"].at(55.0).value
    )
    assert np.isnan(found["difference"][1:]).all() and found["why"][1].startswith(
        "other: 2 clearly different gaps"
    )
    assert compared(relations, 200.0)["outside"][0] == ["film", "laser"]


def test_a_difference_has_the_interval_of_welch():
    """Lips of gaps measured on one plate of each process; scipy has no such test of lines, so the formula (from memory)."""
    relations = {name: relation_of(gaps_of(seed=at), "lip_width") for at, name in enumerate("ab")}
    one, other = (relations[name].at(60.0) for name in "ab")
    squares = np.array([one.se**2, other.se**2])
    degrees = squares.sum() ** 2 / (squares**2 / 4).sum()
    from scipy.stats import t

    row = compared(relations, 60.0).iloc[0]
    half = t.ppf(0.975, degrees) * squares.sum() ** 0.5
    assert (row["high"] - row["low"]) / 2 == pytest.approx(half, rel=0.01)
