"""``--planned-roll``: rolls that do not exist yet, marked as planned, with the checks of the page."""

import pytest

import pwindow as pw
from tests.helpers.commands import answer, misused, refused, run
from tests.helpers.words import plain

BCM = 1 / 0.64516
"""cm³/m²"""


@pytest.fixture(scope="module")
def judged(first, tag_file):
    return first, "--product", tag_file, "--study", pw.demo("study.toml")


def test_speeds_have_the_planned_rolls(judged):
    options = ("speeds", *judged, "--planned-roll", "3.9 BCM", "--planned-roll", "6.6 cm³/m²")
    found = answer(*options)
    assert found["planned_rolls"] == pytest.approx({"new 1": 3.9 * BCM, "new 2": 6.6})
    assert found["notes"][-1] == "roll new 2 (6.6 cm³/m²) is planned: you do not have it yet"
    volumes = {band["roll"]: band["cell_volume_cm3_m2"] for band in found["bands"]}
    assert volumes["new 2"] == 6.6 and "1318" in volumes
    text = run(*options).stdout
    assert "new 1 (planned)" in text and "note: roll new 1 (6.05 cm³/m²) is planned" in text
    assert "planned_rolls" not in answer("speeds", *judged)


def test_a_set_up_may_name_a_planned_roll(first, tag_file):
    at = ("--at", "roll=new 1, speed=60 m/min, pressure=50 µm, plate=laser-imaged")
    options = ("predict", first, *at, "--planned-roll", "6.3 cm³/m²")
    found = answer(*options)
    assert found["planned_rolls"] == {"new 1": 6.3}
    assert found["points"][0]["at"]["cell_volume_cm3_m2"] == 6.3
    assert run(*options).stdout.startswith("note: roll new 1 (6.3 cm³/m²) is planned")
    assert "planned_rolls" not in answer("predict", first, *at[:1], at[1].replace("new 1", "1318"))
    assert "roll “new 1” is not in the inventory" in misused("predict", first, *at, "--product", tag_file)


@pytest.mark.parametrize(
    "typed, words",
    [
        (
            "9 cm³/m²",
            "a roll of 9 cm³/m² cannot be judged: the trial covers cell volumes from 2.4 to 7.2 cm³/m²",
        ),
        ("4.4 cm³/m²", "4.4 cm³/m²: already in the inventory as roll 1203"),
    ],
)
def test_a_roll_that_makes_no_sense_is_refused(judged, typed, words):
    assert words in refused("speeds", *judged, "--planned-roll", typed)


@pytest.mark.parametrize("typed", ["6", "six", "6 kg"])
def test_a_volume_needs_its_unit(judged, typed):
    assert "--planned-roll" in misused("speeds", *judged, "--planned-roll", typed)


def test_a_roll_is_planned_once(judged):
    twice = ("--planned-roll", "6 cm³/m²", "--planned-roll", "6.0 cm³/m²")
    assert "already planned as roll new 1" in refused("speeds", *judged, *twice)


@pytest.mark.slow
def test_documents_state_planned_rolls(judged, tmp_path):
    file = tmp_path / "review.html"
    options = (*judged, "--planned-roll", "6.6 cm³/m²", "--at", "roll=new 1, speed=60 m/min")
    said = run("review", *options, "-o", file).stdout
    assert "roll new 1 (planned)" in said
    html = plain(file.read_text(encoding="utf-8"))
    for words in (
        "Roll new 1 is planned; you do not have it yet",
        "Slower and faster with roll new 1 (planned)",
        "new 1 (planned) 6.6 cm³/m²",
        "--planned-roll &#39;6.6 cm³/m²&#39;",
    ):
        assert words in html, words
    numbers = answer("review", *options)
    assert "roll new 1 (6.6 cm³/m²) is planned: you do not have it yet" in numbers["notes"]
    refusal = refused("run-sheet", *options, "-o", tmp_path / "sheet.html")
    assert "only planned: a run sheet needs a roll that can be mounted" in refusal
    assert not (tmp_path / "sheet.html").exists()
