"""``pwindow calibrate``: simulated trials of the user's own layout."""

import json

import pytest

from pwindow.cli.tables import _recommended_text
from tests.helpers.commands import misused, run


@pytest.fixture(scope="module")
def asked(first, tag_file):
    return ["calibrate", first, "--product", tag_file, "--trials", "2"]


@pytest.mark.slow
def test_document_and_picture(asked, tmp_path):
    picture = tmp_path / "kept.html"
    result = run(*asked, "--json", "--picture", picture)
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    keys = ["product", "simulated_trials", "bands", "recommended", "unusable", "trial"]
    assert list(found) == keys and found["simulated_trials"] == 2
    assert sum(band["judgements"] for band in found["bands"]) == 2 * 600
    assert found["recommended"]["trials"] == 2 and found["recommended"]["stated"] >= 0.95
    assert "simulated trials" in result.stderr and str(picture) in result.stderr
    page = picture.read_text(encoding="utf-8")
    assert "observed share of runs that meet all requirements" in page and 'src="http' not in page


@pytest.mark.slow
def test_text(asked):
    result = run(*asked)
    assert result.exit_code == 0, result.stderr
    assert "observed" in result.stdout and "at the recommended set-up of 2 of 2 trials" in result.stdout
    assert "tenth" not in result.stdout


def test_the_least_fortunate_tenth_needs_ten_trials():
    best = {
        "stated": 0.95,
        "realised": 0.94,
        "realised_std_error": 0.01,
        "realised_lowest_tenth": 0.9,
        "share_reaching_level": 0.6,
    }
    assert "tenth of trials at most 0.900" in _recommended_text(best | {"trials": 10}, 12)
    assert "tenth" not in _recommended_text(best | {"trials": 9}, 12)


def test_a_picture_that_cannot_be_written_is_wrong_usage(asked, tmp_path):
    assert "--picture" in misused(*asked, "--picture", tmp_path / "nowhere" / "kept.html")


@pytest.mark.parametrize("trials", ["0", "1", "many"])
def test_too_few_trials_are_wrong_usage(asked, trials):
    misused(*asked[:-1], trials)
