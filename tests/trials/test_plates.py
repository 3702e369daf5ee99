"""Plate files, and rows of a trial that name features of plates."""

import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import TrialProblem, UnusableInput
from pwindow.inputs import InputFile
from pwindow.trials.plates import PlateRecord, is_plate_table, plate_record
from pwindow.workflows.loaded import sort_files

HEAD = "plate_id,plate_feature,plate,plate_width [um],plate_gap [um],lip_width [um],u_plate_width [um],artwork_width [um]"
ROWS = (
    "L1,line,laser-imaged,30.2,,,0.3,25",
    "L1,line,laser-imaged,29.8,,,0.4,25",
    "L1,gap 45,,30,45,53,,",
    "L1,gap 75,,30,75,83,,",
    "F1,line,film-imaged,28,,,0.3,25",
    "F1,gap 45,,28,45,53,,",
    "F1,gap 75,,28,75,83,,",
)


def plates(*rows, head=HEAD):
    return InputFile("plates.csv", "\n".join([head, *(rows or ROWS)]).encode())


def naming(rows, change=lambda table: table):
    """The demo's trial, whose rows name features of plates in place of widths."""
    gap = rows["plate_gap [um]"]
    named = rows.assign(
        plate_id=rows["plate"].map({"laser-imaged": "L1", "film-imaged": "F1"}),
        plate_feature=[f"gap {one:.0f}" if one == one else "line" for one in gap],
    ).drop(columns=["plate", "plate_width [um]", "plate_gap [um]"])
    return InputFile("trial.csv", change(named).to_csv(index=False).encode())


def test_a_trial_with_a_plate_file_is_the_one_with_its_widths(demo_rows):
    plain = pw.read_trial(InputFile("trial.csv", demo_rows.to_csv(index=False).encode()))
    for files in ([naming(demo_rows), plates()], [plates(), naming(demo_rows)]):
        found = pw.read_trial(files)
        for name in ("plate", "plate_width", "plate_gap"):
            pd.testing.assert_series_equal(found.features[name], plain.features[name])
        gaps = found.features["plate_gap"].notna()
        assert (found.features["lip_width"] - found.features["plate_gap"])[gaps].unique().tolist() == [8.0]
        assert found.files == ("trial.csv",)
        assert found.notes[-1] == "1 feature of a plate was measured more than once; the mean is taken"
        assert found.fingerprint != plain.fingerprint, "it knows more"


def test_a_plate_file_is_a_table_of_features():
    record = plate_record([("plates.csv", _cells(plates()))])
    line = record.features.loc[("L1", "line")]
    assert (line["plate_width"], line["measurements"], line["artwork_width"]) == (30.0, 2, 25.0)
    assert line["u_plate_width"] == pytest.approx(((0.3**2 + 0.4**2) / 2) ** 0.5)
    assert record.features.loc[("L1", "gap 45"), "plate"] == "laser-imaged", "a plate has one process"
    assert repr(record) == "<Plates plates.csv: 2 plates, 6 features>"
    assert isinstance(record, PlateRecord)


def _cells(file):
    from pwindow.trials.files import read_cells

    return read_cells(file)[0]


def test_what_trace_writes_of_plates_is_a_plate_file(tmp_path):
    from click.testing import CliRunner

    from pwindow.cli import main

    goal = tmp_path / "plates.csv"
    words = ["trace", str(pw.demo("scans_plate")), "--of", "plate", "-o", str(goal)]
    assert CliRunner().invoke(main, words).exit_code == 0
    cells = _cells(InputFile.of(goal))
    assert is_plate_table(cells)
    record = plate_record([("plates.csv", cells)])
    assert record.notes[-1].endswith("the mean is taken") or record.features["measurements"].eq(1).all()
    assert record.features["plate_width"].notna().any() and record.features["gap_depth"].notna().any()


@pytest.mark.parametrize(
    "rows, said",
    [
        (
            ("L1,line,laser-imaged,30,,,,", "L1,gap,film-imaged,,45,,,"),
            "plate “L1” is said to be film-imaged",
        ),
        (("L1,line,,30,,,,25", "L1,line,,30,,,,30"), "artwork_width of feature “line” of plate “L1” differs"),
        ((",line,,30,,,,25",), "the cell is empty"),
        (("L1,line,,thirty,,,,25",), "not a number"),
        (("L1,line,,0.2,,,,25",), "physically impossible"),
    ],
)
def test_what_is_wrong_with_a_plate_file(rows, said, demo_rows):
    with pytest.raises(TrialProblem, match=said):
        pw.read_trial([naming(demo_rows), plates(*rows)])


@pytest.mark.parametrize(
    "change, said",
    [
        (
            lambda rows: rows.replace({"plate_feature": {"line": "lane"}}),
            "plate “L1” of plates.csv has no feature “lane”",
        ),
        (lambda rows: rows.replace({"plate_id": {"L1": "L9"}}), "plates.csv has no plate “L9”"),
        (lambda rows: rows.assign(plate_id=None), "a feature of a plate without the plate"),
        (lambda rows: rows.assign(**{"plate_gap [um]": 60.0}), "the plate file says 45 of this feature"),
        (lambda rows: rows.assign(plate="engraved"), "the plate file says “laser-imaged” of this feature"),
    ],
)
def test_rows_that_do_not_agree_with_the_plate_file(change, said, demo_rows):
    with pytest.raises(TrialProblem, match=said):
        pw.read_trial([naming(demo_rows, change), plates()])


def test_a_trial_that_names_features_needs_their_file(demo_rows):
    with pytest.raises(TrialProblem, match="or give the file of the plate beside the trial"):
        pw.read_trial(naming(demo_rows))
    with pytest.raises(UnusableInput, match="only plate files were given"):
        pw.read_trial(plates())


def test_pages_take_a_trial_and_its_plate_file_at_once(demo_rows):
    loaded = sort_files([plates(), naming(demo_rows)])
    trial = pw.read_trial(loaded.trials)
    assert trial.files == ("trial.csv",) and trial.features["lip_width"].notna().any()


def test_plates_are_found_by_what_was_measured_on_them(plates_trial):
    record = plates_trial.plates
    found = record.with_features("film-imaged", {"plate_width": 25.8})
    assert set(found) == {"F1", "F2"} or set(found) == {"F1"}
    assert found["F1"] == ["along 30 25.8 µm"]
    assert record.with_features("laser-imaged", {"plate_width": 25.8}) == {}
    assert record.with_features("film-imaged", {}) == {}
    assert record.counts() == dict.fromkeys(["F1", "F2", "L1", "L2"], 18)


CORNERS = "print,speed,cell_volume,pressure [µm],corner,corner_radius,printed_radius\n"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("P1,60,4,50,,12,30", "a printed radius without the kind of its corner"),
        ("P1,60,4,50,middle,12,30", "an unknown kind of corner"),
    ],
)
def test_a_printed_radius_is_of_a_kind_of_corner(tmp_path, row, said):
    file = tmp_path / "corners.csv"
    file.write_text(CORNERS + row + "\n", encoding="utf-8")
    with pytest.raises(TrialProblem, match=said):
        pw.read_trial(file)
