"""The numbers that pictures draw, as tables."""

import csv
import json

import pytest

import pwindow as pw
from tests.helpers.commands import run


@pytest.fixture
def table(tmp_path):
    """Write a picture as a table, and read it."""

    def write(*arguments):
        file = tmp_path / "numbers.csv"
        result = run(*arguments, "--picture", file)
        assert result.exit_code == 0, result.stderr
        with file.open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))

    return write


@pytest.mark.slow
def test_calibration(first, tag_file, tmp_path):
    file = tmp_path / "numbers.csv"
    asked = ["calibrate", first, "--product", tag_file, "--trials", "2", "--json", "--picture", file]
    told = json.loads(run(*asked).stdout)["bands"]
    with file.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [float(row["stated"]) for row in rows] == pytest.approx([band["stated"] for band in told])


@pytest.mark.slow
def test_measured_against_predicted_and_two_windows(table, first, tag_file, tmp_path):
    archive = ["--archive", tmp_path / "trials.db"]
    run("add", first, *archive)
    run("refit", *archive, "--product", tag_file)
    second = str(pw.demo("trial_second.csv"))
    rows = table("add", second, *archive)
    assert {row["response"] for row in rows} >= {"line_height", "gap_closure"}
    assert all(float(row["low"]) < float(row["predicted"]) < float(row["high"]) for row in rows)
    run("accept-change", 2, *archive, "--reason", "new ink batch")
    run("refit", *archive, "--product", tag_file)
    rows = table("compare", 1, 2, *archive)
    assert {row["fit"] for row in rows} == {"before", "after"} and len(rows) > 1000


@pytest.mark.slow
def test_ids_that_a_spreadsheet_would_run(table, tmp_path):
    archive = ["--archive", tmp_path / "trials.db"]
    run("add", str(pw.demo("trial_first.csv")), *archive)
    evil = tmp_path / "second.csv"
    evil.write_bytes(pw.demo("trial_second.csv").read_bytes().replace(b"B-001", b"=1+1"))
    rows = table("add", evil, *archive)
    assert "'=1+1" in {row["print"] for row in rows}
    assert not [cell for row in rows for cell in row.values() if cell.startswith("=")]
    assert any(float(row["error"]) < 0.0 for row in rows), "numbers stay numbers"
