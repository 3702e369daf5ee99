"""A drift while the trial is printed is told, followed on request, and not found where there is none."""

import json

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from click.testing import CliRunner

import pwindow as pw
from pwindow.cli import main
from pwindow.errors import DeclarationProblem, TrialProblem
from pwindow.inputs import InputFile
from pwindow.study import IN_FILE_ORDER, MakeReadies
from pwindow.surfaces.checks.drift import drift, progress_of
from pwindow.surfaces.findings import findings
from pwindow.surfaces.model.responses import response_data
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.trials.archive import Archive, Standing
from pwindow.trials.press_order import IN_FILE, PROGRESS
from pwindow.wording import us_customary
from tests.helpers.trials import read_frame, read_text

HEIGHT, AREA, OHM = "line_height [um]", "section_area [um2]", "resistance [ohm]"
ORDERED, FOLLOWED = MakeReadies(press_order=IN_FILE_ORDER), MakeReadies(press_order=IN_FILE_ORDER, drift=True)
SHORT = Plan(warm=10, kept=20, doublings=0)


@pytest.fixture
def falling(demo_rows):
    """The demo, whose lines lose a fifth of their height from the first print to the last."""
    place = pd.factorize(demo_rows["print"])[0] / (demo_rows["print"].nunique() - 1)
    share = 0.8**place
    return demo_rows.assign(
        **{HEIGHT: demo_rows[HEIGHT] * share, AREA: demo_rows[AREA] * share, OHM: demo_rows[OHM] / share}
    )


def test_a_drift_is_told_with_its_amount(falling, demo_trial):
    before = pw.fit(demo_trial, plan=SHORT, make_readies=ORDERED)
    surfaces = pw.fit(read_frame(falling), plan=SHORT, make_readies=ORDERED)
    change = surfaces.drifts["line_height"].change
    assert change == pytest.approx(before.drifts["line_height"].change + np.log(0.8), abs=1e-6)
    (found,) = [one for one in findings(surfaces) if "from the first print to the last" in one.sentence]
    assert found.weight == "serious" and "line height fell by" in found.sentence
    assert "line width" not in found.sentence and "drift = true" in found.sentence
    assert not [one for one in findings(before) if "first print" in one.sentence]


def test_it_is_that_of_generalised_least_squares(falling):
    """Statsmodels with the covariance that the surface with the drift has."""
    trial = read_frame(falling)
    surfaces = pw.fit(trial, plan=SHORT, make_readies=FOLLOWED)
    surface, found = surfaces.by_name["line_height"], surfaces.drifts["line_height"]
    parts, cells = surface.components, surface.cells
    ready, prints = (
        np.equal.outer(codes, codes)
        for codes in (pd.factorize(cells[name])[0] for name in ("make_ready", "print"))
    )
    covariance = parts.make_ready * ready + parts.print_ * prints + np.diag(parts.feature / cells["count"])
    at = surface.design.labels.index(PROGRESS)
    plain = sm.GLS(cells["value"], surface.design.matrix(cells), sigma=covariance).fit()
    assert found.change == pytest.approx(2.0 * plain.params.iloc[at], rel=1e-6)
    first, last = (surface.mean(cells.assign(progress=end)) for end in (0.0, 1.0))
    assert last - first == pytest.approx(np.full(len(cells), found.change))
    beside = drift(
        response_data(trial)["line_height"], surface.design.keeping([t for t in surface.design.terms if PROGRESS not in t]),
        progress_of(trial.prints, ORDERED),
    )  # fmt: skip
    assert (beside.change, beside.p) == pytest.approx((found.change, found.p), rel=1e-6)


