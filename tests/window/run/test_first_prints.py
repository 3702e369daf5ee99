"""Limits of the first prints: held against what is predicted, and against prints of the written-down truth."""

import dataclasses

import numpy as np
import pytest
from scipy import stats

import pwindow as pw
from pwindow.product import Assurance, Pattern, Requirement
from pwindow.window.run.first_prints import MAKE_READIES, first_prints, gaps_to_inspect, stops
from tests.helpers.trials import read_frame


@pytest.fixture(scope="module")
def plain_window(demo_surfaces, tag, study):
    """The tag, judged without drift of its settings."""
    product = dataclasses.replace(tag, assurance=Assurance(0.95))
    return pw.find_window(demo_surfaces, product, study)


def at(window, speed=80.0):
    return window.setups("laser-imaged", speed, 7.2, 50.0)


def by_name(found):
    return {one.name: one for one in found}


def test_a_long_line_has_the_interval_of_the_next_print(plain_window):
    """All of four measures are inside with 95 %, each then with 98.75 %."""
    setup = at(plain_window)
    found = first_prints(plain_window, setup)
    assert len(found) == 4
    line = by_name(found)["line_resistance"]
    told = plain_window.quantities(setup, 1.0 - 0.05 / 4)["line_resistance"].iloc[0]
    assert line.expected == pytest.approx(told["mean"], rel=1e-12)
    assert (line.low, line.high) == pytest.approx((told["obs_ci_low"], told["obs_ci_high"]), rel=1e-12)


def test_a_few_features_know_less_of_their_print_than_a_long_line(plain_window):
    setup = at(plain_window)
    width = by_name(first_prints(plain_window, setup))["line_width"]
    told = plain_window.quantities(setup, 1.0 - 0.05 / 4)["line_width"].iloc[0]
    assert width.features == 4
    joint = plain_window.surfaces.joint
    own = joint.between[joint.names.index("line_width")] ** 2 / 4
    half = np.log(width.high / width.low) / 2
    of_print = np.log(told["obs_ci_high"] / told["obs_ci_low"]) / 2
    reach = stats.t.ppf(1.0 - 0.05 / 8, joint.df)
    assert half**2 == pytest.approx(of_print**2 + reach**2 * own, rel=1e-9)


def test_drift_widens_and_make_readies_narrow(plain_window, tag_window):
    for one, other in zip(
        first_prints(plain_window, at(plain_window)), first_prints(tag_window, at(tag_window))
    ):
        assert one.high - one.low < other.high - other.low
        assert one.low < one.several_low < one.expected < one.several_high < one.high


TRIALS, PRINTS = 6, 1000


@pytest.mark.slow
def test_prints_of_the_truth_fall_inside(make_demo, study):
    """Of six trials each states limits, and 1000 new make-readies are measured as the trials were.

    A single trial is luckier or less lucky: over 20 trials the share had mean 0.961 and a standard
    deviation of 0.024; the mean of six then has one of 0.010.
    """
    truth, layout = make_demo.read_truth(), make_demo.layout_first()
    product = pw.Product(
        "test",
        (Requirement("line_width", most=80.0), Requirement("gap", least=0.0)),
        Pattern(plate="laser-imaged", plate_gap=75.0),
    )
    rows = _first_prints_of(make_demo, truth, layout)
    inside = []
    for seed in range(TRIALS):
        trial = read_frame(make_demo.simulate_trial(truth, layout, np.random.default_rng(500 + seed)))
        window = pw.find_window(pw.fit(trial), product, study)
        limits = by_name(first_prints(window, at(window, 60.0)))
        assert set(limits) == {"line_width", "gap", "line_height", "resistance"}
        means = rows.groupby("print")[list(limits)].mean()
        inside.append(
            np.all([means[name].between(one.low, one.high) for name, one in limits.items()], axis=0).mean()
        )
    assert 0.93 <= np.mean(inside) <= 0.99


def _first_prints_of(make_demo, truth, layout):
    """Prints of make-readies of their own at one set-up of the layout, as rows of a trial file."""
    here = (layout["roll"] == "2047") & (layout["plate"] == "laser-imaged") & (layout["speed"] == 60.0)
    one = layout[here & (layout["pressure"] == 50.0)].iloc[[0]]
    many = one.loc[one.index.repeat(PRINTS)].reset_index(drop=True)
    many = many.assign(**{name: many.index.astype(str) for name in ("print", "make_ready")})
    rows = make_demo.simulate_trial(truth, many, np.random.default_rng(11))
    rows = rows.rename(columns=lambda name: name.split(" [")[0])
    return rows.assign(gap=rows["gap"].where(rows["plate_gap"] == 75.0))


def test_gaps_to_inspect(tag_window, mesh_window):
    assert gaps_to_inspect(tag_window) == 48
    assert gaps_to_inspect(mesh_window) is None


