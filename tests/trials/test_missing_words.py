"""Words for a missing value, prints that were not made yet, and messages in the file's own terms."""

import numpy as np
import pandas as pd
import pytest

from pwindow.errors import TrialProblem
from pwindow.trials.columns import RESPONSES
from tests.helpers.trials import as_workbook, read_frame, read_text

HEAD = (
    "print,make_ready,speed [ft/min],roll,cell_volume [BCM],pressure [um],plate,plate_gap [um],line_height [um],"
    "line_width [um],gap [um],gaps_inspected,gaps_bridged"
)
NAMES = [cell.split(" ")[0] for cell in HEAD.split(",")]
LINE = dict(zip(NAMES, ["P1", "M1", "197", "1203", "2.84", "50", "a", "", "0.8", "62", "", "", ""]))
GAP = LINE | {
    "plate_gap": "60",
    "line_height": "",
    "line_width": "",
    "gap": "25",
    "gaps_inspected": "1",
    "gaps_bridged": "0",
}
EMPTY_GAP = GAP | {"gap": "", "gaps_inspected": "", "gaps_bridged": ""}


def table(*rows, head=HEAD):
    return "\n".join([head, *(",".join(row.values()) for row in rows)]) + "\n"


def problems(*rows):
    with pytest.raises(TrialProblem) as caught:
        read_text(table(*rows))
    return caught.value.problems


WORDS = ["n.a.", "N/A", "NA", "–", "—", "-", "none", "#N/A", "NaN", "null", "n.d.", "#NV", "missing"]


@pytest.mark.parametrize("word", WORDS)
def test_words_are_read_as_empty_with_one_note(word):
    rows = [LINE | {"print": f"P{at}", "line_width": word} for at in range(9)]
    trial = read_text(table(*rows))
    assert trial.features["line_width"].isna().all()
    (note,) = trial.notes
    assert "“line_width [um]”" in note and "9 cells" in note and f"“{word}”" in note


def test_an_empty_cell_is_no_word():
    assert read_text(table(LINE | {"line_width": ""}, GAP)).notes == ()


@pytest.mark.slow
def test_words_in_a_workbook(demo_rows):
    trial = read_text(as_workbook(demo_rows.assign(**{"section_area [um2]": "#N/A"})), "t.xlsx")
    assert trial.features["section_area"].isna().all() and len(trial.notes) == 1


def test_a_word_for_a_roll_is_no_roll_but_nd_is():
    trial = read_text(
        table(LINE | {"roll": "n.a."}, LINE | {"print": "P2", "roll": "ND", "make_ready": "M2"})
    )
    assert trial.levels("roll") == ["ND"]


@pytest.mark.slow
@pytest.mark.parametrize("word", ["", "n.a.", "–"])
def test_an_uncounted_bridge_is_never_read_as_none(word):
    (found,) = problems(LINE, GAP | {"gap": "", "gaps_bridged": word})
    assert (found.row, found.column, found.value) == (3, "gaps_bridged", word or None)
    assert "0 or a count" in found.mend


@pytest.mark.slow
def test_a_measured_gap_says_that_it_is_open():
    trial = read_text(table(LINE, GAP | {"gaps_bridged": ""}))
    assert trial.of_quantity("gap_closure")["bridged"].tolist() == [0.0]


def test_the_demo_without_its_counts_of_shorts_is_refused(demo_rows):
    shorts = demo_rows["gaps_bridged"] > 0
    assert shorts.sum() > 0
    with pytest.raises(TrialProblem) as caught:
        read_frame(demo_rows.assign(gaps_bridged=demo_rows["gaps_bridged"].mask(shorts)))
    assert len(caught.value.problems) == shorts.sum()
    assert len(caught.value.reasons) == 1 and f"{shorts.sum()} rows" in caught.value.reasons[0]


def test_many_problems_of_one_kind_are_one_line(demo_rows):
    frame = demo_rows.astype({"line_height [um]": object, "speed [m/min]": object})
    frame["line_height [um]"] = "thick"
    frame.loc[5, "speed [m/min]"] = "fast"
    with pytest.raises(TrialProblem) as caught:
        read_frame(frame)
    many, one = sorted(caught.value.reasons, key=len, reverse=True)
    assert f"{len(frame)} rows (2, 3, 4, 5, 6, 7, …): “thick”: not a number" in many
    assert "row 7, column speed: “fast”" in one
    assert len(caught.value.problems) == len(frame) + 1


@pytest.mark.slow
def test_problems_that_are_kept_one_by_one_are_bounded(demo_rows):
    frame = demo_rows.sample(5000, replace=True, random_state=1).assign(**{"line_height [um]": "thick"})
    with pytest.raises(TrialProblem) as caught:
        read_frame(frame)
    assert len(caught.value.problems) <= 1000
    assert "5000 rows" in caught.value.reasons[0]