def test_surfaces_that_follow_it_predict_the_end_of_the_trial(falling, demo_trial):
    trial = read_frame(falling)
    as_ever, followed = (pw.fit(trial, plan=SHORT, make_readies=one) for one in (ORDERED, FOLLOWED))
    setups = trial.prints.assign(plate_width=30.0, plate_gap=60.0, direction=0.0)
    setups = setups.drop(columns=[PROGRESS, IN_FILE]).iloc[:12]
    ratio = followed.predict("line_height", setups)["mean"] / as_ever.predict("line_height", setups)["mean"]
    half = np.exp(followed.drifts["line_height"].change / 2.0)
    assert ratio.mean() == pytest.approx(half, rel=0.03) and half < 0.92
    assert any("at the end of the trial" in note and "µm" in note for note in followed.notes)
    assert [note for note in followed.notes_in(us_customary()) if "thou" in note and "µm" not in note]
    assert not [one for one in findings(followed) if "first print" in one.sentence]
    assert followed.fingerprint != as_ever.fingerprint


def test_without_an_order_it_is_said_to_be_unchecked(demo_surfaces):
    assert any("drift during the trial is not checked" in note for note in demo_surfaces.notes)
    assert not demo_surfaces.drifts


def test_an_order_that_the_settings_follow_leaves_nothing_to_tell(demo_rows):
    speeds = demo_rows["speed [m/min]"]
    trial = read_frame(demo_rows.assign(order=np.log(speeds)))
    surfaces = pw.fit(trial, plan=SHORT)
    assert progress_of(trial.prints, MakeReadies()) is not None
    assert "line_height" in surfaces.drifts, "ranks of four speeds are no line in the logarithm"
    by_time = demo_rows.assign(**{"time [min]": np.log(speeds) * 100.0})
    assert not pw.fit(read_frame(by_time), plan=SHORT).drifts


HEAD = "print,speed [m/min],cell_volume [cm3/m2],pressure [um],line_height [um]"


def test_times_are_minutes_or_moments():
    rows = ["P1,60,4.4,50,0.8", "P2,90,4.4,50,0.7", "P3,30,4.4,50,0.9"]
    moments = ["2026-05-04 23:40", "2026-05-04 23:55", "2026-05-05 00:40"]
    told = "\n".join(f"{row},{moment}" for row, moment in zip(rows, moments))
    prints = read_text(f"{HEAD},time\n{told}\n").prints
    assert prints["time"].tolist() == [0.0, 15.0, 60.0] and prints[PROGRESS].tolist() == [0.0, 0.25, 1.0]
    hours = "\n".join(f"{row},{time}" for row, time in zip(rows, (0, 0.25, 1)))
    assert read_text(f"{HEAD},time [h]\n{hours}\n").prints["time"].tolist() == [0.0, 15.0, 60.0]
    with pytest.raises(TrialProblem, match="date and time as 2026-05-04 14:32"):
        read_text(f"{HEAD},time\n" + "\n".join(f"{row},14:3{at}" for at, row in enumerate(rows)))


def test_orders_count_by_their_rank_and_only_if_every_print_has_one():
    rows = ["P1,60,4.4,50,0.8,7", "P2,90,4.4,50,0.7,3", "P3,30,4.4,50,0.9,20"]
    prints = read_text(f"{HEAD},order\n" + "\n".join(rows)).prints
    assert prints[PROGRESS].tolist() == [0.5, 0.0, 1.0] and prints[IN_FILE].tolist() == [0.0, 0.5, 1.0]
    rows[1] = "P2,90,4.4,50,0.7,"
    prints = read_text(f"{HEAD},order\n" + "\n".join(rows)).prints
    assert prints[PROGRESS].isna().all()


def test_a_column_of_the_file_with_a_name_of_ours_is_not_taken_for_it():
    rows = ["P1,60,4.4,50,0.8,a,9", "P2,90,4.4,50,0.7,b,9"]
    trial = read_text(f"{HEAD},state,progress\n" + "\n".join(rows))
    assert "state" not in trial.prints and trial.prints[PROGRESS].isna().all() and trial.changed_since == ""


