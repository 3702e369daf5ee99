"""Plate processes from plate records and studies."""

import pandas as pd
import pytest

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.plates import plate_making
from pwindow.study import Study
from pwindow.trials.plates import NO_PLATES
from pwindow.trials.stated_plates import read_plates

HEAD = "plate_id,plate_feature,plate,direction [deg],artwork_width [um],plate_width [um],artwork_gap [um],plate_gap [um],lip_width [um],gap_depth [um]"
ROWS = (
    *(f"L{at},line 30,laser-imaged,0,30,{30 + size},,,," for at, size in enumerate((3.0, 4.0, 2.0, 3.5))),
    *(f"L{at},line 60,laser-imaged,0,60,{60 + size},,,," for at, size in enumerate((3.1, 4.3, 2.2, 3.3))),
    *(f"L0,gap {gap},laser-imaged,,,,{gap},{gap - 3},{gap + 5},{gap / 5}" for gap in (45, 60, 75, 90)),
    "F1,line 30,film-imaged,0,30,28,,,,",
)


def record_of(*rows):
    return read_plates([InputFile("plates.csv", "\n".join([HEAD, *rows]).encode())])


def study_of(text):
    return pw.read_study(InputFile("press.toml", text.encode()))


@pytest.fixture(scope="module")
def making():
    return plate_making(record_of(*ROWS), pw.Study())


def test_each_process_has_its_own(making):
    assert list(making.by_process) == ["film-imaged", "laser-imaged"]
    laser, film = making.by_process["laser-imaged"], making.by_process["film-imaged"]
    assert laser.plate_width(30.0, 0.0).value == pytest.approx(30.0 + (12.5 + 12.9) / 8)
    assert film.plate_width(30.0, 0.0).value == pytest.approx(28.0)
    assert laser.artwork_width(laser.plate_width(40.0).value).value == pytest.approx(40.0)
    assert laser.artwork_gap(57.0).value == pytest.approx(60.0)
    assert laser.plate_gap(60.0).value == pytest.approx(57.0)
    assert laser.lip_width(57.0).value == pytest.approx(65.0)
    assert laser.gap_depth(57.0).value == pytest.approx(12.0, rel=0.01)
    assert laser.resolution == 5.3


def test_it_says_what_spreads_are_known_from(making):
    laser, film = making.by_process["laser-imaged"], making.by_process["film-imaged"]
    assert laser.width.spreads.words == "estimated from 4 plates"
    assert film.width.spreads.basis == laser.gap.spreads.basis == "default"
    assert (film.width_spread, laser.gap_spread) == (pytest.approx(1.5), pytest.approx(2.0))
    assert laser.width_spread == laser.width.spreads.new.sd != 1.5
    assert [note.split(" is ")[0] for note in film.notes] == [
        "film-imaged: the spread of lines on new plates",
        "film-imaged: the spread of gaps on new plates",
    ]
    assert len(laser.notes) == 1


def test_a_study_states_another_spread():
    stated = study_of(
        '[plate_making]\nwidth_spread = "0.8 µm"\noffset_spread = "3 µm"\nresolution = "2.5 µm"\n'
    )
    found = plate_making(record_of(*ROWS), stated)
    film, new = found.by_process["film-imaged"], found.of("new")
    assert film.width_spread == pytest.approx(0.8) and film.width.spreads.basis == "stated"
    assert film.gap.spreads.basis == "default"
    assert found.by_process["laser-imaged"].width.spreads.basis == "estimated"
    assert (new.plate_width(30.0).value, new.plate_width(30.0).se) == (30.0, pytest.approx(3.0))
    assert new.resolution == 2.5


def test_a_study_with_plates_is_as_good_as_a_file():
    text = "\n".join(
        f'[[plates]]\nid = "L{at}"\nprocess = "laser-imaged"\nfeatures = [{{feature = "line 30", direction = "0 deg", '
        f'artwork_width = "30 µm", plate_width = "{30 + size} µm"}}]'
        for at, size in enumerate((3.0, 4.0, 2.0, 3.5))
    )
    study = study_of(text)
    stated = plate_making(read_plates([], study), study).by_process["laser-imaged"]
    filed = plate_making(record_of(*ROWS[:4]), pw.Study()).by_process["laser-imaged"]
    assert stated.plate_width(30.0, 0.0) == filed.plate_width(30.0, 0.0)
    assert stated.width.spreads.new == filed.width.spreads.new


def test_without_plates_there_are_defaults():
    found = plate_making(read_plates([]), pw.Study())
    assert dict(found.by_process) == {} and found.table().empty
    any_process = found.of("laser-imaged")
    assert any_process.artwork_width(30.0).value == 30.0
    assert any_process.gap_depth(60.0).why == "0 clearly different gaps were measured, and a line takes 3"


def test_plates_without_a_process():
    unnamed = [row.replace("laser-imaged", "") for row in ROWS[:4]]
    assert list(plate_making(record_of(*unnamed), pw.Study()).by_process) == [""]


def test_the_table_and_the_overview(making):
    table = making.table().set_index(["process", "of"])
    row = table.loc[("laser-imaged", "line")]
    assert (row["artwork"], row["added"]) == (45.0, pytest.approx(3.175))
    assert row["new_low"] < row["new"] < row["new_high"]
    assert table.loc[("film-imaged", "gap"), "known_from"].startswith("a default")
    assert pd.isna(table.loc[("film-imaged", "gap"), "artwork"])
    assert repr(making) == "<Plate making film-imaged and laser-imaged: 2 processes>"
    assert making.overview().rows["laser-imaged"] == (
        "lines measured on 8 features of 4 plates, the same for all artwork; spread estimated from 4 plates"
    )


def test_depth_and_lips_are_told_by_process_and_side_by_side(plates_trial):
    """truth_plates.toml: depth is 0.40 and 0.18 of the gap."""
    film, laser, apart = plate_making(plates_trial.plates, Study()).of_gaps()
    gap = float(film.split("a gap of ")[1].split()[0])
    deep = [float(one.split(" is ")[1].split()[0]) for one in (film, laser)]
    assert deep == pytest.approx([0.40 * gap, 0.18 * gap], rel=0.1)
    assert float(apart.split(": +")[1].split()[0]) == pytest.approx(deep[0] - deep[1], abs=0.15)
    assert plate_making(NO_PLATES, Study()).of_gaps() == ()
