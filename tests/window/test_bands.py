"""Speed bands: inside the trial region, assured to their ends, and not a step too short."""

import dataclasses
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import WindowProblem
from pwindow.study import Roll, Study
from pwindow.window.bands import (
    Row,
    SpeedBand,
    band_columns,
    bands_at,
    bands_of,
    limited_by,
    speed_bands,
)
from pwindow.window.search.recommendation import recommend
from tests.helpers.products import without_tolerances
from tests.helpers.trials import read_frame


@pytest.fixture(scope="module", params=["tag", "mesh", "tag at 60 %", "tag without tolerances"])
def case(request, tag_window, mesh_window, demo_surfaces, study, tag):
    """A window and its bands at pressures tried and between."""
    window = {
        "tag": tag_window,
        "mesh": mesh_window,
        "tag at 60 %": pw.find_window(demo_surfaces, tag.with_assurance(0.6), study),
        "tag without tolerances": pw.find_window(demo_surfaces, without_tolerances(tag), study),
    }[request.param]
    return window, window.speed_bands([20.0, 33.0, 50.0, 65.0, 80.0])


def at(window, band, speed):
    return window.setups(band.plate, speed, band.cell_volume_cm3_m2, band.pressure_um)


def test_no_band_leaves_the_trial_region(case):
    window, bands = case
    for band in bands.itertuples():
        along = np.linspace(band.speed_low_m_min, band.speed_high_m_min, 9)
        assert window.in_trial_region(at(window, band, along)).all(), band


@pytest.mark.slow
def test_conformance_reaches_the_level_along_the_band(case):
    window, bands = case
    assert len(bands) > 3
    for band in bands.itertuples():
        along = np.linspace(band.speed_low_m_min, band.speed_high_m_min, 9)
        joint = window.joint_conformance(at(window, band, along))
        assert joint[[0, -1]].min() >= window.level, band
        assert joint.min() >= window.level - 2e-3, band


@pytest.mark.slow
def test_beyond_its_ends_the_band_is_not_assured(case):
    """One metre a minute further the level is lost, unless the trial ends there."""
    window, bands = case
    looked = 0
    for band in bands.itertuples():
        for end, step, at_trial in (
            (band.speed_low_m_min, -1.0, band.trial_ends_low),
            (band.speed_high_m_min, 1.0, band.trial_ends_high),
        ):
            beyond = at(window, band, end + step)
            if at_trial:
                assert not window.in_trial_region(beyond)[0]
            else:
                looked += 1
                assert window.joint_conformance(beyond)[0] < window.level, (band, step)
    assert looked > 5


@pytest.mark.slow
def test_no_assured_speed_is_left_out(case):
    window, bands = case
    for roll in window.rolls:
        for pressure in (20.0, 33.0, 50.0, 65.0, 80.0):
            speeds = np.arange(30.0, 121.0)
            setups = window.setups(window.plates[0], speeds, roll.cell_volume, pressure)
            assured = (window.joint_conformance(setups) > window.level + 3e-3) & window.in_trial_region(
                setups
            )
            own = bands[(bands["roll"] == roll.id) & (bands["pressure_um"] == pressure)]
            covered = np.zeros(len(speeds), bool)
            for band in own.itertuples():
                covered |= (speeds >= band.speed_low_m_min - 0.2) & (speeds <= band.speed_high_m_min + 0.2)
            assert not (assured & ~covered).any(), (roll, pressure, speeds[assured & ~covered])


@pytest.mark.slow
def test_what_a_band_says_of_its_speeds(case):
    window, bands = case
    assert (bands["fastest_speed_m_min"] == bands["speed_high_m_min"]).all()
    assert bands["safest_speed_m_min"].between(bands["speed_low_m_min"], bands["speed_high_m_min"]).all()
    assert (bands["conformance_at_safest"] >= bands["conformance_at_fastest"] - 2e-3).all()
    for band in bands.itertuples():
        table = window.conformance(at(window, band, [band.fastest_speed_m_min, band.speed_low_m_min]))
        assert band.conformance_at_fastest == pytest.approx(table["joint"][0], abs=1e-4)
        parts = table.drop(columns="joint")
        assert parts.loc[0, band.limiting_high] == parts.loc[0].min()
        assert parts.loc[1, band.limiting_low] == parts.loc[1].min()


