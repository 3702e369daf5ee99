"""What makes a trial file unusable: every problem at once, with row, column, value and mend."""

import numpy as np
import pytest

from pwindow.errors import TrialProblem
from tests.helpers.trials import read_frame, read_text

HEAD = (
    "print,make_ready,speed [m/min],roll,cell_volume [cm3/m2],pressure [um],plate,plate_width [um],"
    "plate_gap [um],line_height [um],line_width [um],section_area [um2],gap [um],gaps_inspected,"
    "gaps_bridged,resistance [ohm],line_length [mm]"
)
NAMES = [cell.split(" ")[0] for cell in HEAD.split(",")]
LINE = dict(
    zip(
        NAMES,
        [
            "P1",
            "M1",
            "60",
            "1203",
            "4.4",
            "50",
            "a",
            "30",
            "",
            "0.8",
            "62",
            "33",
            "",
            "",
            "",
            "11.5",
            "5",
        ],
    )
)
GAP = LINE | {
    "plate_gap": "60",
    "line_height": "",
    "line_width": "",
    "section_area": "",
    "gap": "25",
    "gaps_inspected": "1",
    "gaps_bridged": "0",
    "resistance": "",
    "line_length": "",
}


def table(*rows):
    return "\n".join([HEAD, *(",".join(row.values()) if row else "" for row in rows)]) + "\n"


def problems(content):
    with pytest.raises(TrialProblem) as caught:
        read_text(content)
    assert caught.value.reasons == [str(problem) for problem in caught.value.problems]
    return caught.value.problems


def places(found):
    return [(problem.row, problem.column, problem.value) for problem in found]


def test_the_table_of_these_tests_is_good():
    assert len(read_text(table(LINE, GAP)).features) == 2


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        "speed",
        "cell_volume",
        "line_height",
        "line_width",
        "section_area",
        "resistance",
        "line_length",
        "plate_width",
    ],
)
@pytest.mark.parametrize("value", ["-1", "0", "inf", "1e400", "-inf"])
def test_impossible_numbers_of_a_line(name, value):
    found = problems(table(LINE, LINE | {"print": "P2", name: value}))
    assert (3, name) in [(problem.row, problem.column) for problem in found]
    assert all(problem.mend for problem in found)
    shown = next(problem for problem in found if problem.column == name)
    assert float(shown.value) == float(value)


@pytest.mark.parametrize(
    "name, value",
    [
        ("gap", "-3"),
        ("gap", "0"),
        ("plate_gap", "-60"),
        ("gaps_inspected", "-1"),
        ("gaps_bridged", "-1"),
        ("gaps_inspected", "1.5"),
        ("gaps_bridged", "0.5"),
    ],
)
def test_impossible_numbers_of_a_gap(name, value):
    found = problems(table(LINE, GAP | {name: value}))
    assert (3, name, value) in places(found)


def test_a_negative_pressure_is_impossible_but_kiss_is_not():
    assert places(problems(table(LINE | {"pressure": "-5"}))) == [(2, "pressure", "-5")]
    assert read_text(table(LINE | {"pressure": "0"})).pressures == (0.0,)


@pytest.mark.parametrize(
    "text", ["abc", "12 µm", "1.2.3", "--5", "<5", "#DIV/0!", "1e", "0x1F", "1_000", "True"]
)
def test_what_is_not_a_number(text):
    found = problems(table(LINE | {"line_width": text}))
    assert places(found)[0] == (2, "line_width", text)
    assert "not a number" in found[0].what and "give a number in um" in found[0].mend


@pytest.mark.parametrize(
    "name, other",
    [
        ("speed", "70"),
        ("roll", "9"),
        ("cell_volume", "5"),
        ("pressure", "60"),
        ("plate", "b"),
        ("make_ready", "M2"),
    ],
)
def test_two_set_ups_in_one_print(name, other):
    (found,) = problems(table(LINE, GAP | {name: other}))
    assert (found.row, found.column, found.value) == (3, name, other)
    assert "print P1" in found.what and LINE[name] in found.what


def test_more_silver_than_ink():
    """4.4 cm³/m² on a 30 µm plate line offers 132 µm²."""
    (found,) = problems(table(LINE | {"section_area": "133"}))
    assert (found.row, found.column, found.value) == (2, "section_area", "133")
    (found,) = problems(table(LINE | {"section_area": "", "line_height": "3.3"}))  # ⅔ · 3.3 · 62 = 136
    assert (found.row, found.column) == (2, "line_height")


def test_as_much_silver_as_ink_passes():
    assert len(read_text(table(LINE | {"section_area": "131"})).features) == 1


def test_more_bridged_than_inspected():
    found = problems(table(GAP | {"gap": "", "gaps_inspected": "3", "gaps_bridged": "4"}))
    assert (2, "gaps_bridged", "4") in places(found)
    assert any("3 inspected" in problem.what for problem in found)


def test_a_gap_measured_where_all_are_bridged():
    assert places(problems(table(GAP | {"gaps_bridged": "1"}))) == [(2, "gap", "25")]


