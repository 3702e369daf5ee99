"""Trade-offs against the window they come from, closed forms, brute force and simulation."""

import dataclasses
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import pwindow as pw
from pwindow.errors import WindowProblem
from pwindow.study import Ink, Roll, Study
from pwindow.window.confidence import conformance_by_process
from pwindow.window.search.recommendation import neighbours
from pwindow.window.setup import planned_notes, planned_rolls, planned_study, unplanned_study
from pwindow.window.trade_offs import (
    AS_PRINTED,
    COMMON_WIDTH,
    SILVER_AND_CONFORMANCE,
    SPEED_AND_CONFORMANCE,
    SPEED_AND_SILVER,
    Setup,
    along_speed,
    frontier,
    plates_compared,
    sensitivities,
    shown_quantities,
    side_by_side,
    silver_notes,
    with_planned_roll,
)
from pwindow.window.trade_offs.frontier import runnable
from pwindow.window.trade_offs.sensitivities import limit_step, pressure_step
from tests.helpers.trials import read_frame

PLATE = "laser-imaged"


@pytest.fixture(scope="module")
def setup(tag_window):
    return Setup(PLATE, next(roll for roll in tag_window.rolls if roll.id == "1318"), 50.0, 83.1)


@pytest.fixture(scope="module")
def along(tag_window):
    return along_speed(tag_window, PLATE, 50.0)


def rows_as_setups(window, table, pressure):
    return window.setups(PLATE, table["speed_m_min"], table["cell_volume_cm3_m2"], pressure)


# along the speed


def test_every_roll_is_told_at_the_speeds_of_its_region(tag_window, along):
    assert list(dict.fromkeys(along["roll"])) == [roll.id for roll in tag_window.rolls]
    for _, members in along.groupby("roll"):
        ends = tag_window.surfaces.region.speed_range(PLATE, members["cell_volume_cm3_m2"].iloc[0], 50.0)
        assert len(members) == 60
        np.testing.assert_allclose(members["speed_m_min"].iloc[[0, -1]], ends, rtol=1e-12)


def test_printed_conformances_are_those_of_the_window(tag_window, along):
    table = tag_window.conformance(rows_as_setups(tag_window, along, 50.0))
    for name, column in [
        ("joint", "conformance"),
        *((r, f"conformance_{r}") for r in tag_window.limits[PLATE].requirements),
    ]:
        assert [f"{value:.1%}" for value in along[column]] == [f"{value:.1%}" for value in table[name]]
    assert (along["assured"] == (table["joint"] >= tag_window.level)).all()
    assert (along["limiting"] == table.drop(columns="joint").idxmin(axis=1)).mean() > 0.97


NARROW = {
    "line_resistance": (200.0, 300.0, {"length": 80.0}),
    "line_width": (60.0, 64.0, {}),
    "line_height": (0.6, 0.8, {}),
    "gap": (20.0, 33.0, {"count": 100}),
}


def test_printed_conformances_between_many_narrow_limits(window_of):
    window = window_of(**NARROW)
    found = along_speed(window, PLATE, 50.0)
    exact = window.joint_conformance(rows_as_setups(window, found, 50.0))
    assert [f"{value:.1%}" for value in found["conformance"]] == [f"{value:.1%}" for value in exact]
    assert exact.max() > 0.3


def test_limited_quantities_are_those_of_the_window(tag_window, along):
    told = tag_window.quantities(rows_as_setups(tag_window, along, 50.0))
    for name, key in {
        "line_resistance": "line_resistance_ohm",
        "line_width": "line_width_um",
        "gap": "gap_um",
    }.items():
        for end in ("mean", "mean_ci_low", "mean_ci_high", "obs_ci_low", "obs_ci_high"):
            np.testing.assert_allclose(along[f"{key}_{end}"], told[name][end], rtol=1e-12)


