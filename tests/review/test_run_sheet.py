"""The run sheet: plain words, settings with tolerances, and limits of the first prints."""

import datetime
import re

import pytest

from pwindow.review import RollVolume, review, run_sheet_html

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
def sheet(tag_review, read_page):
    return read_page(run_sheet_html(tag_review))


@pytest.mark.parametrize("product", ["tag_window", "mesh_window"])
def test_no_jargon(product, request, read_page):
    text = read_page(run_sheet_html(review(request.getfixturevalue(product)))).text.lower()
    assert [word for word in JARGON if re.search(rf"\b{word}", text)] == []


def test_settings_with_their_tolerances(sheet):
    rows = {row[0]: row[1:] for row in sheet.rows("settings")}
    assert rows["press speed"][:3] == ["98.8 m/min", "96.8 to 100.8 m/min", "30 to 120 m/min"]
    assert rows["pressure"][:3] == ["50 µm", "45 to 55 µm", "20 to 80 µm"]
    assert rows["roll"][0] == "2047" and "not on record" in rows["roll"][1]
    assert rows["plate"][0] == "laser-imaged"


def test_limits_of_the_first_prints(sheet, tag_review):
    rows = sheet.rows("first-prints")
    for row, one in zip(rows, tag_review.first):
        assert row[1] == f"{one.low:.3g} to {one.high:.3g} {one.unit}"
    assert rows[0][:3] == ["1 × line resistance over 80 mm", rows[0][1], "at most 330 Ω"]
    assert rows[-1][:2] == ["bridged of 48 gaps", "none"]


def test_never_beyond_what_was_tried(sheet):
    """The only other speeds on the sheet are those of the assured band and of the trial."""
    speeds = {float(one) for one in re.findall(r"([\d.]+) m/min", sheet.text)}
    assert speeds <= {98.8, 100.8, 120.0, 83.9}


def test_the_last_measurement_of_the_roll(tag_window, read_page):
    volumes = {"2047": RollVolume(7.15, datetime.date(2026, 10, 30), "after <cleaning>")}
    sheet = read_page(run_sheet_html(review(tag_window, volumes=volumes)))
    told = {row[0]: row for row in sheet.rows("settings")}["roll"][2]
    assert "7.15 cm³/m²" in told and "2026-10-30" in told and "cleaning" not in sheet.tags


def test_needs_no_script(sheet):
    assert "script" not in sheet.tags