@pytest.mark.slow
@pytest.mark.parametrize("text", ["fast", "78 ft/min", "1e999"])
def test_a_number_is_asked_for_in_the_unit_of_the_column(text):
    (found,) = problems(LINE | {"speed": text})
    assert found.value == text
    assert "give a number in ft/min" in found.mend and "m/min" not in found.mend.replace("ft/min", "")
    assert "empty" not in found.mend and "every row needs it" in found.mend


@pytest.mark.slow
@pytest.mark.parametrize("name", ["speed", "cell_volume", "pressure"])
@pytest.mark.parametrize("text", ["-3", "fast", "1e250"])
def test_a_needed_cell_is_never_advised_to_be_left_empty(name, text):
    assert not any("empty" in problem.mend for problem in problems(LINE | {name: text}))


def test_bounds_are_told_in_the_unit_of_the_column():
    (found,) = problems(LINE | {"speed": "1e201"})
    assert found.value == "1e201" and "must be from 0.03281 to 6562 ft/min" in found.mend


def test_checks_after_conversion_show_what_was_typed():
    (found,) = problems(LINE | {"line_height": "7.0"})  # ⅔ of 7 µm is more than 4.4 cm³/m²
    assert found.value == "7.0" and "2.84 BCM" in found.what


def test_the_odd_row_of_a_print_is_blamed():
    (found,) = problems(LINE | {"speed": "780"}, LINE | {"speed": "78"}, LINE | {"speed": "78"})
    assert (found.row, found.column, found.value) == (2, "speed", "780")
    assert "780 ft/min in row 2 and 78 ft/min in rows 3, 4" in found.what and "print P1" in found.what


def test_of_two_rows_that_disagree_both_are_named():
    (found,) = problems(LINE | {"roll": "1203"}, LINE | {"roll": "1318"})
    assert "1318 in row 3 and 1203 in row 2" in found.what


@pytest.mark.parametrize("name, other", [("roll", "1318"), ("cell_volume", "3.6"), ("plate", "b")])
def test_a_make_ready_is_one_roll_one_volume_and_one_plate(name, other):
    rows = [LINE | {"print": f"P{at}"} for at in range(1, 4)]
    found = problems(rows[0] | {name: other}, *rows[1:])
    assert [(one.row, one.column, one.value) for one in found] == [(2, name, other)]
    assert "make-ready M1" in found[0].what and "“P1”" in found[0].what and "row 3" in found[0].what


def test_two_make_readies_may_have_two_rolls():
    other = LINE | {"print": "P2", "make_ready": "M2", "roll": "1318", "cell_volume": "3.6", "plate": "b"}
    assert len(read_text(table(LINE, other)).prints) == 2


# not printed yet --------------------------------------------------------------------------------


def test_a_print_without_any_value_is_passed_over_with_one_note():
    planned = [EMPTY_GAP | {"print": f"P{at}", "speed": ""} for at in range(2, 5)]
    trial = read_text(table(LINE, GAP, *planned, *planned))
    assert list(trial.prints.index) == ["P1"]
    (note,) = trial.notes
    assert "3 prints" in note and "not printed yet" in note and "“P2”" in note


def test_an_empty_gap_row_of_a_measured_print_is_refused():
    (found,) = problems(LINE, EMPTY_GAP)
    assert found.row == 3 and "no measured value" in found.what


def test_a_print_with_a_value_that_cannot_be_read_was_printed():
    found = problems(LINE, EMPTY_GAP | {"print": "P2", "gap": "narrow"})
    assert [(one.row, one.column) for one in found] == [(3, "gap")]


def test_rows_without_a_value_in_a_file_without_gaps_are_passed_over():
    head = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"
    trial = read_text(f"{head}\nP1,60,4.4,50,0.8\nP1,60,4.4,50,\nP1,60,4.4,50,\n")
    assert len(trial.features) == 1
    (note,) = trial.notes
    assert "2 rows without a measured value" in note


def test_a_file_of_plans_only_is_refused():
    (found,) = problems(EMPTY_GAP, EMPTY_GAP | {"print": "P2"})
    assert "no print has a measured value" in found.what


def test_planned_prints_change_no_result(demo_rows, demo_trial):
    planned = demo_rows.groupby("print").head(1).assign(print=lambda rows: "N" + rows["print"])
    measured = [name for name in demo_rows if name.split(" ")[0] in RESPONSES]
    planned[measured] = np.nan
    trial = read_frame(pd.concat([demo_rows, planned]))
    assert trial.fingerprint == demo_trial.fingerprint