def test_bridged_without_inspected():
    (found,) = problems(table(GAP | {"gap": "", "gaps_inspected": "", "gaps_bridged": "1"}))
    assert (found.row, found.column) == (2, "gaps_inspected")


def test_a_gap_without_its_gap_on_the_plate():
    assert places(problems(table(GAP | {"plate_gap": ""}))) == [(2, "plate_gap", None)]


def test_a_resistance_without_its_length():
    assert places(problems(table(LINE | {"line_length": ""}))) == [(2, "line_length", None)]


def test_a_row_without_a_measured_value():
    silent = GAP | {"gap": "", "gaps_inspected": "", "gaps_bridged": ""}
    (found,) = problems(table(LINE, silent))
    assert found.row == 3 and "measured" in found.what


@pytest.mark.parametrize("name", ["print", "speed", "cell_volume", "pressure"])
def test_a_needed_cell_is_empty(name):
    assert (3, name) in [(p.row, p.column) for p in problems(table(LINE, LINE | {name: ""}))]


def test_all_problems_at_once_in_the_rows_a_spreadsheet_shows():
    found = problems(
        table(
            LINE,
            None,
            LINE | {"print": "P2", "speed": "fast"},
            None,
            None,
            GAP | {"print": "P3", "plate_gap": ""},
            LINE | {"print": "P4", "line_width": "-2"},
            LINE | {"print": "P5", "line_length": ""},
        )
    )
    assert sorted(places(found)) == [
        (4, "speed", "fast"),
        (7, "plate_gap", None),
        (8, "line_width", "-2"),
        (9, "line_length", None),
    ]
    assert all(problem.file == "trial.csv" and problem.what and problem.mend for problem in found)
    assert str(found[0]).startswith(
        "trial.csv, row 4, column speed: “fast”: not a number; give a number in m/min"
    )


def test_one_wrong_set_up_cell_is_one_problem():
    """The other rows of the print are not at fault."""
    assert places(problems(table(LINE | {"speed": "-60"}, GAP, LINE))) == [(2, "speed", "-60")]


def test_mixed_decimal_marks():
    content = table(LINE, LINE | {"line_width": "62,5"}).replace(",", ";").replace("62;5", "62,5")
    (found,) = problems(content)
    assert (found.row, found.column, found.value) == (3, "line_width", "62,5")
    assert "decimal" in found.what and "decimal mark" in found.mend


def test_thousands_separator():
    (found,) = problems(table(LINE | {"resistance": '"1,234.5"'}))
    assert found.value == "1,234.5" and "thousands" in found.what


@pytest.mark.parametrize("name", ["print", "speed", "cell_volume", "pressure"])
def test_needed_column_missing(name):
    content = table(LINE).replace(name, "other", 1)
    found = problems(content)
    assert (1, name) in [(problem.row, problem.column) for problem in found]
    assert any(f"“{name}" in problem.mend for problem in found)


def test_header_problems_come_together():
    found = problems("speed [kg],speed [m/min],line_height [um]\n60,60,0.8\n")
    assert {(p.column, p.what) for p in found} >= {
        ("print", "the column is missing"),
        ("cell_volume", "the column is missing"),
        ("pressure", "the column is missing"),
        ("speed", "duplicate column"),
    }


def test_nothing_measured():
    found = problems("print,speed [m/min],cell_volume [cm3/m2],pressure [um]\nP1,60,4.4,50\n")
    assert any("nothing was measured" in problem.what for problem in found)


@pytest.mark.parametrize("cut", [1, -1])
def test_a_row_with_another_number_of_cells_is_named(cut):
    lines = table(LINE, LINE, LINE).splitlines()
    lines[2] = lines[2] + ",7" if cut > 0 else ",".join(lines[2].split(",")[:4])
    found = problems("\n".join(lines))
    assert any("3" in str(problem.row or problem.what) for problem in found)


def test_unknown_columns_are_kept_and_said():
    content = "\n".join(
        line + end
        for line, end in zip(
            table(LINE, GAP).splitlines(), [",operator,dwell [s]", ",early shift,1.5", ",,2"]
        )
    )
    trial = read_text(content)
    assert trial.features["operator"].tolist()[0] == "early shift"
    assert trial.features["dwell"].tolist() == ["1.5", "2"]
    assert [note for note in trial.notes if "“operator”" in note and "not used" in note]
    assert [note for note in trial.notes if "“dwell”" in note]


def test_unknown_columns_change_no_result(demo_rows, demo_trial):
    extra = demo_rows.assign(value=1, count=2, closure=3, bridged=4, k="x", index=5)
    trial = read_frame(extra)
    assert trial.prints.equals(demo_trial.prints)
    assert np.array_equal(trial.features["gap"], demo_trial.features["gap"], equal_nan=True)


def test_a_file_without_any_column_of_a_trial_is_told_in_one_sentence():
    with pytest.raises(TrialProblem) as caught:
        read_text("Minutes of the meeting,of Tuesday\nwe agreed,on nothing\n")
    (problem,) = caught.value.problems
    assert "this is not a trial file" in str(problem) and "line_height [µm]" in str(problem)
