"""Limits 10 % tighter and looser: the speeds are those that a product with such limits has."""

import dataclasses
import math

import pytest

import pwindow as pw
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import limit_trades, move_limits
from tests.helpers.products import make_product

PLATE = "laser-imaged"


def own_product(product, moved):
    """The product with a moved limit, made without the code under test."""

    def changed(one):
        if one.name != moved.requirement.name:
            return one
        if moved.end == "count":
            return dataclasses.replace(one, parameters={**one.parameters, "count": moved.after})
        return dataclasses.replace(one, **{moved.end: moved.after})

    return dataclasses.replace(product, requirements=tuple(map(changed, product.requirements)))


@pytest.mark.slow
@pytest.mark.parametrize(("name", "level"), [("tag", 0.95), ("mesh", 0.95), ("tag", 0.99), ("mesh", 0.6)])
def test_speeds_are_those_of_a_product_with_the_limit(request, demo_surfaces, study, name, level):
    product = request.getfixturevalue(name).with_assurance(level)
    window = pw.find_window(demo_surfaces, product, study)
    start = window.recommended().setup
    trades = limit_trades(window, start)
    assert (trades.best, trades.fastest) == (start, start.speed)
    assert len(trades.limits) == {"tag": 5, "mesh": 3}[name]
    for then in (then for pair in trades.limits for then in pair):
        other = pw.find_window(demo_surfaces, own_product(product, then.moved), study)
        best, bands = other.recommended(), other.speed_bands()
        assert then.moved.best == (best and best.setup)
        kept = bands[
            (bands["roll"] == start.roll.id)
            & (bands["plate"] == start.plate)
            & (bands["pressure_um"] == start.pressure)
        ]
        assert then.fastest == (None if kept.empty else kept["speed_high_m_min"].max())
        joint = other.joint_conformance(start.frame(other))[0]
        assert then.conformance == pytest.approx(joint, abs=1e-6)


def test_tighter_asks_for_more_and_looser_for_less(tag_window):
    pairs = move_limits(tag_window).limits
    values = {
        (tighter.requirement.name, tighter.end): (tighter.after, tighter.before, looser.after)
        for tighter, looser in pairs
    }
    assert values == {
        ("line_resistance", "most"): (297.0, 330.0, 363.0),
        ("line_width", "most"): (63.0, 70.0, 77.0),
        ("gap", "least"): (17.6, 16.0, 14.4),
        ("gap", "most"): (37.8, 42.0, 46.2),
        ("gap", "count"): (53, 48, 43),
    }
    told = [(tighter.words(), tighter.after_words()) for tighter, _ in pairs]
    assert told[0] == ("line resistance at most 330 Ω", "297 Ω") and told[-1] == ("48 gaps on one part", "53")


def test_the_frame_has_a_row_for_each_limit_and_way(tag_window):
    start = Setup(PLATE, tag_window.roll("2047"), 50.0, 97.8)
    trades = limit_trades(tag_window, start)
    frame = trades.to_frame()
    assert len(frame) == 2 * len(trades.limits) == 10
    assert list(frame["moved"][:2]) == ["tighter", "looser"]
    narrower = frame[(frame["requirement"] == "line_width") & (frame["moved"] == "tighter")].iloc[0]
    assert math.isnan(narrower["fastest_speed_m_min"]) and math.isnan(narrower["change_m_min"])
    assert narrower["best_pressure_um"] == 20.0, "another pressure is assured where this one is not"
    assert narrower["best_change_m_min"] == pytest.approx(narrower["best_speed_m_min"] - 97.8)
    looser = frame[frame["moved"] == "looser"]
    assert (looser["best_change_m_min"] >= 0).all() and (looser["change_m_min"] >= 0).all()


def test_a_limit_that_the_product_cannot_have_says_why(window_of):
    window = window_of(gap=(20.0, 21.0, {}), line_resistance=(None, 400.0, {"length": 80.0}))
    found = {(one.requirement.name, one.end): (one, other) for one, other in move_limits(window).limits}
    tighter, looser = found["gap", "least"]
    assert tighter.window is None and "is not below most (21)" in tighter.reason
    assert looser.reason == "" and looser.after == 18.0
    then = limit_trades(window, Setup(PLATE, window.rolls[2], 50.0, 60.0)).limits
    refused = next(one for one, _ in then if one.moved.reason)
    assert refused.fastest is None and refused.conformance is None


def test_limits_of_zero_and_a_single_gap_are_not_moved(window_of):
    window = window_of(gap=(0.0, 50.0, {"count": 1}))
    assert [(one.requirement.name, one.end) for one, _ in move_limits(window).limits] == [("gap", "most")]


def test_few_gaps_are_moved_by_one(window_of):
    window = window_of(gap=(10.0, None, {"count": 3}))
    tighter, looser = move_limits(window).limits[-1]
    assert (tighter.end, tighter.after, looser.after) == ("count", 4, 2)


def test_nothing_is_said_of_a_set_up_outside_the_trial(tag_window):
    outside = limit_trades(tag_window, Setup(PLATE, tag_window.rolls[0], 50.0, 1000.0))
    assert all(then.conformance is None for pair in outside.limits for then in pair)
    untried = dataclasses.replace(tag_window.rolls[0], cell_volume=100.0)
    nowhere = limit_trades(tag_window, Setup(PLATE, untried, 50.0, 60.0))
    assert nowhere.fastest is None and nowhere.best is not None
    assert math.isnan(nowhere.change(nowhere.limits[0][1]))


def test_where_nothing_is_assured_a_looser_limit_may_help(demo_surfaces, study):
    product = make_product(
        pattern={"plate_width": 30.0},
        line_resistance=(None, 150.0, {"length": 80.0}),
        line_width=(None, 70.0, {}),
    )
    window = pw.find_window(demo_surfaces, product, study)
    assert window.speed_bands().empty
    moved = move_limits(window)
    assert moved.best is None
    trades = limit_trades(window, Setup(PLATE, window.rolls[-1], 50.0, 60.0), moved)
    eased = [looser for _, looser in trades.limits if looser.moved.best is not None]
    assert eased and all(math.isnan(trades.best_change(then)) for then in eased)