def test_a_roll_outside_the_region_has_no_row(tag_window):
    found = along_speed(tag_window, PLATE, 50.0, [Roll("large", 12.0)])
    assert found.empty and "silver_mg_m_mean" in found
    assert set(along_speed(tag_window, PLATE, 50.0, [Roll("large", 12.0), tag_window.rolls[0]])["roll"]) == {
        "0412"
    }


# silver


def silver_by_hand(window, setups, density):
    """Mean and 95 % interval of the next print by the joint predictive of ln w + ln h, mg/m."""
    found, joint = window.joint.predict(setups), window.joint
    at = [joint.names.index(name) for name in ("line_height", "line_width")]
    between = np.array(joint.between)[at]
    middle = found.mean[:, at].sum(axis=1) + (between**2).sum() / 2
    middle += np.log(window.surfaces.section_factor * density * 1e-3)
    spread = np.sqrt(found.scale[:, at][:, :, at].sum(axis=(1, 2))) * stats.t.ppf(0.975, found.df)
    return [np.exp(middle + sign * spread) for sign in (0, -1, 1)]


def test_silver_by_the_joint_predictive(tag_window, along):
    by_hand = silver_by_hand(tag_window, rows_as_setups(tag_window, along, 50.0), 7.4)
    for end, expected in zip(("mean", "obs_ci_low", "obs_ci_high"), by_hand):
        np.testing.assert_allclose(along[f"silver_mg_m_{end}"], expected, rtol=1e-10)
    # correlation counts: height and width apart would be another interval
    assert (along["silver_mg_m_obs_ci_low"] < along["silver_mg_m_mean_ci_low"]).all()


def test_silver_against_the_truth(tag_window, make_demo, along):
    """Typical height × width × section factor of the written-down truth, at the ink's density."""
    truth = make_demo.read_truth()
    setups = rows_as_setups(tag_window, along, 50.0)
    lines = make_demo.expected(truth, setups)
    expected = np.exp(lines["log_height"] + lines["log_width"]) * truth["line"]["section_factor"] * 7.4e-3
    np.testing.assert_allclose(along["silver_mg_m_mean"], expected, rtol=0.05)
    inside = (along["silver_mg_m_obs_ci_low"] < expected) & (expected < along["silver_mg_m_obs_ci_high"])
    assert inside.all()


def test_silver_of_a_mesh_by_its_pitch(mesh_window):
    """A square mesh of 900 µm has 2222 m of line on a square metre: g/m² is 2.222 times mg/m."""
    found = along_speed(mesh_window, "film-imaged", 50.0)
    np.testing.assert_allclose(found["silver_g_m2_mean"], found["silver_mg_m_mean"] * 2 / 0.9, rtol=1e-12)
    assert any("crossings" in note for note in silver_notes(mesh_window))


def test_without_a_density_dense_silver_is_an_upper_bound(demo_surfaces, tag):
    window = pw.find_window(demo_surfaces, tag, Study(ink=Ink()))
    stated = pw.find_window(demo_surfaces, tag, Study(ink=Ink(silver_density=10.49)))
    assert "silver_g_m2_mean" not in along_speed(window, PLATE, 50.0)
    pd.testing.assert_frame_equal(along_speed(window, PLATE, 50.0), along_speed(stated, PLATE, 50.0))
    assert "10.49" in silver_notes(window)[0] and "10.49" not in "".join(silver_notes(stated))
    assert any("no pitch" in note for note in silver_notes(stated))


def test_quantities_that_nobody_limits_are_shown_in_their_units(mesh_window):
    shown = shown_quantities(mesh_window, "film-imaged")
    assert list(shown) == [
        "sheet_resistance", "open_area", "line_width", "line_height", "gap", "line_resistance", "silver", "silver_of_area"
    ]  # fmt: skip
    assert shown["line_resistance"].unit == "Ω/mm" and shown["line_resistance"].requirement is None
    setups = mesh_window.setups("film-imaged", 60.0, 4.4, 50.0)
    found = mesh_window.predict({name: one.quantity for name, one in shown.items()}, setups)
    # a mesh of pitch p: one line carries the current of a pitch
    assert found["sheet_resistance"]["mean"][0] == pytest.approx(0.9 * found["line_resistance"]["mean"][0])


