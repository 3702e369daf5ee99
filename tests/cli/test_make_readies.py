"""Every answer says so where a trial does not tell how far make-readies differ."""

import re

import pytest

from tests.helpers.commands import answer, refused, run


@pytest.fixture(scope="module")
def unrecorded(demo_rows, tmp_path_factory):
    path = tmp_path_factory.mktemp("unrecorded") / "trial.csv"
    demo_rows.drop(columns="make_ready").to_csv(path, index=False)
    return path


@pytest.fixture(scope="module")
def stating(tmp_path_factory):
    """A study that says that each print was mounted anew."""
    path = tmp_path_factory.mktemp("stating") / "press.toml"
    path.write_text('[make_readies]\nunrecorded = "each print"\n', encoding="utf-8")
    return path


SENTENCE = "make_ready is not recorded"


def test_check_counts_no_make_readies_that_nobody_recorded(unrecorded):
    assert f"65 prints ({SENTENCE})" in run("check", unrecorded).stdout
    assert answer("check", unrecorded)["make_readies"] is None


@pytest.mark.slow
def test_fit_says_it_first(unrecorded):
    text = run("fit", unrecorded).stdout
    first = text[text.index("warnings, serious ones first") :].splitlines()[1]
    assert first.startswith(f"1. {SENTENCE}")


@pytest.mark.slow
def test_speeds_says_it_above_its_bands(unrecorded, tag_file):
    text = run("speeds", unrecorded, "--product", tag_file).stdout
    assert text.index(SENTENCE) < text.index("speed band, m/min")
    found = answer("speeds", unrecorded, "--product", tag_file)["trial"]["make_readies"]
    assert found["spread_measured"] is False and found["known"] == "not recorded"
    assert SENTENCE in found["assumption"]


@pytest.mark.slow
def test_predict_says_it(unrecorded, tag_file):
    at = "speed=80 m/min, roll=2047, pressure=50 µm, plate=laser-imaged"
    assert SENTENCE in run("predict", unrecorded, "--product", tag_file, "--at", at).stdout


@pytest.mark.slow
def test_documents_say_it_beside_the_promise(unrecorded, tag_file, tmp_path):
    for command in ("review", "run-sheet"):
        file = tmp_path / f"{command}.html"
        assert run(command, unrecorded, "--product", tag_file, "-o", file).exit_code == 0
        words = re.sub(r"<script>.*?</script>|<[^>]+>", "", file.read_text(encoding="utf-8"), flags=re.S)
        assert "Make_ready is not recorded" in words
        assert "raised no warnings" not in words


@pytest.mark.slow
def test_calibrate_says_what_it_cannot_see(unrecorded, tag_file, first):
    told = run("calibrate", unrecorded, "--product", tag_file, "--trials", 2).stdout
    assert SENTENCE in told and "do not show here" in told
    told = run("calibrate", first, "--product", tag_file, "--trials", 2).stdout
    assert SENTENCE not in told and "do not show here" in told


@pytest.mark.slow
def test_a_study_can_state_it(unrecorded, tag_file, stating, first):
    asked = ["speeds", unrecorded, "--product", tag_file, "--study", stating]
    assert SENTENCE not in run(*asked).stdout
    speeds = [
        answer(*one)["recommended"]["speed_m_min"]
        for one in (asked, asked[:4], ["speeds", first, "--product", tag_file])
    ]
    assert speeds[1] < speeds[2] - 5.0 and abs(speeds[0] - speeds[2]) < 2.0


def test_a_study_is_checked(first, tmp_path):
    for line, reason in (
        ('unrecorded = "all"', "“all” is not recognised"),
        ('line_height = "5 µm"', "cannot be converted"),
        ("known_from = 1", "whole number from 2"),
        ("known_from = true", "whole number from 2"),
        ('spread = "5 %"', "“spread” is not recognised"),
    ):
        study = tmp_path / "press.toml"
        study.write_text(f"[make_readies]\n{line}\n", encoding="utf-8")
        assert reason in refused("fit", first, "--study", study)


@pytest.mark.slow
def test_the_archive_keeps_what_a_study_states(unrecorded, tag_file, stating, tmp_path):
    """A fit made again from the archive stands on the same statement."""
    archive = tmp_path / "trials.db"
    run("add", unrecorded, "--archive", archive)
    asked = ["refit", "--archive", archive, "--product", tag_file]
    plain = answer(*asked)["fit"]
    stated = answer(*asked, "--study", stating)["fit"]
    assert plain["fingerprint"] != stated["fingerprint"]
    assert "identical to the last printed digit" in run("compare", 2, "--archive", archive).stdout
