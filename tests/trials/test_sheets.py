"""Which sheet of a workbook is the trial, and that all of its rows are read."""

import io
import re
import zipfile

import openpyxl
import pandas as pd
import pytest
from openpyxl.chart import LineChart, Reference

import pwindow as pw
from pwindow.errors import SeveralSheets, TrialProblem
from pwindow.inputs import InputFile
from tests.helpers.trials import as_sheets, as_workbook


def rewritten(content, change, part="xl/worksheets/sheet1.xml"):
    """A workbook with the text of a part changed."""
    stream = io.BytesIO()
    source = zipfile.ZipFile(io.BytesIO(content))
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            text = source.read(name)
            target.writestr(name, change(text.decode()).encode() if name == part else text)
    return stream.getvalue()


def read(content, sheet=None):
    return pw.read_trial(InputFile("trial.xlsx", content, sheet))


@pytest.mark.parametrize("stored", ['<dimension ref="A1:R11"/>', '<dimension ref="A1"/>', ""])
def test_the_stored_size_of_a_sheet_is_not_trusted(demo_rows, stored):
    rows = demo_rows.head(30)
    content = rewritten(as_workbook(rows), lambda text: re.sub(r"<dimension [^>]*/>", stored, text, count=1))
    assert len(read(content).features) == 30


@pytest.mark.parametrize(
    "old, new",
    [
        ('<row r="5"', '<row r="3"'),
        ('r="C4"', 'r="A4"'),
        ('r="C4"', 'r="ZZZZ4"'),
        ('<row r="5"', '<row r="1048577"'),
    ],
)
def test_rows_and_cells_out_of_order_are_refused_and_not_dropped(demo_rows, old, new):
    content = rewritten(as_workbook(demo_rows.head(30)), lambda text: text.replace(old, new, 1))
    with pytest.raises(TrialProblem, match="out of order"):
        read(content)


def test_two_sheets_that_can_be_the_trial_are_not_chosen_between(demo_rows):
    content = as_sheets(May=demo_rows.head(20), June=demo_rows.tail(20))
    with pytest.raises(SeveralSheets) as caught:
        read(content)
    assert caught.value.file == "trial.xlsx" and caught.value.sheets == ("May", "June")
    assert "“May”" in str(caught.value) and "--sheet" in str(caught.value)


def test_lines_on_one_sheet_and_gaps_on_another_are_not_chosen_between(demo_rows):
    gaps = demo_rows[demo_rows["plate_gap [um]"].notna()].dropna(axis=1, how="all")
    lines = demo_rows[demo_rows["plate_gap [um]"].isna()].dropna(axis=1, how="all")
    with pytest.raises(SeveralSheets):
        read(as_sheets(lines=lines, gaps=gaps))


@pytest.mark.parametrize("sheet, first", [("May", 0), ("June", -20)])
def test_a_named_sheet_is_read_and_the_other_is_noted(demo_rows, sheet, first):
    content = as_sheets(May=demo_rows.head(20), June=demo_rows.tail(20))
    trial = read(content, sheet)
    assert trial.features["print"][0] == demo_rows["print"].iloc[first]
    other = {"May": "June", "June": "May"}[sheet]
    (note,) = trial.notes
    assert f"sheet “{sheet}” was read" in note and f"“{other}” has the same columns" in note


def test_a_sheet_that_has_all_of_another_and_more_is_read_and_the_other_noted(demo_rows):
    few = demo_rows.head(20)[
        ["print", "speed [m/min]", "cell_volume [cm3/m2]", "pressure [um]", "line_height [um]"]
    ]
    (note,) = read(as_sheets(few=few, all=demo_rows)).notes
    assert "sheet “all” was read" in note and "“few” has print, speed, cell_volume" in note


def test_a_sheet_without_rows_is_no_rival(demo_rows):
    trial = read(as_sheets(form=demo_rows.head(0), filled=demo_rows.head(20)))
    assert len(trial.features) == 20
    assert "“form” has the same columns" in trial.notes[0]


def test_other_sheets_that_are_no_trial_are_not_mentioned(demo_rows):
    remarks = pd.DataFrame({"Remarks": ["dull day"], "roll": ["1203"]})
    assert read(as_sheets(trial=demo_rows.head(20), remarks=remarks)).notes == ()


def test_a_chart_sheet_is_passed_over(demo_rows):
    workbook = openpyxl.load_workbook(io.BytesIO(as_sheets(trial=demo_rows.head(20))))
    chart = LineChart()
    chart.add_data(Reference(workbook["trial"], min_col=3, min_row=1, max_row=20))
    workbook.create_chartsheet("picture", 0).add_chart(chart)
    stream = io.BytesIO()
    workbook.save(stream)
    assert len(read(stream.getvalue()).features) == 20


def test_an_unknown_sheet_names_those_there_are(demo_rows):
    with pytest.raises(TrialProblem, match="no sheet “Mai”.*“May” and “June”|no sheet “Mai”.*“May”, “June”"):
        read(as_sheets(May=demo_rows.head(20), June=demo_rows.tail(20)), "Mai")


def test_an_empty_sheet_is_said_to_be_empty(demo_rows):
    with pytest.raises(TrialProblem, match="“notes” is empty"):
        read(as_sheets(trial=demo_rows.head(20), notes=pd.DataFrame()), "notes")


def test_a_sheet_of_what_is_no_workbook(demo_rows):
    with pytest.raises(TrialProblem, match="not a workbook"):
        pw.read_trial(InputFile("trial.csv", demo_rows.to_csv(index=False).encode(), "May"))