# one step further


def test_settings_moved_by_a_step(tag_window, setup):
    table = sensitivities(tag_window, setup).set_index(["what", "step"])
    moved = {
        ("speed", 1.0): dict(speed=84.1),
        ("speed", -1.0): dict(speed=82.1),
        ("pressure", 1.0): dict(pressure=51.0),
        ("pressure", -1.0): dict(pressure=49.0),
        ("cell_volume", 1.0): dict(cell_volume=6.6),
        ("cell_volume", -1.0): dict(cell_volume=4.6),
    }
    now = dict(speed=83.1, cell_volume=5.6, pressure=50.0)
    before = tag_window.conformance(tag_window.setups(PLATE, **now))["joint"][0]
    for (what, step), change in moved.items():
        after = tag_window.conformance(tag_window.setups(PLATE, **(now | change)))
        (row,) = [row for key, row in table.iterrows() if key[0] == what and np.isclose(key[1], step)]
        assert row["conformance_before"] == pytest.approx(before, abs=1e-12)
        assert row["conformance_after"] == pytest.approx(after["joint"][0], abs=1e-12)
        assert row["gain_percentage_points"] == pytest.approx(100 * (after["joint"][0] - before), abs=1e-9)
        assert row["limiting_after"] == after.drop(columns="joint").iloc[0].idxmin()


@pytest.mark.parametrize("which", ["tag_window", "mesh_window"])
def test_limits_moved_by_a_step_are_windows_of_changed_products(which, request, setup):
    window = request.getfixturevalue(which)
    at = dataclasses.replace(setup, plate=window.plates[0])
    table = sensitivities(window, at)
    limits = table[table["limit"] != ""]
    count = sum((one.least is not None) + (one.most is not None) for one in window.product.requirements)
    assert len(limits) == 2 * count
    steps = limits.groupby(["requirement", "limit"])["step"]
    np.testing.assert_allclose(steps.max(), -steps.min(), rtol=1e-9)
    for row in limits.itertuples():
        changed = tuple(
            dataclasses.replace(one, **{row.limit: row.after}) if one.name == row.requirement else one
            for one in window.product.requirements
        )
        product = dataclasses.replace(window.product, requirements=changed)
        other = pw.find_window(window.surfaces, product, window.study)
        expected = other.conformance(at.frame(other))["joint"][0]
        assert row.conformance_after == pytest.approx(expected, abs=1e-12)
    relaxed = limits["step"] * np.where(limits["limit"] == "most", 1, -1) > 0
    assert (limits.loc[relaxed, "gain_percentage_points"] >= 0).all()
    assert (limits.loc[~relaxed, "gain_percentage_points"] <= 0).all()


def test_steps_and_speeds_have_the_bound_that_a_confidence_asks_for(tag_window, setup):
    """By the quantile over all processes of a window that is made anew for each step."""
    window = pw.find_window(tag_window.surfaces, tag_window.product.with_confidence(0.9), tag_window.study)
    table = sensitivities(window, setup)
    faster = dataclasses.replace(setup, speed=setup.speed + 1.0)
    shorter = dataclasses.replace(
        window.product.requirements[0], most=window.product.requirements[0].most + 10.0
    )
    other = dataclasses.replace(window.product, requirements=(shorter, *window.product.requirements[1:]))
    eased = pw.find_window(window.surfaces, other, window.study)
    steps = table["step"] > 0
    for row, judged, at in (
        (table[steps & (table["what"] == "speed")].iloc[0], window, faster),
        (table[steps & (table["requirement"] == "line_resistance")].iloc[0], eased, setup),
    ):
        expected = np.quantile(conformance_by_process(judged, at.frame(judged)), 0.1)
        assert row["at_least_after"] == pytest.approx(expected, abs=1e-9)
        assert row["at_least_after"] < row["conformance_after"]
    near = neighbours(window, setup.plate, setup.roll.cell_volume, setup.pressure, setup.speed)
    here = near.loc[np.isclose(near["speed_m_min"], setup.speed), "at_least"].item()
    assert here == pytest.approx(
        np.quantile(conformance_by_process(window, setup.frame(window)), 0.1), abs=1e-9
    )
    assert sensitivities(tag_window, setup)["at_least_after"].isna().all()


