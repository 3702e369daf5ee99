"""Prints that were made beside what a product requires of them."""

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.window.run.requirements_met import not_judged, requirements_met
from tests.helpers.products import make_product
from tests.helpers.trials import read_frame


@pytest.fixture(scope="module")
def run_rows(make_demo):
    """Two prints at one set-up, with three gaps of 60 µm each."""
    layout = make_demo.layout_second()
    layout = layout[layout["plate"] == "laser-imaged"].head(2).reset_index(drop=True)
    layout = layout.assign(speed=80.0, cell_volume=7.2, roll="2047", pressure=50.0)
    rows = make_demo.simulate_trial(make_demo.read_truth(), layout, np.random.default_rng(1))
    rows = rows[rows["plate_gap [um]"] != 75.0].reset_index(drop=True)
    gaps = rows["plate_gap [um]"] == 45.0
    rows.loc[gaps, ["plate_gap [um]", "gap [um]"]] = [60.0, 27.0]
    return rows


@pytest.fixture(scope="module")
def met_of(window_of):
    """What the prints of a table meet, by print and requirement."""

    def judge(rows, **product):
        found = requirements_met(window_of(**product), read_frame(rows))
        return found.set_index(["print", "requirement"])

    return judge


def with_a_short(rows):
    first = rows.index[rows["gap [um]"].notna()][0]
    rows = rows.copy()
    rows.loc[first, ["gap [um]", "gaps_inspected", "gaps_bridged"]] = [np.nan, 1, 1]
    return rows


@pytest.mark.parametrize("least", [0.0, 16.0])
def test_a_bridged_gap_is_a_short_whatever_is_asked(run_rows, met_of, least):
    found = met_of(with_a_short(run_rows), gap=(least, None, {"count": 48}))
    assert list(found["bridged"]) == [1, 0]
    assert list(found["met"]) == [False, True]


def test_a_gap_that_the_product_may_be_printed_with_is_judged(run_rows, met_of):
    """A product's gap may be 2 % off that of the plate, as where it is judged at all."""
    rows = with_a_short(run_rows).replace({"plate_gap [um]": {60.0: 59.5}})
    found = met_of(rows, gap=(16.0, None, {"count": 48}))
    assert list(found["met"]) == [False, True]


def test_counts_tell_that_gaps_stay_open(run_rows, met_of):
    rows = run_rows.assign(**{"gap [um]": np.nan})
    gaps = rows["gaps_inspected"].gt(0)
    rows.loc[gaps, "gaps_inspected"] = 48
    found = met_of(rows, gap=(0.0, None, {"count": 48}))
    assert list(found["met"]) == [True, True] and found["low"].isna().all()
    assert met_of(rows, gap=(16.0, None, {"count": 48})).empty, "how wide they are was not measured"


def test_lines_of_another_plate_width_are_not_the_product_s(run_rows, met_of):
    wide = run_rows[run_rows["line_width [um]"].notna()].assign(**{"plate_width [um]": 60.0})
    wide["line_width [um]"] += 30.0
    wide[["resistance [ohm]", "line_length [mm]"]] = np.nan
    asked = {"pattern": {"plate_width": 30.0}, "line_width": (None, 70.0, {})}
    alone, both = met_of(run_rows, **asked), met_of(pd.concat([run_rows, wide]), **asked)
    pd.testing.assert_frame_equal(alone, both)
    logs = np.log(run_rows["line_width [um]"]).groupby(run_rows["print"]).mean()
    assert alone["low"].to_numpy() == pytest.approx(np.exp(logs).to_numpy())


def test_a_resistance_that_was_probed_counts_as_it_was_probed(run_rows, met_of):
    bare = run_rows.copy()
    bare.loc[
        bare["resistance [ohm]"].notna(), ["line_height [um]", "line_width [um]", "section_area [um2]"]
    ] = np.nan
    each = bare["resistance [ohm]"] / bare["line_length [mm]"]
    found = met_of(bare, line_resistance=(None, 1e6, {"length": 50.0}))
    assert found["low"].to_numpy() == pytest.approx(50.0 * each.groupby(bare["print"]).mean().to_numpy())


def test_what_prints_do_not_tell_is_said(run_rows, window_of):
    window = window_of(line_width=(None, 70.0, {}), gap=(16.0, None, {"count": 48}))
    rows = run_rows[run_rows["gap [um]"].isna() | (run_rows["print"] != run_rows["print"].iloc[0])]
    elsewhere = run_rows.assign(print="other", make_ready="other", plate="none such")
    trial = read_frame(pd.concat([rows, elsewhere]))
    told = not_judged(window, trial, requirements_met(window, trial))
    assert [one.split(": ")[1] for one in told] == [
        "2 of 3 prints are on a plate that suits this product",
        "1 of 2 prints is measured for gap as the product specifies it",
    ]


def test_prints_that_do_not_name_their_plate_are_passed_over(run_rows, met_of):
    """Of a trial that told plate processes apart nothing can be said for one that is not named."""
    assert met_of(run_rows.drop(columns="plate"), line_width=(None, 70.0, {})).empty


@pytest.mark.slow
def test_prints_of_a_trial_without_plates(run_rows, demo_rows):
    plain = demo_rows[demo_rows["plate"] == "laser-imaged"].drop(columns="plate")
    product = make_product(pattern={"plate": None}, line_width=(None, 70.0, {}))
    window = pw.find_window(pw.fit(read_frame(plain)), product)
    found = requirements_met(window, read_frame(run_rows.drop(columns="plate")))
    assert list(found["met"]) == [True, True]
