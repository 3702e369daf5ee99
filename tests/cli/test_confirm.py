"""``pwindow confirm``: the prints of a run compared with the predictions of a fit."""

import re

import numpy as np
import pandas as pd
import pytest

from tests.helpers.commands import answer, refused, run

HEIGHT = "line_height [um]"


@pytest.fixture(scope="module")
def archive(first, tag_file, tmp_path_factory):
    """An archive with a fit that promises a run."""
    found = tmp_path_factory.mktemp("archive") / "trials.db"
    answer("add", first, "--archive", found)
    answer("refit", "--archive", found, "--product", tag_file)
    return found


@pytest.fixture(scope="module")
def run_prints(make_demo, tmp_path_factory):
    """Maker of a file with eight prints of two make-readies at one set-up; heights times `factor`."""

    def made(seed, factor=1.0):
        layout = make_demo.layout_second()
        layout = layout[layout["plate"] == "laser-imaged"].head(8).reset_index(drop=True)
        layout = layout.assign(speed=80.0, cell_volume=7.2, roll="2047", pressure=50.0)
        layout["make_ready"] = [f"C-M{at // 4}" for at in range(len(layout))]
        rows = make_demo.simulate_trial(make_demo.read_truth(), layout, np.random.default_rng(seed))
        rows[HEIGHT] *= factor
        rows["resistance [ohm]"] /= factor
        path = tmp_path_factory.mktemp("run") / f"run_{seed}.csv"
        rows.to_csv(path, index=False)
        return path

    return made


@pytest.mark.slow
def test_prints_as_promised(archive, run_prints):
    found = answer("confirm", run_prints(1), "--archive", archive)
    assert found["fit"]["number"] == 1 and found["agreement"]["degree"] != "does not agree"
    assert found["agreement"]["sentences"][-1].startswith("How this is judged")
    (promise,) = found["promises"]
    assert (promise["speed_m_min"], promise["prints"]) == (80.0, 8)
    assert promise["promised"] > 0.98 and promise["if_same_process"] > 0.97
    met = pd.DataFrame(found["met"])
    assert set(met["requirement"]) == {"line_resistance", "line_width"}, "no gap of 60 µm was measured"
    assert met["met"].all() and met["print"].nunique() == 8
    listed = answer("trials", "--archive", archive)["trials"]
    assert listed[-1]["standing"] == "undecided" and listed[-1]["reason"] == "confirmation prints of fit 1"


@pytest.mark.slow
def test_prints_that_break_the_promise(archive, run_prints):
    found = answer("confirm", run_prints(2, 0.75), "--archive", archive, "--fit", 1)
    assert not found["agreement"]["agrees"]
    assert found["agreement"]["responses"]["line_height"]["shift_high"] < np.log(0.9)
    (promise,) = found["promises"]
    assert promise["if_same_process"] < promise["promised"] - 0.01, "prints that disagree add to the spread"
    assert promise["if_same_process"] < promise["if_changed_process"] < promise["promised"] - 0.01
    met = pd.DataFrame(found["met"])
    assert not met.loc[met["requirement"] == "line_resistance", "met"].all()
    told = run("confirm", run_prints(3, 0.75), "--archive", archive).stdout
    assert "compared with the predictions of fit 1" in told and "it does not agree" in told
    assert re.search(r"consistently [\d.]+ % low", told)
    assert "of 8 prints meet every requirement that was measured" in told and "pwindow accept-change" in told


@pytest.mark.slow
def test_a_run_outside_the_trial_is_promised_nothing(archive, run_prints, tmp_path):
    rows = pd.read_csv(run_prints(4), dtype={"roll": str})
    fast = tmp_path / "fast.csv"
    rows.assign(**{"speed [m/min]": 180.0}).to_csv(fast, index=False)
    found = answer("confirm", fast, "--archive", archive)
    (promise,) = found["promises"]
    assert promise["promised"] is promise["if_same_process"] is promise["if_changed_process"] is None
    assert found["agreement"]["verdict"] == "cannot be compared" and not found["agreement"]["agrees"]
    assert "outside the trial region" in " ".join(found["agreement"]["sentences"])


def test_a_fit_is_not_confirmed_by_its_own_prints(archive, first):
    assert "trial 1 is part of fit 1" in refused("confirm", first, "--archive", archive)