def test_steps_out_of_the_trial_region_are_not_answered(tag_window, setup):
    """120 m/min, 7.2 cm³/m² and 80 µm are the most that was tried."""
    largest = dataclasses.replace(setup, roll=tag_window.rolls[-1], pressure=80.0, speed=120.0)
    table = sensitivities(tag_window, largest)
    up = table[(table["limit"] == "") & (table["step"] > 0)]
    assert up["conformance_after"].isna().all() and up["gain_percentage_points"].isna().all()
    assert up["reason"].str.contains("not tried").all()
    assert table[table["limit"] != ""]["conformance_after"].notna().all()
    outside = sensitivities(tag_window, dataclasses.replace(setup, speed=300.0))
    assert outside["conformance_before"].isna().all() and (outside["reason"] != "").all()


def test_limits_that_contradict_one_another_are_not_answered(window_of, setup):
    window = window_of(gap=(27.0, 28.0, {"count": 1}), line_width=(None, 70.0, {}))
    table = sensitivities(window, setup)
    gap = table[(table["requirement"] == "gap") & table["reason"].str.contains("not below")]
    assert len(gap) == 2 and gap["conformance_after"].isna().all()


def test_steps_suit_what_they_move():
    assert limit_step("line_resistance", 330.0) == 10.0
    assert limit_step("line_resistance", 5.0) == pytest.approx(0.1)
    assert limit_step("gap", 0.0) == 1.0
    assert limit_step("line_height", 0.6) == 0.05
    assert pressure_step((20.0, 50.0, 80.0)) == 1.0
    assert pressure_step((1.0, 4.0)) == pytest.approx(0.1)
    assert pressure_step((100.0, 300.0)) == pytest.approx(10.0)
    assert pressure_step((50.0,)) == 1.0


# what no other beats


@pytest.fixture(scope="module")
def bands(tag_window):
    return tag_window.speed_bands()


@pytest.fixture(scope="module")
def tried(tag_window, bands):
    """Every runnable set-up with its accurate conformance and its silver."""
    table = runnable(tag_window, bands=bands)
    setups = tag_window.setups(PLATE, table["speed_m_min"], table["cell_volume_cm3_m2"], table["pressure_um"])
    assert tag_window.in_trial_region(setups).all()
    silver = shown_quantities(tag_window, PLATE)["silver"].quantity
    return table.assign(
        conformance=tag_window.joint_conformance(setups),
        silver=tag_window.predict({"silver": silver}, setups, most=False)["silver"]["mean"],
    )


def unbeaten(costs, others):
    """Rows that no other equals or betters in both costs and betters in one, by comparing all pairs."""
    costs, others = np.asarray(costs), np.asarray(others)
    as_good = (costs[:, None] <= costs) & (others[:, None] <= others)
    better = (costs[:, None] < costs) | (others[:, None] < others)
    return ~(as_good & better).any(axis=0)


@pytest.fixture(scope="module")
def front(tag_window, bands):
    return frontier(tag_window, bands=bands)


def pairs(table, *columns):
    return sorted({tuple(np.round(row, 9)) for row in table[list(columns)].to_numpy(float)})


