"""The archive that version 0.1 made opens, and says what it said then.

``archive_0_1.db`` was made by the commands of version 0.1: the demo's first trial added and fitted for the
tag with the demo's study, its second trial added and accepted as a changed process, a volume of roll 2047
kept, a second fit for the tag, and the prints of the run added by `confirm`.
"""

import shutil
from pathlib import Path

import pytest

import pwindow as pw
from pwindow.study import Roll
from pwindow.trials.archive import Archive


@pytest.fixture
def kept(tmp_path):
    path = tmp_path / "archive.db"
    shutil.copy(Path(__file__).parent / "archive_0_1.db", path)
    return Archive(str(path))


def test_its_trials_keep_their_standings_and_reasons(kept):
    trials = kept.trials()
    assert list(trials["name"]) == ["trial_first.csv", "trial_second.csv", "run_tag.csv"]
    assert list(trials["standing"]) == ["same process", "changed process", "undecided"]
    assert list(trials["features"]) == [650, 240, 42]
    assert trials["reason"][2] == "new ink batch"


def test_its_trials_are_what_their_files_say(kept):
    for number in kept.trials().index:
        stored, read = kept.trial([number]), pw.read_trial(kept.file(number))
        assert stored.fingerprint == read.fingerprint


def test_its_rolls_and_fits_are_as_they_were(kept):
    assert kept.rolls() == (Roll("2047", 4.35),)
    assert list(kept.fits()["fingerprint"]) == ["e2f07ee7a185", "831f6bb24aae"]


def test_it_takes_more(kept):
    kept.decide(3, "same process", "as promised")
    assert kept.trials()["standing"][3] == "same process"
