"""Plates that a study states are read as those of a plate file."""

import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import DeclarationProblem, TrialProblem
from pwindow.inputs import InputFile
from pwindow.trials.plates import plate_record
from pwindow.trials.stated_plates import read_plates, stated_cells

FEATURES = (
    '{feature = "line", direction = "0 deg", artwork_width = "25 µm", plate_width = "30 µm", top = "flat"}',
    '{feature = "gap 45", plate_width = "30 µm", plate_gap = "0.045 mm", lip_width = "53 µm"}',
    '{feature = "gap 75", plate_width = "30 µm", plate_gap = "75 µm", lip_width = "83 µm"}',
)


def plate(identity, process, features=FEATURES):
    listed = ",\n".join(features)
    return f'[[plates]]\nid = "{identity}"\nprocess = "{process}"\nfeatures = [\n{listed},\n]\n'


PLATES = plate("L1", "laser-imaged") + plate(
    "F1", "film-imaged", [one.replace('"30 µm"', '"28 µm"') for one in FEATURES]
)


def study_of(text):
    return pw.read_study(InputFile("press.toml", text.encode()))


def test_they_make_the_record_that_a_file_makes():
    text = (
        "plate_id,plate_feature,plate,direction [deg],artwork_width [µm],plate_width [µm],top,plate_gap [mm],lip_width [µm]\n"
        "L1,line,laser-imaged,0,25,30,flat,,\nL1,gap 45,laser-imaged,,,30,,0.045,53\nL1,gap 75,laser-imaged,,,30,,0.075,83\n"
    )
    beside = read_plates([InputFile("plates.csv", text.encode())])
    stated = plate_record(stated_cells(study_of(plate("L1", "laser-imaged"))))
    pd.testing.assert_frame_equal(stated.features, beside.features)
    assert repr(stated) == "<Plates press.toml [[plates]]: 1 plate, 3 features>"


def test_a_trial_takes_them_as_those_of_a_file(demo_rows):
    plain = pw.read_trial(InputFile("trial.csv", demo_rows.to_csv(index=False).encode()))
    gap = demo_rows["plate_gap [um]"]
    named = demo_rows.assign(
        plate_id=demo_rows["plate"].map({"laser-imaged": "L1", "film-imaged": "F1"}),
        plate_feature=[f"gap {one:.0f}" if one == one else "line" for one in gap],
    ).drop(columns=["plate", "plate_width [um]", "plate_gap [um]"])
    file = InputFile("trial.csv", named.to_csv(index=False).encode())
    found = pw.read_trial(file, study_of(PLATES))
    for name in ("plate", "plate_width", "plate_gap"):
        pd.testing.assert_series_equal(found.features[name], plain.features[name])


def test_no_plate_is_an_empty_record():
    record = read_plates([], study_of(""))
    assert record.features.empty and "plate_width" in record.features and record.files == ()


def test_a_file_and_a_study_are_read_together():
    text = "plate_id,plate_feature,plate_width [µm]\nL1,line,32\n"
    record = read_plates([InputFile("plates.csv", text.encode())], study_of(PLATES))
    assert record.features.loc[("L1", "line"), "plate_width"] == 31.0, "the mean of both"
    assert record.features.loc[("L1", "line"), "measurements"] == 2


@pytest.mark.parametrize(
    "text, said",
    [
        (
            plate("L1", "film", ['{feature = "line", plate_wide = "3 µm"}']),
            ["“plate_wide”", "feature “line”"[:7]],
        ),
        (plate("L1", "film", ['{feature = "line", plate_width = "3"}']), ["L1", "without a unit"]),
        (plate("L1", "film", ['{feature = "line", plate_id = "3"}']), ["“plate_id” is not recognised"]),
    ],
)
def test_what_is_no_plate_is_refused(text, said):
    with pytest.raises(DeclarationProblem) as caught:
        stated_cells(study_of(text))
    assert all(words in str(caught.value) for words in said)


def test_impossible_numbers_are_refused_as_in_a_file():
    text = plate("L1", "film", ['{feature = "line", plate_width = "0.3 µm"}'])
    with pytest.raises(TrialProblem, match="plate_width"):
        read_plates([], study_of(text))