@pytest.mark.parametrize("trade", [SPEED_AND_CONFORMANCE, SILVER_AND_CONFORMANCE, SPEED_AND_SILVER])
def test_frontiers_by_brute_force(tried, front, trade):
    told = front[front["trade"] == trade].rename(columns={"silver_mg_m_mean": "silver"})
    told = told.assign(conformance=told["conformance"].round(4))
    all_ = tried.assign(conformance=tried["conformance"].round(4))
    if trade == SPEED_AND_SILVER:
        all_ = tried[tried["conformance"] >= 0.95]
        keep, columns = unbeaten(-all_["speed_m_min"], all_["silver"]), ("speed_m_min", "silver")
    elif trade == SPEED_AND_CONFORMANCE:
        keep, columns = unbeaten(-all_["speed_m_min"], -all_["conformance"]), ("speed_m_min", "conformance")
    else:
        keep, columns = unbeaten(all_["silver"], -all_["conformance"]), ("silver", "conformance")
    assert len(told) > 3
    assert pairs(told, *columns) == pairs(all_[keep], *columns)


def test_frontier_rows_say_what_the_window_says(tag_window, front):
    some = front.iloc[::7]
    for row in some.itertuples():
        at = tag_window.setups(row.plate, row.speed_m_min, row.cell_volume_cm3_m2, row.pressure_um)
        found = tag_window.conformance(at).iloc[0]
        assert row.conformance == pytest.approx(found["joint"], abs=1e-12)
        assert row.assured == (found["joint"] >= tag_window.level)
        assert row.limiting == found.drop("joint").idxmin()


def test_the_fastest_assured_set_up_is_on_the_frontiers(front, bands):
    best = bands.sort_values("fastest_speed_m_min").iloc[-1]
    for trade in (SPEED_AND_CONFORMANCE, SPEED_AND_SILVER):
        fastest = front[(front["trade"] == trade) & front["assured"]].sort_values("speed_m_min").iloc[-1]
        assert (fastest["roll"], fastest["speed_m_min"]) == (best["roll"], best["fastest_speed_m_min"])
        assert fastest["conformance"] == pytest.approx(best["conformance_at_fastest"], abs=1e-12)


@pytest.mark.slow
def test_bands_given_or_not_make_no_difference(mesh_window):
    given = frontier(mesh_window, [50.0], mesh_window.speed_bands([50.0]))
    pd.testing.assert_frame_equal(frontier(mesh_window, [50.0]), given)
    assert set(given["pressure_um"]) == {50.0}


def test_an_inventory_outside_the_trial_has_no_frontier(demo_surfaces, tag):
    found = frontier(pw.find_window(demo_surfaces, tag, Study(rolls=(Roll("large", 12.0),))))
    assert found.empty and "trade" in found


# rolls that are not in the house yet


@pytest.mark.slow
def test_a_planned_roll_is_marked_wherever_it_is_listed(tag_window):
    window = with_planned_roll(tag_window, "new", 6.2)
    assert [roll.label for roll in window.rolls][-2:] == ["new (planned)", "2047"]
    assert not any(roll.planned for roll in tag_window.rolls)
    assert along_speed(window, PLATE, 50.0).groupby("roll")["planned"].first().to_dict()["new"]
    table = frontier(window, [50.0])
    assert set(table.loc[table["planned"], "roll"]) == {"new"}


def test_planned_rolls_are_named_in_their_order_and_noted(tag_window, study, demo_trial, demo_surfaces, tag):
    planned = planned_study(planned_study(study, demo_trial, 6.9), demo_trial, 6.3)
    assert [(roll.id, roll.cell_volume) for roll in planned_rolls(planned)] == [
        ("new 1", 6.9),
        ("new 2", 6.3),
    ]
    assert unplanned_study(planned) == study
    window = pw.find_window(demo_surfaces, tag, planned)
    assert window.notes == (*tag_window.notes, *planned_notes(planned.rolls)) != tag_window.notes
    assert with_planned_roll(tag_window, "new", 6.2).notes[-1] == (
        "roll new (6.2 cm³/m²) is planned: you do not have it yet"
    )


def test_without_an_inventory_rolls_are_planned_beside_those_of_the_trial(demo_trial):
    planned = planned_study(Study(), demo_trial, 6.3)
    assert planned.rolls[:-1] == demo_trial.rolls and planned.rolls[-1].planned


