"""``pwindow refit``, ``fits`` and ``compare``."""

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
from sqlalchemy import create_engine, text

import pwindow as pw
from tests.helpers.commands import answer, refused, run

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    return tmp_path_factory.mktemp("archive") / "trials.db"


@pytest.fixture(scope="module")
def refitted(first, archive, tag_file):
    """Answers of the fit of the first trial, and of both once the second was accepted as a change."""
    answer("add", first, pw.demo("trial_second.csv"), "--archive", archive)
    one = answer("refit", "--archive", archive, "--product", tag_file)
    answer("accept-change", 2, "--archive", archive, "--reason", "another ink batch")
    return one, answer("refit", "--archive", archive, "--product", tag_file)


def test_a_fit_says_what_it_stands_on(refitted):
    one, other = (answer["fit"] for answer in refitted)
    assert [trial["number"] for trial in one["trials"]] == [1]
    assert [trial["standing"] for trial in other["trials"]] == ["same process", "changed process"]
    assert one["fingerprint"] != other["fingerprint"] and len(one["fingerprint"]) == 12
    assert {"pwindow", "python", "numpy", "scipy", "pandas"} <= set(one["versions"])
    assert one["terms"] == "all" and len(one["products"]) == 1


def test_the_first_fit_has_nothing_to_be_compared_with(refitted):
    assert refitted[0]["compared"] is None


@pytest.mark.slow
def test_what_moved_and_which_trial_moved_it(refitted, first, tag_file):
    compared = refitted[1]["compared"]
    (name,) = compared["recommended"]
    best = compared["recommended"][name]
    said = answer("speeds", first, "--product", tag_file)["recommended"]
    assert best["before"]["speed_m_min"] == said["speed_m_min"]
    # lines of the second trial are lower
    assert best["after"]["speed_m_min"] < best["before"]["speed_m_min"]
    without = {row["trial"]: row["speed_without"] for row in compared["influence"]}
    assert without[2] == best["before"]["speed_m_min"] and without[1] != best["after"]["speed_m_min"]
    state = [row for row in compared["coefficients"] if row["term"] == "state=trial_first.csv"]
    height = next(row for row in state if row["response"] == "line_height")
    assert height["before"] is None and height["after"] > 0.02
    bands = {(row["roll"], row["pressure"]): row for row in compared["bands"]}
    assert bands["2047", 50.0]["fastest_after"] == best["after"]["speed_m_min"]


@pytest.mark.slow
def test_the_same_fit_is_kept_once(refitted, archive, tag_file):
    again = answer("refit", "--archive", archive, "--product", tag_file)
    assert again["fit"] == refitted[1]["fit"]
    kept = answer("fits", "--archive", archive)["fits"]
    assert [one["fingerprint"] for one in kept] == [one["fit"]["fingerprint"] for one in refitted]


@pytest.mark.slow
def test_two_fits_by_number_and_by_fingerprint(refitted, archive):
    by_number = answer("compare", 1, 2, "--archive", archive)
    prints = [one["fit"]["fingerprint"] for one in refitted]
    assert answer("compare", prints[0], prints[1][:6], "--archive", archive) == by_number
    assert by_number["recommended"] == refitted[1]["compared"]["recommended"]


@pytest.mark.slow
@pytest.mark.parametrize("number", [1, 2])
def test_a_fit_comes_out_again_to_the_last_printed_digit(refitted, archive, number):
    """Also the first, although the standing of a trial has changed since."""
    again = answer("compare", number, "--archive", archive)
    assert again["same_as_printed"] and again["differences"] == []
    assert again["verified"] and again["changed"] == []


@pytest.mark.slow
def test_a_number_that_changed_would_be_seen(refitted, archive):
    engine = create_engine(f"sqlite:///{archive}")
    with engine.begin() as connection:
        kept = json.loads(connection.scalar(text("SELECT answer FROM fits WHERE id = 1")))
        speed = kept["surfaces"]["line_height"]["coefficients"]["speed"]
        speed[0] *= 1.001
        connection.execute(
            text("UPDATE fits SET answer = :answer WHERE id = 1"), {"answer": json.dumps(kept)}
        )
    result = run("compare", 1, "--archive", archive, "--json")
    assert result.exit_code == 1 and "fit 1 is not reproduced as it was stored" in result.stderr
    found = json.loads(result.stdout)
    assert not found["same_as_printed"] and found["verified"]
    assert len(found["differences"]) == 1
    assert found["differences"][0].startswith("surfaces, line_height, coefficients, speed 1: ")