def test_a_mesh_is_measured_by_its_sheet_resistance(mesh_window):
    plate = mesh_window.plates[0]
    found = by_name(first_prints(mesh_window, mesh_window.setups(plate, 60.0, 5.6, 50.0)))
    assert found["sheet_resistance"].most == pytest.approx(3.8)
    assert "open_area" not in found and MAKE_READIES == 3


def test_the_worst_of_all_gaps_is_inside_where_the_average_goes_on(tag_window):
    """Prints whose average of three lies at the end of what the part needs have 95 of 100 worst gaps inside.

    Simulated one by one: print means anywhere, three gaps measured, 48 others on the part, all of a shape that the trial
    leaves possible.
    """
    one = by_name(first_prints(tag_window, at(tag_window)))["gap"]
    joint = tag_window.joint
    between = joint.between[joint.names.index("gap_closure")]
    random, inside, shape = np.random.default_rng(3), [], tag_window.surfaces.gap_shape
    chosen, scores = shape.drawn(20_000), random.standard_normal((20_000, 51))
    off = np.empty_like(scores)
    for one_shape in np.unique(chosen):
        of = chosen == one_shape
        off[of] = shape.deviations(scores[of].ravel())[one_shape].reshape(-1, 51)
    for end, worst, beyond in ((one.need_low, np.min, np.less), (one.need_high, np.max, np.greater)):
        # closures are what deviates: gaps deviate the other way
        gaps = (end + between * off[:, :3].mean(axis=1))[:, None] - between * off[:, 3:]
        limit = 16.0 if beyond is np.less else 42.0
        inside.append(1.0 - beyond(worst(gaps, axis=1), limit).mean())
    assert all(0.94 <= share <= 0.98 for share in inside), inside


def test_stops_are_those_of_prints_drawn_from_the_predictive(mesh_window):
    """Where no average answers for many, what the part needs is missed as often as the window says."""
    plate = mesh_window.plates[0]
    setup = mesh_window.setups(plate, 90.0, 7.2, 50.0)
    found = stops(mesh_window, setup, first_prints(mesh_window, setup))
    joint = mesh_window.conformance(setup)["joint"].iloc[0]
    assert found.part == pytest.approx(1.0 - joint, abs=0.008)
    assert found.trial <= 0.05 and max(found.trial, found.part) <= found.either <= found.trial + found.part


def test_stops_of_a_gap_count_more_than_the_window_fails(tag_window):
    """The average is asked to lie so far inside that it stops some prints whose every gap would hold."""
    setup = at(tag_window, 97.8)
    found = stops(tag_window, setup, first_prints(tag_window, setup))
    fails = 1.0 - tag_window.conformance(setup)["joint"].iloc[0]
    assert fails < found.part < fails + 0.06


@pytest.mark.slow
def test_one_measured_gap_a_print_stops_as_many_as_the_window_bridges(demo_rows, make_demo):
    """What varies between prints and gaps cannot be told apart then: it must not count twice."""
    rows = demo_rows[demo_rows["plate_gap [um]"].ne(75.0)].assign(gaps_inspected=np.nan, gaps_bridged=np.nan)
    open_ = rows[rows["gap [um]"].notna()].groupby("print").head(1).index
    trial = read_frame(rows[rows["plate_gap [um]"].isna() | rows.index.isin(open_)])
    gap = Requirement("gap", least=0.0, parameters={"count": 48})
    window = pw.find_window(
        pw.fit(trial), pw.Product("test", (gap,), Pattern(plate="laser-imaged", plate_gap=45.0))
    )
    setup = window.setups("laser-imaged", 60.0, 5.6, 80.0)
    found = dataclasses.replace(first_prints(window, setup)[0], need_low=-np.inf)
    fails = 1.0 - window.conformance(setup)["gap"].iloc[0]
    assert fails > 0.02 and stops(window, setup, (found,)).part == pytest.approx(fails, abs=0.02)


def test_what_is_noticed_is_a_change_of_what_is_measured(demo_surfaces, mesh, study):
    """Over an undercoat the sheet changes less than its lines: 10 Ω of lines over 10 Ω are 5 Ω."""
    told = []
    for undercoat in ({}, {"undercoat": 5.0}):
        asked = Requirement("sheet_resistance", most=3.8, parameters=undercoat)
        window = pw.find_window(demo_surfaces, dataclasses.replace(mesh, requirements=(asked,)), study)
        setup = window.setups(window.plates[0], 60.0, 5.6, 50.0)
        told.append(by_name(first_prints(window, setup))["sheet_resistance"])
    lines, both = told
    changed = lines.expected * (1.0 + lines.noticed / 100.0)
    ratio = (1.0 / lines.expected + 1.0 / 5.0) / (1.0 / changed + 1.0 / 5.0)
    assert both.noticed == pytest.approx(100.0 * (ratio - 1.0), rel=1e-9)
    assert both.noticed < 0.75 * lines.noticed
