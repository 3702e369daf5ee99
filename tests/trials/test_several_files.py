"""Several files as one trial, the fingerprint, and what a summary says."""

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import TrialProblem
from pwindow.inputs import InputFile
from pwindow.trials import summarise
from tests.helpers.trials import as_parquet, as_workbook, read_frame, read_text

FIRST, SECOND = pw.demo("trial_first.csv"), pw.demo("trial_second.csv")


def test_prints_of_two_files_stay_apart():
    trial = pw.read_trial([FIRST, SECOND])
    assert len(trial.prints) == 65 + 24
    assert trial.prints["make_ready"].nunique() == 18 + 8
    assert trial.files == ("trial_first.csv", "trial_second.csv")


def test_same_print_id_in_two_files_is_two_prints(demo_rows):
    content = demo_rows.to_csv(index=False).encode()
    later = (
        demo_rows.assign(**{"line_height [um]": demo_rows["line_height [um]"] * 1.01})
        .to_csv(index=False)
        .encode()
    )
    trial = pw.read_trial([InputFile("a.csv", content), InputFile("b.csv", later)])
    assert len(trial.prints) == 130
    assert trial.prints["make_ready"].nunique() == 36


def test_two_files_of_one_name_in_two_folders_stay_apart(tmp_path, demo_rows):
    paths = []
    for folder, speed in (("spring", 0.0), ("autumn", 5.0)):
        (tmp_path / folder).mkdir()
        paths.append(tmp_path / folder / "trial.csv")
        demo_rows.assign(**{"speed [m/min]": demo_rows["speed [m/min]"] + speed}).to_csv(
            paths[-1], index=False
        )
    trial = pw.read_trial(paths)
    assert len(trial.prints) == 130
    assert sorted(trial.prints["speed"].unique()) != sorted(pw.read_trial(paths[0]).prints["speed"].unique())


@pytest.mark.parametrize(
    "twice",
    [
        [FIRST, FIRST],
        [FIRST, pw.demo("trial_first.csv")],
        [str(FIRST), FIRST],
        [InputFile("a.csv", FIRST.read_bytes()), InputFile("b.csv", FIRST.read_bytes())],
        [InputFile("a.csv", FIRST.read_bytes())] * 2,
    ],
)
def test_the_same_file_twice(twice):
    with pytest.raises(TrialProblem, match="same file"):
        pw.read_trial(twice)


def test_two_kinds_of_pressure(demo_rows):
    other = demo_rows.rename(columns={"pressure [um]": "pressure [kPa]"})
    files = [
        InputFile(f"{name}.csv", frame.to_csv(index=False).encode())
        for name, frame in (("a", demo_rows), ("b", other))
    ]
    with pytest.raises(TrialProblem) as caught:
        pw.read_trial(files)
    (problem,) = caught.value.problems
    assert problem.column == "pressure" and "kPa" in problem.what and "µm" in problem.what


def test_problems_of_all_files_come_together():
    with pytest.raises(TrialProblem) as caught:
        pw.read_trial([InputFile("a.csv", b""), FIRST, InputFile("b.csv", b"x,y\n1,2\n")])
    assert {problem.file for problem in caught.value.problems} == {"a.csv", "b.csv"}


def test_a_generator_of_paths(demo_trial):
    assert pw.read_trial(path for path in [FIRST]).fingerprint == demo_trial.fingerprint


def test_fingerprint_does_not_depend_on_format_or_column_order(demo_rows, demo_trial):
    assert read_text(as_workbook(demo_rows), "t.xlsx").fingerprint == demo_trial.fingerprint
    assert read_text(as_parquet(demo_rows), "t.parquet").fingerprint == demo_trial.fingerprint
    assert read_frame(demo_rows[demo_rows.columns[::-1]]).fingerprint == demo_trial.fingerprint


def test_fingerprint_does_not_depend_on_units(demo_rows, demo_trial):
    converted = demo_rows.rename(
        columns={
            "speed [m/min]": "speed [ft/min]",
            "cell_volume [cm3/m2]": "cell_volume [BCM]",
            "line_height [um]": "line_height [nm]",
            "resistance [ohm]": "resistance [mΩ]",
        }
    )
    converted["speed [ft/min]"] /= 0.3048
    converted["cell_volume [BCM]"] *= 0.64516
    converted["line_height [nm]"] *= 1000
    converted["resistance [mΩ]"] *= 1000
    trial = read_frame(converted)
    numbers = trial.features.select_dtypes("number")
    np.testing.assert_allclose(numbers, demo_trial.features[numbers.columns], rtol=1e-12)
    assert trial.fingerprint == demo_trial.fingerprint


def test_fingerprint_changes_with_any_value(demo_rows, demo_trial):
    seen = {demo_trial.fingerprint}
    mounted = demo_rows["make_ready"] == demo_rows["make_ready"][0]
    for column, row, value in (
        ("line_height [um]", 0, 0.7721),
        ("speed [m/min]", slice(0, 9), 31.0),
        ("roll", mounted, "x"),
        ("gaps_inspected", 4, 2),
        ("plate", mounted, "y"),
    ):
        changed = demo_rows.copy()
        changed.loc[row, column] = value
        seen.add(read_frame(changed).fingerprint)
    assert len(seen) == 6


def test_unnamed_rolls_go_by_volume(demo_rows):
    rolls = read_frame(demo_rows.drop(columns="roll")).rolls
    assert [roll.id for roll in rolls] == [f"{v} cm³/m²" for v in ("2.4", "3.3", "4.4", "5.6", "7.2")]


def test_summary_counts_what_a_reader_would_count(demo_trial, demo_rows):
    found = summarise(demo_trial)
    assert (found.prints, found.make_readies, found.features) == (65, 18, 650)
    assert found.gaps_bridged == int(demo_rows["gaps_bridged"].sum())
    assert found.measured["gap"] == int(demo_rows["gap [um]"].notna().sum())
    assert vars(found.ranges["speed"]) == {
        "unit": "m/min",
        "least": 30.0,
        "most": 120.0,
        "levels": demo_rows["speed [m/min]"].nunique(),
    }
    assert found.rolls == pytest.approx({"0412": 2.4, "0655": 3.3, "1203": 4.4, "1318": 5.6, "2047": 7.2})
    assert found.constant == {"direction": 0.0}


def test_nothing_of_a_refused_file_is_kept(demo_rows, demo_trial):
    before = demo_trial.features.copy()
    with pytest.raises(TrialProblem):
        read_frame(demo_rows.assign(**{"speed [m/min]": -1}))
    pd.testing.assert_frame_equal(demo_trial.features, before)