def test_speeds_are_told_in_tenths(case):
    _, bands = case
    for name in ("speed_low_m_min", "speed_high_m_min", "safest_speed_m_min"):
        np.testing.assert_allclose(bands[name] * 10, np.round(bands[name] * 10), atol=1e-6)


@pytest.mark.parametrize("pressure", [19.0, 81.0, 0.0, 500.0, float("nan")])
def test_untried_pressures_are_refused(tag_window, pressure):
    with pytest.raises(WindowProblem, match="20 to 80 µm"):
        tag_window.speed_bands([50.0, pressure])


def test_rolls_outside_the_tried_volumes_have_no_band(demo_surfaces, tag):
    rolls = (Roll("small", 1.5), Roll("tried", 5.6), Roll("large", 12.0))
    bands = pw.find_window(demo_surfaces, tag, Study(rolls=rolls)).speed_bands()
    assert set(bands["roll"]) == {"tried"}


@pytest.mark.slow
def test_a_roll_never_tried_inside_the_tried_volumes_has_bands(tag_window):
    bands = tag_window.speed_bands()
    assert "1290" in set(bands["roll"])


@pytest.mark.slow
def test_a_higher_level_never_widens(demo_surfaces, tag):
    def fastest(level):
        bands = pw.find_window(demo_surfaces, tag.with_assurance(level)).speed_bands()
        return bands.groupby(["roll", "pressure_um"])["fastest_speed_m_min"].max()

    loose, strict = fastest(0.8), fastest(0.95)
    assert set(strict.index) <= set(loose.index)
    assert (loose[strict.index] >= strict).all() and (loose[strict.index] > strict).any()


@pytest.fixture(scope="module")
def hopeless(demo_surfaces, tag, study):
    requirements = tuple(
        dataclasses.replace(requirement, most=20.0) if requirement.name == "line_resistance" else requirement
        for requirement in tag.requirements
    )
    return pw.find_window(demo_surfaces, dataclasses.replace(tag, requirements=requirements), study)


@pytest.mark.slow
def test_an_impossible_product_has_no_band_and_says_how_close(hopeless, tag_window):
    bands = hopeless.speed_bands()
    assert bands.empty and isinstance(bands, pd.DataFrame)
    assert list(bands.columns) == list(band_columns("pressure_um")) == list(tag_window.speed_bands().columns)
    assert recommend(hopeless, bands) is None


@pytest.mark.slow
def test_an_end_is_the_trials_where_no_step_is_left_before_its_edge(window_of):
    """The trial starts at 30 m/min: a limit that every speed meets leaves both ends to the trial."""
    window = window_of(line_width=(None, 200.0, {}))
    for _, band in window.speed_bands().iterrows():
        assert (band["speed_low_m_min"], band["speed_high_m_min"]) == (30.0, 120.0)
        assert (limited_by(band, "low"), limited_by(band, "high")) == ("slowest tried", "fastest tried")


@pytest.mark.parametrize("sure, words", [(False, "line width"), (True, "slowest tried")])
def test_an_end_is_a_requirements_where_it_ends_the_band_within_the_last_step(window_of, sure, words):
    """From 30.04 m/min on the first step is 30.1: whether 30.04 is assured tells what ends the band."""
    window = window_of(line_width=(None, 64.0, {}))
    roll = next(roll for roll in window.rolls if roll.id == "1318")
    edge, step = window.joint_conformance(
        window.setups("laser-imaged", [30.04, 30.1], roll.cell_volume, 50.0)
    )
    assert edge < step
    level = float(edge - 1e-9 if sure else (edge + step) / 2)
    window = window_of(line_width=(None, 64.0, {}), assurance={"level": level})
    (band,) = bands_of(window, Row(roll, "laser-imaged", 50.0, 30.04, 60.0))
    told = band.to_dict("pressure_um")
    assert band.low == told["speed_low_m_min"] == 30.1
    assert (limited_by(told, "low"), limited_by(told, "high")) == (words, "fastest tried")


@pytest.mark.slow
def test_at_one_tried_speed_the_band_is_that_speed(demo_rows, window_of):
    """A speed that is no step, such as 150 ft/min in m/min, is a band as any other."""
    own = demo_rows[demo_rows["speed [m/min]"] == 60.0].assign(**{"speed [m/min]": 45.72})
    product = window_of(line_width=(None, 90.0, {})).product
    window = pw.find_window(pw.fit(read_frame(own)), product)
    bands = window.speed_bands()
    assert len(bands) and (bands[["speed_low_m_min", "speed_high_m_min"]] == 45.72).all(axis=None)
    assert bands[["trial_ends_low", "trial_ends_high"]].all(axis=None)