@pytest.mark.slow
def test_a_planned_roll_is_judged_as_one_that_exists(tag_window, study, tag):
    window = with_planned_roll(tag_window, "new", 6.2)
    owned = dataclasses.replace(study, rolls=(*study.rolls, Roll("new", 6.2)))
    expected = pw.find_window(tag_window.surfaces, tag, owned).speed_bands([50.0])
    pd.testing.assert_frame_equal(window.speed_bands([50.0]), expected)


@pytest.mark.parametrize(
    "identity, volume, said",
    [
        ("1318", 6.0, "already in the inventory"),
        (" ", 6.0, "id"),
        ("new", 0.0, "above zero"),
        ("new", float("nan"), "above zero"),
    ],
)
def test_planned_rolls_that_cannot_be(tag_window, identity, volume, said):
    with pytest.raises(WindowProblem, match=said):
        with_planned_roll(tag_window, identity, volume)


# side by side


@pytest.fixture(scope="module")
def beside(tag_window, setup):
    other = Setup(PLATE, tag_window.rolls[-1], 50.0, 97.8)
    return side_by_side(tag_window, [setup, other]).set_index("what")


def test_side_by_side_is_what_each_set_up_is(tag_window, setup, beside):
    for at, one in ((1, setup), (2, Setup(PLATE, tag_window.rolls[-1], 50.0, 97.8))):
        found, told = (
            tag_window.quantities(one.frame(tag_window)),
            tag_window.conformance(one.frame(tag_window)),
        )
        assert beside.loc["roll", f"setup_{at}"] == one.roll.id
        assert beside.loc["conformance", f"setup_{at}"] == pytest.approx(told["joint"][0], abs=1e-12)
        for name, frame in found.items():
            assert beside.loc[name, f"setup_{at}"] == pytest.approx(frame["mean"][0], rel=1e-12)
            assert beside.loc[name, f"setup_{at}_obs_ci_high"] == pytest.approx(
                frame["obs_ci_high"][0], rel=1e-12
            )
    assert beside.loc["speed", "setup_2_difference"] == pytest.approx(14.7)
    points = 100 * (beside.loc["conformance", "setup_2"] - beside.loc["conformance", "setup_1"])
    assert beside.loc["conformance", "setup_2_difference"] == pytest.approx(points)
    assert np.isnan(beside.loc["roll", "setup_2_difference"])


def test_intervals_of_differences_against_the_posterior(tag_window, setup, beside):
    """Percentiles of the differences over the posterior draws of the coefficients."""
    joint = tag_window.joint
    frames = [one.frame(tag_window) for one in (setup, Setup(PLATE, tag_window.rolls[-1], 50.0, 97.8))]
    drawn = dict(zip(joint.names, joint.draws.coefficients))
    designs = dict(zip(joint.names, joint.designs))
    for name in ("line_resistance", "gap", "silver"):
        quantity = shown_quantities(tag_window, PLATE)[name].quantity
        sides = [
            quantity.natural(
                quantity.constant
                + sum(
                    weight * (drawn[key] @ designs[key].matrix(frame)[0])
                    for key, weight in quantity.weights.items()
                )
            )
            for frame in frames
        ]
        expected = np.diff(np.percentile(sides[1] - sides[0], [2.5, 97.5]))[0]
        row = beside.loc[name]
        assert row["setup_2_difference_high"] - row["setup_2_difference_low"] == pytest.approx(
            expected, rel=0.12
        )