@pytest.mark.slow
def test_what_was_changed_in_an_archive_is_told(tmp_path):
    archive = tmp_path / "old.db"
    shutil.copy(Path(__file__).parents[1] / "trials" / "archive" / "archive_0_1.db", archive)
    told = run("compare", 1, "--archive", archive)
    assert told.exit_code == 1, "version 0.4 has another prior"
    assert "files, rows and decisions are unchanged; the fit was made with pwindow 0.1" in told.stdout
    assert "recommended, speed_m_min: 98.8 and 97.8" in told.stdout
    with create_engine(f"sqlite:///{archive}").begin() as connection:
        connection.execute(text("UPDATE decisions SET reason = 'another' WHERE id = 1"))
        connection.execute(text("UPDATE features SET line_width = line_width + 1 WHERE trial = 1 AND at = 2"))
    told = run("compare", 1, "--archive", archive)
    assert told.exit_code == 1
    assert "decision 1, “same process” about trial 1, does not match its seal" in told.stdout
    assert "table features, trial 1, column line_width: 1 of 650 rows" in told.stdout
    assert told.stderr.startswith(
        "fit 1 is not reproduced as it was stored, or the data it used were changed"
    )


@pytest.mark.slow
def test_as_text(refitted, archive):
    told = run("compare", 1, 2, "--archive", archive).stdout
    assert (
        "fit 1 (" in told
        and "before: " in told
        and "recommended speed with all trials and with one left out" in told
    )
    assert "trials 1 (same process), 2 (changed process)" in run("fits", "--archive", archive).stdout


def test_fits_that_are_not_there(refitted, archive):
    assert "there is no fit “9”" in refused("compare", 9, "--archive", archive)
    assert "there is no fit “abcdef”" in refused("compare", 1, "abcdef", "--archive", archive)


def test_an_archive_without_a_fit(first, tmp_path):
    archive = tmp_path / "new.db"
    run("add", first, "--archive", archive)
    assert "make one with `pwindow refit`" in run("fits", "--archive", archive).stdout


@pytest.mark.slow
def test_the_windows_of_two_fits_as_a_picture(refitted, archive, tmp_path):
    picture = tmp_path / "windows.html"
    result = run("compare", 1, 2, "--archive", archive, "--picture", picture)
    assert result.exit_code == 0 and f"picture: {picture}" in result.stderr
    assert "dashed: before" in picture.read_text(encoding="utf-8")


def test_two_products_of_one_name_are_refused(archive, tag_file, tmp_path):
    other = tmp_path / "tag_b.toml"
    other.write_text(
        Path(tag_file).read_text(encoding="utf-8").replace("330 ohm", "260 ohm"), encoding="utf-8"
    )
    said = refused("refit", "--archive", archive, "--product", tag_file, "--product", other)
    assert "both declare a product “Grain moisture tag”" in said


@pytest.mark.slow
def test_what_was_asked_otherwise_is_told(refitted, archive, tag_file, tmp_path):
    other = tmp_path / "tag_b.toml"
    other.write_text(
        Path(tag_file).read_text(encoding="utf-8").replace("330 ohm", "260 ohm"), encoding="utf-8"
    )
    mesh = pw.demo("mesh.toml")
    compared = answer("refit", "--archive", archive, "--product", other, "--product", mesh)["compared"]
    assert (
        "its requirements or its pattern differ" in compared["changes"][0]
        and "260 Ω" in compared["changes"][0]
    )
    assert compared["recommended"]["De-fogging heater mesh"]["judged_before"] is False
    numbers = [str(compared[side]["number"]) for side in ("before", "after")]
    assert "not judged" in run("compare", *numbers, "--archive", archive).stdout


@pytest.mark.slow
def test_coefficients_of_other_ranges_are_not_compared(first, tag_file, tmp_path):
    archive, slow = tmp_path / "trials.db", tmp_path / "slow.csv"
    rows = pd.read_csv(first, dtype={"roll": str})
    rows[rows["speed [m/min]"] < 90].to_csv(slow, index=False)
    fast = tmp_path / "fast.csv"
    rows[rows["speed [m/min]"] >= 90].to_csv(fast, index=False)
    answer("add", slow, "--archive", archive)
    answer("refit", "--archive", archive, "--product", tag_file)
    answer("add", fast, "--archive", archive, "--accept", "--reason", "the rest")
    compared = answer("refit", "--archive", archive, "--product", tag_file)["compared"]
    assert all(row["in_std_errors"] is None for row in compared["coefficients"])
    assert "do not compare the coefficients one by one" in compared["changes"][-1]
