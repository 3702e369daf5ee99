"""XLSX and Parquet: typed cells, ids, sheets."""

import io
import warnings

import numpy as np
import openpyxl
import pandas as pd
import pytest

from pwindow.errors import TrialProblem
from tests.helpers.trials import as_parquet, as_sheets, as_workbook, read_text


def book(rows):
    """An XLSX workbook of one sheet; trailing empty cells are not written."""
    workbook = openpyxl.Workbook(write_only=True)
    sheet = workbook.create_sheet()
    for row in rows:
        sheet.append(row)
    stream = io.BytesIO()
    workbook.save(stream)
    return stream.getvalue()


def as_rows(frame):
    filled = frame.astype(object).where(frame.notna(), None)
    return [list(frame.columns), *filled.values.tolist()]


HEADER = [
    "print",
    "speed [m/min]",
    "cell_volume [cm3/m2]",
    "pressure [um]",
    "roll",
    "line_height [um]",
]


def test_workbook_reads_as_the_csv(demo_rows, demo_trial):
    trial = read_text(as_workbook(demo_rows), "trial.xlsx")
    pd.testing.assert_frame_equal(trial.features, demo_trial.features)


def test_parquet_reads_as_the_csv(demo_rows, demo_trial):
    trial = read_text(as_parquet(demo_rows), "trial.parquet")
    pd.testing.assert_frame_equal(trial.features, demo_trial.features)


def test_the_content_decides_not_the_name(demo_rows, demo_trial):
    for content in (as_workbook(demo_rows), as_parquet(demo_rows)):
        assert read_text(content, "upload.csv").fingerprint == demo_trial.fingerprint


@pytest.mark.parametrize("name", ["trial.csv", "trial.xlsx", "trial.parquet"])
def test_roll_id_with_a_leading_zero_stays_text(name):
    frame = pd.DataFrame([["P1", 60.0, 4.4, 50.0, "01234", 0.8]], columns=HEADER)
    write = {
        "csv": lambda f: f.to_csv(index=False).encode(),
        "xlsx": as_workbook,
        "parquet": as_parquet,
    }
    trial = read_text(write[name.split(".")[1]](frame), name)
    assert trial.levels("roll") == ["01234"]


@pytest.mark.parametrize("identity", [1234, 1234.0])
def test_id_stored_as_a_number_is_its_whole_number(identity):
    trial = read_text(book([HEADER, [17.0, 60, 4.4, 50, identity, 0.8]]), "trial.xlsx")
    assert trial.levels("roll") == ["1234"]
    assert list(trial.prints.index) == ["17"]


@pytest.mark.parametrize("kind", ["float32", "float64", "Float64", "int64", "Int64"])
def test_parquet_ids_of_number_types(kind):
    frame = pd.DataFrame([["P1", 60.0, 4.4, 50.0, 1234, 0.8]], columns=HEADER).astype({"roll": kind})
    assert read_text(as_parquet(frame), "trial.parquet").levels("roll") == ["1234"]


@pytest.mark.slow
def test_table_on_the_second_sheet(demo_rows, demo_trial):
    for first in (pd.DataFrame(), pd.DataFrame({"Remarks": ["dull day", "new blade"]})):
        trial = read_text(as_sheets(first=first, trial=demo_rows), "trial.xlsx")
        assert trial.fingerprint == demo_trial.fingerprint


def test_empty_workbook():
    with pytest.raises(TrialProblem, match="empty"):
        read_text(as_sheets(first=pd.DataFrame()), "trial.xlsx")


@pytest.mark.slow
def test_table_below_empty_rows_and_beside_an_empty_column(demo_rows, demo_trial):
    trial = read_text(as_workbook(demo_rows, startrow=2, startcol=1), "trial.xlsx")
    assert trial.fingerprint == demo_trial.fingerprint


@pytest.mark.slow
def test_rows_shorter_than_the_header(demo_rows, demo_trial):
    """A writer may leave out empty cells at the end of a row."""
    rows = as_rows(demo_rows)
    for row in rows[1:]:
        while row[-1] is None:
            row.pop()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert read_text(book(rows), "trial.xlsx").fingerprint == demo_trial.fingerprint


def test_every_row_shorter_than_the_header():
    rows = [[*HEADER, "gap [um]", "plate_gap [um]"], ["P1", 60, 4.4, 50, "1203", 0.8]]
    trial = read_text(book(rows), "trial.xlsx")
    assert trial.features["line_height"][0] == 0.8
    assert np.isnan(trial.features["gap"][0])


def test_nullable_parquet(demo_rows, demo_trial):
    trial = read_text(as_parquet(demo_rows.convert_dtypes()), "trial.parquet")
    assert trial.fingerprint == demo_trial.fingerprint


def test_categorical_parquet(demo_rows, demo_trial):
    ids = dict.fromkeys(["print", "make_ready", "roll", "plate"], "category")
    trial = read_text(as_parquet(demo_rows.astype(ids)), "trial.parquet")
    pd.testing.assert_frame_equal(trial.features, demo_trial.features)


def test_parquet_with_the_print_as_its_index(demo_rows, demo_trial):
    assert (
        read_text(as_parquet(demo_rows.set_index("print")), "t.parquet").fingerprint == demo_trial.fingerprint
    )


@pytest.mark.parametrize("extra", [[1.0, 2.0], {"a": 1}])
def test_parquet_with_an_unknown_column_of_lists(demo_rows, extra):
    frame = demo_rows.assign(trace=[extra] * len(demo_rows))
    trial = read_text(as_parquet(frame), "trial.parquet")
    assert any("“trace”" in note for note in trial.notes)


@pytest.mark.slow
def test_dates_where_numbers_belong_are_refused(demo_rows):
    """A spreadsheet turns 5.6 into a day of June: it must not become a height."""
    frame = demo_rows.assign(**{"line_height [um]": pd.Timestamp("2024-06-05")})
    for content, name in ((as_workbook(frame), "trial.xlsx"), (as_parquet(frame), "trial.parquet")):
        with pytest.raises(TrialProblem) as caught:
            read_text(content, name)
        assert {problem.column for problem in caught.value.problems} == {"line_height"}
        assert "not a number" in caught.value.problems[0].what


@pytest.mark.slow
def test_true_and_false_where_numbers_belong_are_refused(demo_rows):
    frame = demo_rows.assign(**{"line_width [um]": True})
    for content, name in ((as_workbook(frame), "trial.xlsx"), (as_parquet(frame), "trial.parquet")):
        with pytest.raises(TrialProblem, match="not a number"):
            read_text(content, name)


def test_rows_are_counted_as_the_spreadsheet_counts_them():
    rows = [HEADER, ["P1", 60, 4.4, 50, "1203", 0.8], [], ["P2", 60, 4.4, 50, "1203", "#VALUE!"]]
    workbook = openpyxl.Workbook()
    for at, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            workbook.active.cell(at, column, value)
    stream = io.BytesIO()
    workbook.save(stream)
    with pytest.raises(TrialProblem) as caught:
        read_text(stream.getvalue(), "trial.xlsx")
    assert [(p.row, p.column, p.value) for p in caught.value.problems] == [(4, "line_height", "#VALUE!")]
