"""The run sheet: plain words, settings with tolerances, and limits of the first prints."""

import dataclasses
import datetime
import math
import re

import pytest

import pwindow as pw
from pwindow.review.essentials import subject_of
from pwindow.review.report import report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import run_sheet
from pwindow.review.run_sheet_page import run_sheet_html
from pwindow.review.settings import RollVolume
from pwindow.window.setup import Setup
from tests.helpers.trials import read_frame

JARGON = (
    "predictive",
    "interval",
    "probability",
    "conformance",
    "regression",
    "variance",
    "posterior",
    "confidence",
    "deviation",
    "assurance",
    "joint",
    "quantile",
    "sigma",
    "distribution",
    "significan",
    "mean of",
)


@pytest.fixture(scope="module")
def sheet(tag_sheet, read_page):
    return read_page(run_sheet_html(tag_sheet))


@pytest.mark.slow
@pytest.mark.parametrize("product", ["tag_window", "mesh_window"])
def test_no_jargon(product, request, read_page):
    text = read_page(run_sheet_html(run_sheet(subject_of(request.getfixturevalue(product))))).text.lower()
    assert [word for word in JARGON if re.search(rf"\b{word}", text)] == []


def test_settings_with_their_tolerances(sheet):
    assert sheet.tables["settings"][0] == ["", "roll", "plate", "pressure", "press speed", "ink, film, dryer"]
    rows = {row[0]: row[1:] for row in sheet.rows("settings")}
    assert "allows for settings anywhere in “hold within”" in sheet.text
    assert rows["set to"][:4] == ["2047", "laser-imaged", "50 µm", "97.8 m/min"]
    assert "as in the trial" in rows["set to"][4]
    volume, plate, *held = rows["hold within"]
    assert "7.2 cm³/m²" in volume and "measurement date unknown" in volume
    assert plate == "lines 30 µm, gaps 60 µm wide on the plate"
    assert held == ["45 to 55 µm", "95.8 to 99.8 m/min"]
    assert rows["tried"] == ["20 to 80 µm", "30 to 120 m/min"]
    assert rows["actual"] == [""] * 5


def test_nothing_is_held_beyond_what_was_tried(edge):
    rows = {row[0]: row[1:] for row in edge.rows("settings")}
    assert rows["hold within"][2:] == [
        "75 to 80 µm (above 80 µm: not tried)",
        "30 to 30.6 m/min (below 30 m/min: not tried)",
    ]


@pytest.mark.slow
def test_the_only_value_tried_is_no_range(demo_rows, tag, read_page):
    rows = demo_rows[demo_rows["pressure [um]"] == 50.0].drop(columns="pressure [um]")
    trial = read_frame(rows.assign(**{"pressure [N/mm]": 4.0}))
    assurance = dataclasses.replace(tag.assurance, pressure_tolerance="0.5 N/mm")
    subject = subject_of(pw.find_window(pw.fit(trial), dataclasses.replace(tag, assurance=assurance)))
    rows = {row[0]: row[1:] for row in read_page(run_sheet_html(run_sheet(subject))).rows("settings")}
    assert rows["hold within"][2] == "4 N/mm"
    assert rows["tried"][0] == "4 N/mm (the only value tried)"
    text = read_page(report_html(report(subject))).text
    assert "4 N/mm the only value" in text and "4 N/mm 4 N/mm" not in text
    assert "did not vary pressure" in text and "N/mm may go" not in text


def test_two_outcomes_are_told_apart(sheet, edge):
    for page in (sheet, edge):
        changed, rejected = page.text.split("Outside “prints as in the trial”")[1].split(
            "Inside that, but outside"
        )
        assert "against part 1" in changed and "m/min" not in changed and "call the engineer" in changed
        assert "Reject the print" in rejected and "The press is not at fault" in rejected
        assert "first column" not in page.text


def test_less_than_asked_for_is_said_in_runs(edge, sheet):
    assert (
        "Only about 10 of 100 prints, each from a new make-ready (perhaps fewer than 1), meet every limit even while"
        in edge.text
    )
    assert "engineer: approved" in edge.text and "engineer: may be run" not in sheet.text


def test_the_stops_are_those_that_were_simulated(sheet, tag_sheet):
    either = math.ceil(100 * tag_sheet.essentials.first_prints.stops.either)
    assert f"about {either} of 100 first prints are stopped" in sheet.text
    assert either > math.ceil(100 * tag_sheet.essentials.first_prints.stops.trial)


