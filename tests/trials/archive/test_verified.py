"""What was changed in an archive after a fit was kept is found, and nothing else is."""

import datetime
import json
import shutil
from pathlib import Path

import pytest
from sqlalchemy import text

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.surfaces.fingerprint import digest
from pwindow.trials.archive import Archive, checksum_of
from pwindow.workflows.kept import kept_fit
from pwindow.workflows.verify import verify

OLD = Path(__file__).parent / "archive_0_1.db"


def changed(archive, order, **values):
    with archive._writing() as connection:
        assert connection.execute(text(order), values).rowcount != 0
    return verify(archive, kept_fit(archive, "1"))


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    path = tmp_path_factory.mktemp("template") / "archive.db"
    made = Archive(str(path))
    put_into(made)
    made._engine.dispose()
    return path


@pytest.fixture
def archive(template, tmp_path):
    shutil.copy(template, tmp_path / "archive.db")
    return Archive(str(tmp_path / "archive.db"))


def put_into(archive):
    """Two trials, decisions about them and a fit that notes what it stands on."""
    tag = InputFile.of(pw.demo("tag.toml"))
    archive.add(InputFile.of(pw.demo("trial_first.csv")), "same process", "the first")
    archive.add(InputFile.of(pw.demo("trial_second.csv")))
    archive.decide(2, "set aside", "old ink")
    archive.decide(2, "changed process", "new ink batch")
    trials = archive.trials()
    recipe = {
        "trials": [
            {"number": number, **trials.loc[number, ["name", "fingerprint", "standing"]].to_dict()}
            for number in (1, 2)
        ],
        "products": [checksum_of(tag)],
        "study": None,
        "rolls": {"2047": 7.2},
    }
    archive.keep_fit(
        digest(recipe), json.dumps(recipe), "{}", [("product", tag)], int(trials["decision"].max())
    )
    archive.decide(2, "set aside", "after the fit")


def test_what_nobody_changed_is_as_it_was(archive):
    assert verify(archive, kept_fit(archive, "1")) == []


TAMPERED = [
    ("UPDATE features SET line_height = line_height * 1.01 WHERE trial = 1 AND at = 3", "table features, trial 1, column line_height: 1 of 650 rows"),
    ("UPDATE features SET print = 'A-002' WHERE trial = 1 AND at = 3", "table features, trial 1, column print: 1 of 650"),
    ("DELETE FROM features WHERE trial = 2 AND at = 7", "table features has 239 rows of trial 2"),
    ("UPDATE prints SET speed = speed + 1 WHERE trial = 2 AND at = 0", "table prints, trial 2, column speed: 1 of 24"),
    ("UPDATE cells SET mean = mean * 1.001 WHERE trial = 1 AND at = 5", "table cells, trial 1, column mean: 1 of"),
    ("UPDATE files SET content = :content WHERE name = 'trial_first.csv'", "trial_first.csv, is not the one that was added: its SHA-256 differs"),
    ("UPDATE files SET content = :content WHERE name = 'tag.toml'", "tag.toml is not the file that was stored: its SHA-256 differs"),
    ("UPDATE trials SET fingerprint = 'aaaaaaaaaaaa' WHERE id = 1", "trial 1 has the fingerprint aaaaaaaaaaaa, but its file gives"),
    ("UPDATE trials SET fingerprint = 'aaaaaaaaaaaa' WHERE id = 1", "when fit 1 was made, but now has aaaaaaaaaaaa"),
    ("UPDATE trials SET name = 'another.csv' WHERE id = 1", "decision 1, “same process” about trial 1, does not match its seal"),
    ("UPDATE decisions SET standing = 'set aside' WHERE id = 1", "decision 1, “set aside” about trial 1, does not match its seal"),
    ("UPDATE decisions SET standing = 'same process' WHERE id = 4", "used trial 2 as “changed process”, but the decisions up to then made it “same process”"),
    ("UPDATE decisions SET reason = 'no reason' WHERE id = 3", "decision 3, “set aside” about trial 2, does not match its seal"),
    ("DELETE FROM decisions WHERE id = 3", "decision 4, “changed process” about trial 2, does not match its seal"),
    ("DELETE FROM decisions WHERE id > 3", "decision 4, the last before fit 1, is missing from the archive"),
    ("INSERT INTO decisions (trial, standing, reason, made, seal) SELECT trial, standing, reason, made, seal FROM decisions WHERE id = 5", "decision 6, “set aside” about trial 2, does not match its seal"),
    ("UPDATE fits SET recipe = replace(recipe, 'changed process', 'same process')", "the recipe of fit 1 does not match the fingerprint"),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("order, words", TAMPERED)
def test_what_was_changed_is_found(archive, order, words):
    values = {"content": b"another"} if ":content" in order else {}
    found = changed(archive, order, **values)
    assert any(words in one for one in found), found


def test_a_volume_that_was_changed_is_found(archive):
    archive.keep_volume("2047", 7.0, datetime.date(2026, 1, 10))
    assert verify(archive, kept_fit(archive, "1")) == [], (
        "the volume of the trial is one that the fit may have taken"
    )
    found = changed(
        archive, "UPDATE fits SET recipe = :recipe, fingerprint = :fingerprint", **other_volume(archive)
    )
    assert found == ["fit 1 used 9 cm³/m² for roll 2047, but no measurement of the roll has that value now"]


def other_volume(archive):
    recipe = json.loads(archive.fits()["recipe"].iloc[0]) | {"rolls": {"2047": 9.0}}
    return {"recipe": json.dumps(recipe), "fingerprint": digest(recipe)}


def test_words_where_numbers_belong(archive):
    found = changed(archive, "UPDATE features SET gap = 'wide' WHERE trial = 1 AND at = 400")
    assert any(
        "table features of the archive has a value in column gap that is not a number" in one for one in found
    )


@pytest.mark.slow
@pytest.mark.parametrize("order, words", [TAMPERED[0], TAMPERED[10], TAMPERED[14]])
def test_on_a_server(order, words, database):
    archive = Archive(database)
    put_into(archive)
    assert verify(archive, kept_fit(archive, "1")) == []
    found = changed(archive, order)
    assert any(words in one for one in found), found


@pytest.fixture
def old(tmp_path):
    path = tmp_path / "old.db"
    shutil.copy(OLD, path)
    return Archive(str(path))


@pytest.mark.slow
def test_an_archive_of_version_0_1_is_sealed_when_it_is_opened(old):
    assert [verify(old, kept_fit(old, number)) for number in ("1", "2")] == [[], []]
    found = changed(old, "UPDATE decisions SET standing = 'set aside' WHERE trial = 1")
    assert any("does not match its seal" in one for one in found)
    assert any("used trial 1 as “same process”" in one for one in found), "by the time the fit was made"
