"""Commands that keep trials and decide about them."""

import json
import re
from pathlib import Path

import pytest

import pwindow as pw
from tests.helpers.commands import answer, misused, refused, run


@pytest.fixture
def archive(tmp_path):
    return tmp_path / "trials.db"


@pytest.fixture
def second():
    return pw.demo("trial_second.csv")


@pytest.mark.slow
def test_from_the_first_trial_to_a_decision(first, second, archive, tag_file):
    added = answer("add", first, "--archive", archive)["added"][0]
    assert (added["trial"], added["standing"], added["agreement"]) == (1, "same process", None)
    added = answer("add", second, "--archive", archive)["added"][0]
    assert (added["trial"], added["standing"], added["known"]) == (2, "undecided", False)
    agreement = added["agreement"]
    assert not agreement["agrees"] and agreement["responses"]["line_height"]["shift"] < 0
    assert len(agreement["sentences"]) == 6 and agreement["bridged_gaps"]["p"] > 0.1
    assert answer("fit", "--archive", archive)["trial"]["prints"] == 65
    answer("accept", 2, "--archive", archive, "--reason", "the ink of the next runs")
    assert answer("fit", "--archive", archive)["trial"]["prints"] == 65 + 24
    listed = answer("set-aside", 2, "--archive", archive, "--reason", "old ink")["trials"]
    assert [trial["standing"] for trial in listed] == ["same process", "set aside"]
    assert listed == answer("trials", "--archive", archive)["trials"]
    assert listed[1]["reason"] == "old ink"
    history = answer("trials", 2, "--archive", archive)["history"]
    found = next(event for event in history if "told" in event)
    assert found["told"] == agreement["sentences"] and found["against"] == agreement["against"]
    decided = [event["standing"] for event in history if "standing" in event]
    assert (
        found["told"][-1].startswith("How this is judged") and "fewer than 1 % of trials" in found["told"][-1]
    )
    assert decided == ["undecided", "same process", "set aside"]
    assert re.search(r"consistently [\d.]+ % low", run("trials", 2, "--archive", archive).stdout)


@pytest.mark.slow
def test_an_archive_answers_as_its_file(first, archive, tag_file):
    answer("add", first, "--archive", archive)
    ours = answer("speeds", "--archive", archive, "--product", tag_file)
    assert ours == answer("speeds", first, "--product", tag_file)


@pytest.mark.slow
def test_the_usual_archive_stands_in_the_environment(first, archive, monkeypatch):
    monkeypatch.setenv("PWINDOW_ARCHIVE", str(archive))
    answer("add", first)
    assert answer("check")["prints"] == 65
    assert answer("check", first)["prints"] == 65, "files come before the usual archive"


@pytest.mark.slow
def test_the_same_file_twice(first, archive):
    run("add", first, "--archive", archive)
    again = run("add", first, "--archive", archive)
    assert again.exit_code == 0 and "already in the archive" in again.stdout


@pytest.mark.slow
def test_add_tells_what_to_do_next(first, second, archive):
    result = run("add", first, second, "--archive", archive)
    assert "the first trial" not in result.stdout and "used in fits from now on" in result.stdout
    assert "it does not agree" in result.stdout and re.search(r"consistently [\d.]+ % low", result.stdout)
    for command in ("accept", "accept-change", "set-aside"):
        assert f"pwindow {command} 2 --archive {archive} --reason" in result.stdout


@pytest.mark.slow
def test_accepted_while_added(first, second, archive):
    answer("add", first, "--archive", archive)
    added = answer("add", second, "--archive", archive, "--accept", "--reason", "same ink")["added"][0]
    assert added["standing"] == "same process" and added["agreement"] is not None


def test_a_refused_file_leaves_the_archive_as_it_was(first, archive, tmp_path):
    answer("add", first, "--archive", archive)
    bad = tmp_path / "bad.csv"
    bad.write_text(Path(first).read_text().replace(",30.0,", ",fast,", 1))
    assert "fast" in refused("add", bad, "--archive", archive)
    assert len(answer("trials", "--archive", archive)["trials"]) == 1


def test_what_cannot_be_done(first, archive):
    assert "create it with `pwindow add`" in refused("trials", "--archive", archive)
    assert "create it with `pwindow add`" in refused("fit", "--archive", archive)
    assert not archive.exists()


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["fit"], "give trial FILEs, or --archive"),
        (["trials"], "name the archive"),
        (["add", "--archive", "a.db"], "give trial FILEs to add"),
        (["accept", "--archive", "a.db", "--reason", "x"], "NUMBER"),
    ],
)
def test_wrong_usage(arguments, words):
    assert words in misused(*arguments)


def test_files_and_an_archive_are_too_much(first, archive):
    assert "not both" in misused("fit", first, "--archive", archive)


def test_a_decision_needs_a_trial_and_a_reason(first, archive):
    answer("add", first, "--archive", archive)
    assert "no trial 9" in refused("set-aside", 9, "--archive", archive, "--reason", "x")
    assert "set-aside needs a --reason" in misused("set-aside", 1, "--archive", archive)


def test_json_is_one_document(first, archive):
    result = run("add", first, "--archive", archive, "--json")
    assert set(json.loads(result.stdout)) == {"archive", "added"}


@pytest.mark.slow
def test_measured_against_predicted_as_a_picture(first, second, archive, tmp_path):
    picture = tmp_path / "second.html"
    run("add", first, "--archive", archive)
    result = run("add", second, "--archive", archive, "--picture", picture)
    assert result.exit_code == 0 and "measured against predicted" in picture.read_text(encoding="utf-8")
    assert "one FILE at a time" in misused("add", first, second, "--archive", archive, "--picture", picture)


@pytest.mark.slow
def test_dated_volumes_of_rolls(first, archive, tag_file):
    answer("add", first, "--archive", archive)
    assert "no roll measurements" in run("rolls", "--archive", archive).stdout
    keep = ("rolls", "--archive", archive, "--roll", "2047", "--volume")
    answer(*keep, "7.0 cm3/m2", "--measured", "2026-01-10", "--note", "before cleaning")
    found = answer(*keep, "4.2 BCM", "--measured", "2025-06-01")
    assert found["rolls"]["2047"] == 7.0, "the last measured counts, not the last told"
    assert list(found["rolls"]) == ["0412", "0655", "1203", "1318", "2047"], "those of the trial stay"
    assert [one["measured"] for one in found["measurements"]] == ["2025-06-01", "2026-01-10"]
    assert found["measurements"][0]["cell_volume"] == pytest.approx(4.2 * 1.55, rel=1e-4)
    fit = answer("refit", "--archive", archive, "--product", tag_file)["fit"]
    assert fit["rolls"] == found["rolls"]
    gone = answer("rolls", "--archive", archive, "--roll", "0655", "--gone")
    assert list(gone["rolls"]) == ["0412", "1203", "1318", "2047"]
    assert "0655" not in run("speeds", "--archive", archive, "--product", tag_file).stdout
    for bad in ("7", "7 kg", "-1 cm3/m2"):
        assert "--volume" in misused(*keep, bad)
    assert "in the future" in misused(*keep, "7 cm3/m2", "--measured", "2999-01-01")
    assert "together" in misused("rolls", "--archive", archive, "--roll", "2047")