def test_no_average_goes_on_where_none_is_both(tag_sheet, read_page):
    essentials = tag_sheet.essentials
    first = essentials.first_prints.limits[0]
    impossible = dataclasses.replace(first, need_high=first.low / 2)
    checks = dataclasses.replace(essentials.first_prints, limits=(impossible,))
    changed = dataclasses.replace(essentials, first_prints=checks)
    page = read_page(run_sheet_html(dataclasses.replace(tag_sheet, essentials=changed)))
    assert page.rows("first-prints")[0][1] == "never: reject"


@pytest.mark.slow
def test_the_open_area_stands_as_the_width_it_allows(mesh_window, read_page):
    """(1 − w/900)² ≥ 0.855, so w ≤ 900 (1 − √0.855) = 67.8 µm."""
    page = read_page(run_sheet_html(run_sheet(subject_of(mesh_window))))
    rows = {row[0]: row[1:] for row in page.rows("first-prints")}
    assert rows["line width, average of 4 lines"][2] == "at most 67.8 µm, for open area at least 85.5 %"


def test_limits_of_the_first_prints(sheet, tag_sheet):
    rows = sheet.rows("first-prints")
    for one in tag_sheet.essentials.first_prints.limits:
        row = next(row for row in rows if row[0].startswith(one.label))
        assert row[0].endswith(f", average of {one.measured}") is (one.features > 1)
        assert row[2] == f"{one.low:.3g} to {one.high:.3g} {one.unit}"
        low, high = max(one.low, one.need_low), min(one.high, one.need_high)
        assert row[1] == f"{low:.3g} to {high:.3g} {one.unit}"
    assert rows[0][3] == "at most 330 Ω" and rows[0][1].endswith("to 330 Ω")
    assert rows[-1][:2] == ["bridged gaps, of 48", "none"]


def test_every_gap_must_hold_and_not_their_average_alone(sheet):
    rows = {row[0]: row[1:] for row in sheet.rows("first-prints")}
    assert re.fullmatch(
        r"every one of 48: 16 to 42 µm, so average 2[\d.]+ to 3[\d.]+ µm", rows["gap, average of 3 gaps"][2]
    )
    assert (
        rows["smallest of the 3 gaps"][0] == "at least 16 µm"
        and rows["largest of the 3 gaps"][0] == "at most 42 µm"
    )
    assert "leave a margin, so that the worst gap passes in 95 of 100 prints" in sheet.text


def test_never_beyond_what_was_tried(sheet):
    """The only other speeds on the sheet are those of the assured band and of the trial."""
    speeds = {float(one) for one in re.findall(r"([\d.]+) m/min", sheet.text)}
    assert speeds <= {97.8, 99.8, 120.0, 83.9}


@pytest.fixture(scope="module")
def edge(tag_window, read_page):
    """A set-up at the end of the trial, which conforms in 9 of 100 runs."""
    return read_page(
        run_sheet_html(
            run_sheet(subject_of(tag_window, Setup("laser-imaged", tag_window.rolls[0], 80.0, 30.0)))
        )
    )


@pytest.mark.slow
def test_the_last_measurement_of_the_roll(tag_window, read_page):
    volumes = {"2047": RollVolume(7.15, datetime.date(2026, 10, 30), "after <cleaning>")}
    sheet = read_page(run_sheet_html(run_sheet(subject_of(tag_window, volumes=volumes))))
    told = {row[0]: row for row in sheet.rows("settings")}["hold within"][1]
    assert "7.15 cm³/m²" in told and "2026-10-30" in told and "cleaning" not in sheet.tags


def test_needs_no_script(sheet):
    assert "script" not in sheet.tags


def test_it_names_the_measured_plates_that_have_the_pattern(plates_surfaces, plates_trial, sensor, study):
    record = plates_trial.plates.features.loc["L1"]
    width, gap = record.loc["along 45", "plate_width"], record.loc["gap 55", "plate_gap"]
    lips = record.loc["gap 55", "lip_width"]
    pattern = dataclasses.replace(
        sensor.pattern, plate="laser-imaged", plate_width=width, plate_gap=gap, lip_width=lips
    )
    product = dataclasses.replace(sensor, pattern=pattern).with_assurance(0.5)
    subject = subject_of(pw.find_window(plates_surfaces, product, study))
    sheet = run_sheet(subject)
    assert list(sheet.pattern.measured) == ["L1"]
    assert f"plate L1: along 45 {width:.1f} µm, gap 55 {gap:.1f} µm" in run_sheet_html(sheet).replace(
        "\xa0", " "
    )
    assert "L2 (18 features)" in report_html(report(subject))