@pytest.mark.slow
def test_a_gap_of_its_own_lets_no_new_term_in(archive, run_prints, tmp_path, make_demo):
    """A plate gap that the trial did not have would make plate_gap² estimable, by these prints alone."""
    rows = pd.read_csv(run_prints(7), dtype={"roll": str})
    gaps = rows["gap [um]"].notna() | rows["gaps_bridged"].gt(0)
    rows.loc[gaps & (rows["plate_gap [um]"] == 45.0), ["plate_gap [um]", "gap [um]"]] = [60.0, 27.0]
    path = tmp_path / "gap60.csv"
    rows.to_csv(path, index=False)
    found = answer("confirm", path, "--archive", archive)
    (promise,) = found["promises"]
    assert promise["if_same_process"] > promise["promised"] - 0.005
    gap = next(one for one in found["met"] if one["requirement"] == "gap")
    assert gap["low"] == gap["high"] == 27.0 and gap["met"]


@pytest.mark.slow
def test_bridged_gaps_of_a_run_fail_the_part(archive, run_prints, tmp_path):
    rows = pd.read_csv(run_prints(8), dtype={"roll": str})
    gaps = (rows["plate_gap [um]"] == 45.0) & (rows["gap [um]"].notna() | rows["gaps_bridged"].gt(0))
    rows.loc[gaps, ["plate_gap [um]", "gap [um]"]] = [60.0, 27.0]
    first = rows.index[gaps][0]
    rows.loc[first, ["gap [um]", "gaps_inspected", "gaps_bridged"]] = [np.nan, 1, 1]
    path = tmp_path / "short.csv"
    rows.to_csv(path, index=False)
    met = pd.DataFrame(answer("confirm", path, "--archive", archive)["met"])
    missed = met[~met["met"].astype(bool)]
    assert list(missed["print"]) == [rows.loc[first, "print"]] and list(missed["bridged"]) == [1]


@pytest.mark.slow
def test_another_kind_of_pressure_is_refused_before_it_is_kept(archive, run_prints, tmp_path):
    rows = pd.read_csv(run_prints(9), dtype={"roll": str}).rename(columns={"pressure [um]": "pressure [kPa]"})
    path = tmp_path / "kpa.csv"
    rows.to_csv(path, index=False)
    before = answer("trials", "--archive", archive)
    for command in ("confirm", "add"):
        assert "pressures are in kPa" in refused(command, path, "--archive", archive)
    assert answer("trials", "--archive", archive) == before


def test_nothing_was_promised_yet(first, run_prints, tmp_path):
    archive = tmp_path / "new.db"
    run("add", first, "--archive", archive)
    assert "there is no fit to confirm yet" in refused("confirm", run_prints(5), "--archive", archive)


def test_a_fit_that_is_not_there(archive, run_prints):
    before = answer("trials", "--archive", archive)
    assert "there is no fit “7”" in refused("confirm", run_prints(6), "--archive", archive, "--fit", 7)
    assert answer("trials", "--archive", archive) == before


@pytest.mark.slow
def test_a_run_that_does_not_name_its_plate_is_told_nothing_of(archive, run_prints, tmp_path):
    path = tmp_path / "unnamed.csv"
    pd.read_csv(run_prints(10), dtype={"roll": str}).drop(columns="plate").to_csv(path, index=False)
    found = answer("confirm", path, "--archive", archive, "--fit", 1)
    assert found["met"] == [] and found["promises"] == []
    assert found["agreement"]["verdict"] == "cannot be compared"


@pytest.mark.slow
def test_prints_of_another_plate_than_the_product_s(archive, run_prints, tmp_path):
    rows = pd.read_csv(run_prints(5), dtype={"roll": str}).assign(plate="film-imaged")
    rows[HEIGHT] *= 1.01
    other = tmp_path / "other plate.csv"
    rows.to_csv(other, index=False)
    told = run("confirm", other, "--archive", archive).stdout
    assert "the fit judged no product that matches these prints" in told


@pytest.mark.slow
def test_a_run_that_names_no_make_readies(archive, run_prints, tmp_path):
    rows = pd.read_csv(run_prints(6), dtype={"roll": str}).drop(columns="make_ready")
    bare = tmp_path / "bare.csv"
    rows.to_csv(bare, index=False)
    (promise,) = answer("confirm", bare, "--archive", archive)["promises"]
    assert promise["prints"] == 8
