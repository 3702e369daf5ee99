"""What is tried on a scratch copy of an archive is kept nowhere."""

from pathlib import Path

import pandas as pd
import pytest

import pwindow as pw
from pwindow.inputs import InputFile


@pytest.fixture
def second():
    return InputFile.of(pw.demo("trial_second.csv"))


def test_fits_are_made_from_the_same_numbers(filled):
    with filled.scratch([1], []) as scratch:
        copied, there = scratch.trial([1]), filled.trial([1])
    assert copied.fingerprint == there.fingerprint and copied.files == there.files
    pd.testing.assert_frame_equal(copied.cells, there.cells)
    pd.testing.assert_frame_equal(copied.prints, there.prints)


def test_what_is_added_to_it_is_not_in_the_archive(filled, second):
    with filled.scratch([1], []) as scratch:
        number = scratch.add(second).trial
        assert set(scratch.trial([1, number]).files) == {"trial_first.csv", "trial_second.csv"}
        folder = Path(scratch.address).parent
    assert list(filled.trials()["name"]) == ["trial_first.csv"] and not folder.exists()


def test_it_has_the_trials_and_the_declarations_that_were_asked_for(filled, second):
    tag = filled.keep_declaration("product", InputFile.of(pw.demo("tag.toml")))
    filled.add(second)
    with filled.scratch([2], [tag]) as scratch:
        assert list(scratch.trials().index) == [2]
        assert scratch.declaration(tag).content == pw.demo("tag.toml").read_bytes()