@pytest.mark.slow
def test_intervals_of_differences_by_all_coefficients_together(tag_window, setup, beside):
    """Slopes by moving each coefficient, covariance of the stacked posterior draws, their t distribution."""
    joint = tag_window.joint
    frames = [one.frame(tag_window) for one in (setup, Setup(PLATE, tag_window.rolls[-1], 50.0, 97.8))]
    edges = np.cumsum([0, *map(len, joint.centres)])

    def difference(stacked, quantity):
        means = [
            sum(
                quantity.weights.get(name, 0.0) * (design.matrix(frame)[0] @ stacked[start:end])
                for name, design, start, end in zip(joint.names, joint.designs, edges, edges[1:])
            )
            for frame in frames
        ]
        return quantity.natural(means[1] + quantity.constant) - quantity.natural(means[0] + quantity.constant)

    centre = np.concatenate(joint.centres)
    covariance = np.cov(np.column_stack(joint.draws.coefficients).T) * (joint.df - 2) / joint.df
    for name in ("line_resistance", "gap", "silver"):
        quantity = shown_quantities(tag_window, PLATE)[name].quantity
        steps = 1e-6 * np.eye(len(centre))
        slopes = [(difference(centre + h, quantity) - difference(centre - h, quantity)) / 2e-6 for h in steps]
        reach = stats.t.ppf(0.975, joint.df) * np.sqrt(slopes @ covariance @ slopes)
        row = beside.loc[name]
        assert row["setup_2_difference"] == pytest.approx(difference(centre, quantity), rel=1e-9)
        assert row["setup_2_difference_high"] - row["setup_2_difference"] == pytest.approx(reach, rel=1e-5)


def test_a_set_up_beside_itself_does_not_differ(tag_window, setup):
    table = side_by_side(tag_window, [setup, setup])
    assert np.nanmax(np.abs(table[["setup_2_difference", "setup_2_difference_low"]].to_numpy(float))) == 0.0


def test_what_a_form_misses_is_one_departure_of_both_set_ups(tag_window, setup):
    """Nothing between a set-up and itself; twice as much where it goes the other way."""

    class Bent:
        def missed(self, setups):
            return np.where(setups["speed"] < 60.0, -0.05, 0.05)

    joint = dataclasses.replace(tag_window.joint, misses={"line_height": Bent()})
    window = dataclasses.replace(tag_window, joint=joint)
    slow = dataclasses.replace(setup, speed=50.0)
    table, plain = (
        side_by_side(one, [setup, setup, slow]).set_index("what").loc["line_height"]
        for one in (window, tag_window)
    )
    assert table["setup_2_difference_low"] == table["setup_2_difference_high"] == 0.0
    reach, known = ((one["setup_3_difference_high"] - one["setup_3_difference"]) for one in (table, plain))
    missed = 1.5 * 0.05 * (table["setup_1"] + table["setup_3"]) * stats.t.ppf(0.975, joint.df)
    assert reach == pytest.approx(np.hypot(known, missed), rel=1e-6)


def test_nothing_is_predicted_outside_the_trial_region(tag_window, setup):
    table = side_by_side(tag_window, [setup, dataclasses.replace(setup, speed=300.0)]).set_index("what")
    assert table.loc["in_trial_region", "setup_2"] is False
    assert pd.isna(table.loc["line_width", "setup_2"]) and pd.isna(table.loc["conformance", "setup_2"])


# plate against plate


@pytest.fixture(scope="module")
def plates(tag_window):
    return plates_compared(tag_window, tag_window.rolls[2], 50.0, [45.0, 60.0])


def plate_row(plates, basis, plate, speed=60.0):
    table = plates.to_frame()
    (row,) = table[
        (table["basis"] == basis) & (table["plate"] == plate) & (table["speed_m_min"] == speed)
    ].to_dict("records")
    return row


def test_plates_as_printed(tag_window, plates):
    own = plate_row(plates, AS_PRINTED, PLATE)
    at = tag_window.setups(PLATE, 60.0, 4.4, 50.0)
    assert own["conformance"] == pytest.approx(tag_window.conformance(at)["joint"][0], abs=1e-12)
    assert own["line_gain_mean"] == pytest.approx(own["line_width_um_mean"] / 30.0)
    film = plate_row(plates, AS_PRINTED, "film-imaged")
    assert film["plate_width_um"] == 28.0
    assert film["line_gain_mean"] == pytest.approx(film["line_width_um_mean"] / 28.0)


