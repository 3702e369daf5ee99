"""The command that lists kept scans and writes them back."""

import hashlib
import shutil

import pytest

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive
from tests.helpers.commands import answer, misused, refused, run

NAMES = ("A-001_75.csv", "A-002_75.csv", "A-010_45.csv")


@pytest.fixture
def folder(tmp_path):
    """Scans of the demo."""
    found = tmp_path / "scans"
    found.mkdir()
    for name in NAMES:
        shutil.copy(pw.demo(f"scans/{name}"), found)
    return found


@pytest.fixture
def archive(folder, tmp_path):
    """An archive that keeps them, and the trial that was measured from them."""
    address, rows = tmp_path / "trials.db", tmp_path / "features.csv"
    words = ("--runs", pw.demo("scans_runs.csv"), "--archive", address, "--keep-scans", "-o", rows)
    assert run("trace", folder, *words).exit_code == 0
    Archive(str(address)).add(InputFile.of(rows), "same process", "the first")
    return address


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_trace_keeps_each_file_once_and_says_so(folder, tmp_path):
    shutil.copy(folder / NAMES[0], folder / "copy.csv")
    words = ("trace", folder, "--archive", tmp_path / "new.db", "--keep-scans")
    assert f"files of scans: 3 kept in archive {tmp_path / 'new.db'}, 0 there already" in run(*words).stdout
    assert [one["name"] for one in answer("scans", "--archive", tmp_path / "new.db")["scans"]] == list(NAMES)
    again = answer(*words)["scans_kept"]
    assert (again["kept"], again["already_there"]) == (0, 3)
    assert answer("trace", folder)["scans_kept"] is None


def test_only_what_was_measured_is_kept(folder, tmp_path):
    (folder / "flat.csv").write_text("x [um],z [um]\n" + "\n".join(f"{at},{at % 2}" for at in range(200)))
    decided = tmp_path / "d.toml"
    decided.write_text(
        f'[[scan]]\nfile = "{NAMES[0]}"\nsha256 = "{digest(folder / NAMES[0])}"\ndecision = "excluded"\nreason = "dust"\n'
    )
    words = ("--decisions", decided, "--archive", tmp_path / "new.db", "--keep-scans")
    assert answer("trace", folder, *words)["scans_kept"]["kept"] == 2
    kept = answer("scans", "--archive", tmp_path / "new.db")["scans"]
    assert {one["name"] for one in kept} == set(NAMES[1:])


def test_files_come_back_by_name_by_fingerprint_and_by_print(archive, folder, tmp_path):
    listed = answer("scans", "--archive", archive)
    assert [one["name"] for one in listed["scans"]] == list(NAMES) and listed["written"] is None
    goal = tmp_path / "back"
    asked = {
        (NAMES[0],): NAMES[0],
        (digest(folder / NAMES[1])[:8],): NAMES[1],
        ("--trial", "1", "--print", "A-010"): NAMES[2],
    }
    for words, name in asked.items():
        written = answer("scans", *words, "--archive", archive, "-o", goal)
        assert written["written"] == [str(goal / name)] and written["already_there"] == []
        assert (goal / name).read_bytes() == (folder / name).read_bytes()
    again = run("scans", "--archive", archive, "-o", goal)
    assert again.stdout.count("already there:") == 3 and "written:" not in again.stdout


def test_another_file_is_never_overwritten(archive, tmp_path):
    goal = tmp_path / "back"
    goal.mkdir()
    (goal / NAMES[1]).write_bytes(b"mine")
    said = refused("scans", "--archive", archive, "-o", goal)
    assert f"{NAMES[1]} is there and is another file" in said
    assert [path.name for path in goal.iterdir()] == [NAMES[1]] and (goal / NAMES[1]).read_bytes() == b"mine"


def test_different_scans_of_one_name_are_written_by_their_fingerprint(archive, folder, tmp_path):
    changed = folder / NAMES[0]
    changed.write_bytes(changed.read_bytes() + b"\n")
    assert run("trace", changed, "--archive", archive, "--keep-scans").exit_code == 0
    said = refused("scans", NAMES[0], "--archive", archive, "-o", tmp_path / "back")
    assert "2 different scans are called" in said and digest(changed)[:12] in said
    answer("scans", digest(changed), "--archive", archive, "-o", tmp_path / "back")
    assert digest(tmp_path / "back" / NAMES[0]) == digest(changed)


def test_a_name_leads_to_no_other_folder(archive, tmp_path):
    Archive(str(archive)).keep_scans([InputFile("../../out.csv", b"x")])
    answer("scans", "../../out.csv", "--archive", archive, "-o", tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b" / "out.csv").read_bytes() == b"x" and not (tmp_path / "out.csv").exists()


def test_scans_of_a_trial_that_are_not_kept_are_told(folder, tmp_path):
    rows, address = tmp_path / "features.csv", tmp_path / "trials.db"
    run("trace", folder, "--runs", pw.demo("scans_runs.csv"), "-o", rows)
    Archive(str(address)).add(InputFile.of(rows), "same process", "the first")
    done = run("scans", "--trial", 1, "--archive", address)
    assert done.stderr.count("is not kept in the archive") == 3
    assert "keeps none of these scans; `pwindow trace … --keep-scans` keeps them" in done.stdout
    assert "nothing was written" in refused(
        "scans", "--trial", 1, "--archive", address, "-o", tmp_path / "back"
    )
    assert not (tmp_path / "back").exists()


def test_what_cannot_be_found_is_said(archive, first, tmp_path):
    assert "keeps no scan “nope.csv”" in refused("scans", "nope.csv", "--archive", archive)
    assert "keeps no scan “abc”" in refused("scans", "abc", "--archive", archive), "three digits are too few"
    assert "trial 1 has no print “B-1”" in refused(
        "scans", "--trial", 1, "--print", "B-1", "--archive", archive
    )
    assert "there is no trial 7" in refused("scans", "--trial", 7, "--archive", archive)
    assert "--print needs --trial" in misused("scans", "--print", "A-001", "--archive", archive)
    Archive(str(archive)).add(InputFile.of(first), "same process", "without scans")
    assert "does not say which scans" in refused("scans", "--trial", 2, "--archive", archive)


def test_keeping_scans_needs_an_archive(folder):
    assert "--keep-scans needs --archive" in misused("trace", folder, "--keep-scans")


def test_a_file_that_is_too_large_is_refused_before_anything_is_measured(folder, tmp_path, monkeypatch):
    monkeypatch.setattr("pwindow.trials.archive.scans.LARGEST", 10_500)
    words = ("trace", folder, "--archive", tmp_path / "new.db", "--keep-scans", "-o", tmp_path / "f.csv")
    assert "and an archive keeps scans of at most 0.0105 MB" in refused(*words)
    assert not (tmp_path / "new.db").exists() and not (tmp_path / "f.csv").exists()