def test_an_archive_keeps_the_order(tmp_path, demo_rows):
    place = pd.factorize(demo_rows["print"])[0] + 1
    file = InputFile(
        "ordered.csv", demo_rows.assign(order=place[::-1].max() - place).to_csv(index=False).encode()
    )
    archive = Archive(str(tmp_path / "a.db"))
    archive.add(file, Standing.SAME_PROCESS, "first")
    archive.add(InputFile.of(pw.demo("trial_second.csv")), Standing.SAME_PROCESS, "second")
    alone, both = archive.trial([1]), archive.trial()
    assert alone.prints[PROGRESS].tolist() == pytest.approx(np.linspace(1.0, 0.0, 65))
    assert alone.fingerprint == pw.read_trial(file).fingerprint
    assert (
        both.prints.groupby(both.prints.index.str[:9])[IN_FILE].agg(["min", "max"]).to_numpy().tolist()
        == [[0.0, 1.0]] * 2
    )
    assert progress_of(both.prints, MakeReadies()) is None and progress_of(both.prints, ORDERED) is not None
    assert not archive.changed_trials([1, 2])


def test_an_order_is_part_of_the_fingerprint(demo_rows, demo_trial):
    assert read_frame(demo_rows).fingerprint == demo_trial.fingerprint
    place = pd.factorize(demo_rows["print"])[0] + 1.0
    assert read_frame(demo_rows.assign(order=place)).fingerprint != demo_trial.fingerprint


def test_a_drift_that_the_criterion_drops_is_not_said_to_be_followed(demo_trial):
    surfaces = pw.fit(demo_trial, terms="chosen", plan=SHORT, make_readies=FOLLOWED)
    assert not any((PROGRESS,) in one.design.terms for one in surfaces.by_name.values())
    assert not any("surfaces follow a drift" in note for note in surfaces.notes)


def test_simulated_trials_drift_as_the_fit_does(falling):
    """Also where the study alone states the order, so that the file's own place counts."""
    trial = read_frame(falling)
    surfaces = pw.fit(trial, plan=SHORT, make_readies=FOLLOWED)
    truth = Truth.of(surfaces)
    found = []
    for seed in range(8):
        drawn = simulate_trial(trial, truth, np.random.default_rng(seed))
        assert drawn.features["line_height"].notna().sum() == trial.features["line_height"].notna().sum()
        found.append(pw.fit(drawn, plan=SHORT, make_readies=FOLLOWED).drifts["line_height"].change)
    true, error = surfaces.drifts["line_height"].change, np.std(found, ddof=1) / np.sqrt(len(found))
    assert np.mean(found) == pytest.approx(true, abs=4.0 * error) and true < -5.0 * error


def test_fit_prints_it(tmp_path, falling):
    trial, study = tmp_path / "falling.csv", tmp_path / "study.toml"
    trial.write_text(falling.to_csv(index=False))
    study.write_text(f'[make_readies]\npress_order = "{IN_FILE_ORDER}"\n')
    asked = ["fit", str(trial), "--study", str(study)]
    text = CliRunner().invoke(main, asked)
    assert text.exit_code == 0 and "change from the first print to the last" in text.stdout
    answer = json.loads(CliRunner().invoke(main, [*asked, "--json"]).stdout)
    assert answer["drift"]["line_height"]["high"] < 0.0 < answer["drift"]["line_width"]["p"]
    assert "drift" not in " ".join(answer["notes"])


@pytest.mark.parametrize(
    ("line", "words"), [('press_order = "by speed"', "as in the file"), ("drift = 1", "true or false")]
)
def test_what_a_study_states_of_it_is_checked(tmp_path, line, words):
    path = tmp_path / "study.toml"
    path.write_text(f"[make_readies]\n{line}\n")
    with pytest.raises(DeclarationProblem, match=words):
        pw.read_study(path)
    path.write_text(f'[make_readies]\npress_order = "{IN_FILE_ORDER}"\ndrift = true\n')
    stated = pw.read_study(path).make_readies
    assert stated.in_file_order and stated.drift and not stated.stated