@pytest.mark.slow
@pytest.mark.parametrize("pressure", [50.0, 47.0])
def test_bands_at_a_pressure_are_those_of_the_table_there(tag_window, pressure):
    table = speed_bands(tag_window, [20.0, 50.0, 80.0])
    expected = tag_window.speed_bands([pressure])
    found = bands_at(tag_window, table, "laser-imaged", pressure)
    pd.testing.assert_frame_equal(found.reset_index(drop=True), expected)
    assert bands_at(tag_window, table, "film-imaged", pressure).empty


@pytest.mark.slow
def test_the_recommended_speed_is_the_fastest_assured(tag_window):
    bands = tag_window.speed_bands()
    chosen = recommend(tag_window, bands)
    assert chosen.setup.speed == bands["fastest_speed_m_min"].max()
    assert chosen.conformance >= tag_window.level
    assert chosen.setup.roll.id in chosen.why and f"{chosen.setup.speed:g} m/min" in chosen.why


@pytest.mark.parametrize(
    "ends, words",
    [
        ({"a": 90.0}, "Roll a is the only roll that reaches"),
        ({"a": 90.0, "b": 80.0}, "Roll a is the fastest of the 2 rolls that reach"),
        ({"a": 90.0, "b": 90.0}, "Roll b is the most reliable of 2 equally fast rolls that reach"),
        (
            {"a": 90.0, "b": 90.0, "c": 80.0},
            "Roll b is the most reliable of the 2 fastest of 3 rolls that reach",
        ),
    ],
)
def test_the_reason_calls_no_roll_the_fastest_where_another_is_as_fast(window_of, ends, words):
    window = window_of(gap=(16.0, None, {"count": 1}))
    window = dataclasses.replace(
        window, study=dataclasses.replace(window.study, rolls=tuple(Roll(name, 4.4) for name in ends))
    )
    band = window.speed_bands([50.0]).iloc[[0]]
    bands = pd.concat(
        [band.assign(roll=name, speed_high_m_min=end, fastest_speed_m_min=end, conformance_at_fastest=0.95 + at / 100)
         for at, (name, end) in enumerate(ends.items())], ignore_index=True)  # fmt: skip
    assert words in recommend(window, bands).why


@pytest.mark.parametrize("pressures", [None, [50.0]])
def test_a_window_recommends_what_its_bands_do(tag_window, pressures):
    found = tag_window.recommended(pressures)
    assert found == recommend(tag_window, tag_window.speed_bands(pressures))
    assert found.setup.speed == tag_window.speed_bands(pressures)["fastest_speed_m_min"].max()


def test_nothing_is_recommended_where_nothing_is_assured(demo_surfaces, tag, study):
    window = pw.find_window(demo_surfaces, tag.with_assurance(0.999999), study)
    assert window.speed_bands().empty
    assert window.recommended() is None


def test_a_limit_with_two_sides_says_on_which_prints_miss(tag, demo_surfaces, study):
    """At low speed lines are high and wide and gaps narrow, at high speed gaps are wide; resistance has one side."""
    requirements = tuple(replace(one, most=34.0) if one.name == "gap" else one for one in tag.requirements)
    window = pw.find_window(demo_surfaces, replace(tag, requirements=requirements), study)
    table = window.speed_bands([50.0])
    narrow, wide = (SpeedBand.of(table.iloc[at], window) for at in (2, 3))
    assert (narrow.slow_end, narrow.fast_end) == ("gap too small", "gap too large")
    assert (wide.slow_end, wide.fast_end) == ("gap too small", "line resistance")
    assert limited_by(table.iloc[3], "low") == wide.slow_end


def test_the_reason_names_what_takes_the_probability_below_the_level(tag, demo_surfaces, study):
    """Of widths at most 60 µm the line width is the least probable there and rises with speed: resistance ends the band."""
    requirements = tuple(
        replace(one, most=60.0) if one.name == "line_width" else one for one in tag.requirements
    )
    best = pw.find_window(demo_surfaces, replace(tag, requirements=requirements), study).recommended()
    assert (best.band.limiting_high, best.band.falling_high) == ("line_width", "line_resistance")
    assert "line resistance takes the probability below 95 %" in best.why