def test_plates_at_a_common_width_keep_their_line_gain(plates):
    """One plate width for each plate process: widths × 30/28, resistance and conductance follow."""
    assert (
        plates.common_width == 30.0 and "cannot separate plate width from plate process" in plates.assumed()
    )
    before, after = (plate_row(plates, basis, "film-imaged") for basis in (AS_PRINTED, COMMON_WIDTH))
    for end in ("mean", "mean_ci_low", "obs_ci_high"):
        assert after[f"line_gain_{end}"] == pytest.approx(before[f"line_gain_{end}"])
        assert after[f"line_width_um_{end}"] == pytest.approx(before[f"line_width_um_{end}"] * 30 / 28)
        assert after[f"line_resistance_ohm_{end}"] == pytest.approx(
            before[f"line_resistance_ohm_{end}"] * 28 / 30
        )
        assert after[f"silver_mg_m_{end}"] == pytest.approx(before[f"silver_mg_m_{end}"] * 30 / 28)
        for key in ("gap_um", "line_height_um"):
            assert after[f"{key}_{end}"] == pytest.approx(before[f"{key}_{end}"])


def test_conformance_at_a_common_width_by_moved_limits(tag_window, tag, study, plates):
    """Wider lines against the old limits are the old lines against limits moved the other way."""
    requirements = tuple(
        dataclasses.replace(
            one, most=one.most * {"line_resistance": 30 / 28, "line_width": 28 / 30}[one.name]
        )
        if one.name != "gap"
        else one
        for one in tag.requirements
    )
    pattern = dataclasses.replace(tag.pattern, plate="film-imaged", plate_width=28.0)
    product = dataclasses.replace(tag, requirements=requirements, pattern=pattern)
    window = pw.find_window(tag_window.surfaces, product, study)
    expected = window.conformance(window.setups("film-imaged", 60.0, 4.4, 50.0))["joint"][0]
    told = plate_row(plates, COMMON_WIDTH, "film-imaged")["conformance"]
    assert told == pytest.approx(expected, abs=1e-9)
    assert told != pytest.approx(plate_row(plates, AS_PRINTED, "film-imaged")["conformance"], abs=0.01)


def test_plates_outside_the_region_are_left_open(tag_window):
    table = plates_compared(tag_window, tag_window.rolls[2], 50.0, 300.0).to_frame()
    assert table["conformance"].isna().all() and table["line_width_um_mean"].isna().all()


@pytest.mark.slow
def test_one_plate_process_is_no_comparison(demo_rows, tag):
    rows = demo_rows[demo_rows["plate"] == PLATE]
    window = pw.find_window(pw.fit(read_frame(rows)), tag)
    with pytest.raises(WindowProblem, match="one plate process"):
        plates_compared(window, window.rolls[2], 50.0, 60.0)


@pytest.mark.slow
def test_plate_widths_that_vary_are_told_by_the_surfaces(demo_rows, tag, study):
    """A trial in which both plates had 28 and 30 µm, and printed widths do not care."""
    rows = demo_rows.copy()
    odd = rows["make_ready"].str[-2:].astype(int) % 2
    rows["plate_width [um]"] = np.where(odd, 28.0, 30.0)
    window = pw.find_window(pw.fit(read_frame(rows)), tag, study)
    found = plates_compared(window, window.rolls[2], 50.0, 60.0, common_width=29.0)
    assert "surfaces" in found.assumed() and "told apart" not in found.assumed()
    widths = found.table[found.table["basis"] == COMMON_WIDTH]
    assert (widths["plate_width_um"] == 29.0).all()
    for row in widths.itertuples():
        setups = window.setups(PLATE, 60.0, 4.4, 50.0).assign(plate=row.plate, plate_width=29.0)
        expected = np.exp(window.joint.means(setups)[0, window.joint.names.index("line_width")])
        assert row.line_width_um_mean == pytest.approx(expected, rel=1e-9)


def test_frontier_falls_as_it_should(front):
    for trade, rising in ((SPEED_AND_CONFORMANCE, "conformance"), (SILVER_AND_CONFORMANCE, "conformance")):
        values = front.loc[front["trade"] == trade, rising].round(4)
        assert all(one < other for one, other in pairwise(values))
