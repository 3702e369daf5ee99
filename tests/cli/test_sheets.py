"""--sheet on every command that takes trial FILEs."""

import io

import pandas as pd
import pytest

import pwindow as pw
from tests.helpers.commands import answer, misused, refused, run


@pytest.fixture(scope="module")
def book(demo_rows, tmp_path_factory):
    """The two trials of the demo as two sheets."""
    path = tmp_path_factory.mktemp("books") / "trials.xlsx"
    stream = io.BytesIO()
    with pd.ExcelWriter(stream) as writer:
        demo_rows.to_excel(writer, sheet_name="first", index=False)
        later = pd.read_csv(pw.demo("trial_second.csv"), dtype={"roll": str})
        later.to_excel(writer, sheet_name="second", index=False)
    path.write_bytes(stream.getvalue())
    return path


AT = ["--at", "roll=2047, pressure=50 µm, speed=80 m/min"]
COMMANDS = [
    ["check"],
    ["fit"],
    ["predict", "--product", "tag", *AT],
    ["speeds", "--product", "tag"],
    ["calibrate", "--trials", "2", "--product", "tag"],
    ["review", "--product", "tag", "--json", *AT],
    ["run-sheet", "--product", "tag", "--json", *AT],
    ["serve", "--no-browser"],
]


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_every_command_refuses_to_choose(book, tag_file, command):
    more = [tag_file if word == "tag" else word for word in command[1:]]
    reason = refused(command[0], book, *more)
    assert "“first”, “second”" in reason and "--sheet" in reason


@pytest.mark.slow
@pytest.mark.parametrize(
    "command", [each for each in COMMANDS if each[0] not in ("calibrate", "serve")], ids=lambda c: c[0]
)
def test_every_command_reads_the_sheet_that_is_named(book, tag_file, command):
    more = [tag_file if word == "tag" else word for word in command[1:]]
    result = run(command[0], book, "--sheet", "first", *more)
    assert result.exit_code == 0, result.stderr


def test_the_sheet_that_was_read_is_noted(book, demo_trial):
    found = answer("check", book, "--sheet", "first")
    assert found["fingerprint"] == demo_trial.fingerprint
    (note,) = found["notes"]
    assert "sheet “first” was read" in note and "“second” has the same columns" in note


@pytest.mark.slow
def test_a_document_says_the_sheet_in_how_it_is_made_again(book, tag_file):
    found = answer("review", book, "--sheet", "first", "--product", tag_file, *AT)
    assert "--sheet first" in str(found)


@pytest.mark.slow
def test_a_trial_is_added_and_confirmed_from_a_sheet(book, demo_rows, tag_file, tmp_path):
    archive = ["--archive", tmp_path / "trials.db"]
    assert "“first”" in refused("add", book, *archive)
    assert run("add", book, "--sheet", "first", *archive).exit_code == 0
    assert run("refit", *archive, "--product", tag_file).exit_code == 0
    prints = tmp_path / "run.xlsx"
    with pd.ExcelWriter(prints) as writer:
        demo_rows.to_excel(writer, sheet_name="trial", index=False)
        pd.read_csv(pw.demo("run_tag.csv"), dtype={"roll": str}).to_excel(
            writer, sheet_name="run", index=False
        )
    assert "“run”" in refused("confirm", prints, *archive)
    result = run("confirm", prints, "--sheet", "run", *archive)
    assert result.exit_code == 0, result.stderr


@pytest.mark.slow
def test_another_sheet_of_a_file_that_is_kept_is_not_taken_for_the_same_trial(book, tmp_path):
    archive = ["--archive", tmp_path / "trials.db"]
    assert run("add", book, "--sheet", "first", *archive).exit_code == 0
    assert "already" in run("add", book, "--sheet", "first", *archive).stdout
    assert "“second” as a file of its own" in refused("add", book, "--sheet", "second", *archive)


def test_a_sheet_is_of_one_file(first, book):
    assert "one FILE" in misused("check", first, book, "--sheet", "first")
    assert "one FILE" in misused("serve", first, book, "--sheet", "first")


def test_a_sheet_of_a_text_file_and_one_that_is_not_there(first, book):
    assert "not a workbook" in refused("check", first, "--sheet", "first")
    assert "“first”, “second”" in refused("check", book, "--sheet", "third")


@pytest.mark.slow
def test_an_archive_reads_the_sheet_again_that_was_added(book, tag_file, tmp_path):
    archive = tmp_path / "trials.db"
    assert run("add", book, "--sheet", "first", "--archive", archive).exit_code == 0
    assert run("refit", "--archive", archive, "--product", tag_file).exit_code == 0
    result = run("compare", 1, "--archive", archive)
    assert result.exit_code == 0, result.stdout + result.stderr
