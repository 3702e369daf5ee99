"""From profiles to rows of a trial file."""

import hashlib
import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import x3pio
from click.testing import CliRunner

import pwindow as pw
from pwindow.cli import main
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive
from tests.helpers.profiles import across, parabola, plate, printed


def write(folder, name, trace, head=""):
    lines = [head + "x [µm],z [nm]", *(f"{x:.3f},{1e3 * z:.2f}" for x, z in zip(trace.x, trace.z))]
    path = folder / name
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.fixture
def scans(tmp_path):
    folder = tmp_path / "scans"
    folder.mkdir()
    for at, height in enumerate((0.7, 0.6, 0.5), 1):
        write(folder, f"A-00{at}_left.csv", across(parabola, height=height, noise=0.02))
    return folder


@pytest.fixture
def runs(tmp_path):
    rows = ["print,make_ready,speed [m/min],roll,cell_volume [cm3/m2],pressure [um],plate_gap [um]"]
    rows += [f"A-00{at},M{at},{20 + 10 * at},0412,4.4,50,60" for at in (1, 2, 3)]
    path = tmp_path / "runs.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


def run(*words):
    return CliRunner().invoke(main, ["trace", *map(str, words)])


def test_rows_join_the_run_list_and_read_as_a_trial(scans, runs, tmp_path):
    goal = tmp_path / "features.csv"
    result = run(scans, "--name", "{print}_*.csv", "--runs", runs, "-o", goal)
    assert result.exit_code == 0, result.output
    table = pd.read_csv(goal, dtype={"roll": str})
    assert len(table) == 3 * (6 + 5 + 1)
    first = table.iloc[0]
    assert (first["print"], first["roll"], first["source_line"]) == ("A-001", "0412", 1)
    digest = hashlib.sha256((scans / "A-001_left.csv").read_bytes()).hexdigest()
    assert first["source_sha256"] == digest and first["foot_rule"] == "10 % of the step height"
    trial = pw.read_trial(goal)
    assert len(trial.prints) == 3
    heights = trial.features.groupby("print")["line_height"].mean()
    assert heights.tolist() == pytest.approx([0.7, 0.6, 0.5], rel=0.03)


def test_json_says_what_was_measured_where(scans):
    answer = json.loads(run(scans, "--json").stdout)
    about = ["foot_rule", "instrument", "traces", "topographies"]
    assert list(answer) == [*about, "not_measured", "excluded", "notes", "scans_kept"]
    one = answer["traces"][0]
    assert one["print"] is None and len(one["lines"]) == 6 and len(one["film_um"]) == 7
    assert one["lines"][0]["u_line_height_um"] > 0.003


def test_a_profile_without_lines_is_told_and_the_others_go_on(scans):
    write(scans, "flat.csv", across(parabola, centres=(), height=0.02))
    result = run(scans)
    assert result.exit_code == 0 and "A-003_left.csv" in result.stdout
    assert "flat.csv: nothing on it is clearly higher than the film" in result.stderr


@pytest.mark.parametrize(
    "words, said",
    [
        (("--runs", "runs.csv"), "no pattern of file names was given"),
        (("--name", "{print}_right.csv"), "does not match"),
    ],
)
def test_what_is_missing_is_said(scans, runs, words, said):
    words = [runs if one == "runs.csv" else one for one in words]
    result = run(scans, *words)
    assert result.exit_code == 1 and said in result.stderr


def test_a_run_list_that_lacks_a_print_is_refused(scans, runs, tmp_path):
    runs.write_text("\n".join(runs.read_text().splitlines()[:-1]), encoding="utf-8")
    result = run(scans, "--name", "{print}_*.csv", "--runs", runs, "-o", tmp_path / "f.csv")
    assert result.exit_code == 1 and "the run list lacks 1 print that was measured: “A-003”" in result.stderr
    assert not (tmp_path / "f.csv").exists()


def test_a_topography_says_what_is_along_its_lines(tmp_path, runs):
    made, _ = printed(rows=300, edge=0.8, noise=0.003)
    z = made.z.copy()
    x = np.arange(z.shape[1]) * made.dx
    z[100:110, (x > 160.0) & (x < 260.0)] = np.maximum(z[100:110, (x > 160.0) & (x < 260.0)], 0.3)
    path = tmp_path / "A-001_map.x3p"
    x3pio.write(path, z * 1e-6, x_scale=made.dx * 1e-6, y_scale=made.dy * 1e-6)
    goal = tmp_path / "features.csv"
    result = run(path, "--name", "{print}_*.x3p", "--runs", runs, "-o", goal, "--json")
    (found,) = json.loads(result.stdout)["topographies"]
    assert found["inspected_length_mm"] == pytest.approx(0.3) and found["gaps"][1]["bridges"] == 1
    assert found["lines"][0]["left_edge"]["roughness_um"] > 0.3
    table = pd.read_csv(goal, dtype={"roll": str})
    assert len(table) == 4 + 3 and table["gaps_bridged"].sum() == 1
    assert table["gap_length [mm]"].dropna().tolist() == pytest.approx([0.3] * 3)
    assert len(pw.read_trial(goal).prints) == 1
    text = run(path).stdout
    assert "bridged in 1 place, 3.3 % of its length" in text and "narrowest" in text


def decided(folder, scan, *lines):
    digest = hashlib.sha256(scan.read_bytes()).hexdigest()
    path = folder / "scans.decisions.toml"
    path.write_text(
        "\n".join(["[[scan]]", f'file = "{scan.name}"', f'sha256 = "{digest}"', *lines]), encoding="utf-8"
    )
    return path


def test_decisions_leave_scans_out_and_say_why(scans, runs, tmp_path):
    made = decided(tmp_path, scans / "A-002_left.csv", 'decision = "excluded"', 'reason = "dust"')
    goal = tmp_path / "features.csv"
    words = (scans, "--name", "{print}_*.csv", "--runs", runs, "-o", goal, "--decisions", made)
    result = run(*words)
    assert result.exit_code == 0 and "A-002_left.csv: excluded: dust" in result.stdout
    assert sorted(set(pd.read_csv(goal)["print"])) == ["A-001", "A-003"]
    (out,) = json.loads(run(*words, "--json").stdout)["excluded"]
    assert (out["scan"], out["decision"]) == ("A-002_left.csv", "excluded: dust")
    write(scans, "A-002_left.csv", across(parabola, height=0.65))
    changed = run(*words)
    assert "A-002_left.csv has changed since it was decided on" in changed.stderr
    assert set(pd.read_csv(goal)["print"]) == {"A-001", "A-002", "A-003"}


def test_a_scan_is_levelled_where_it_was_decided(scans, tmp_path):
    made = decided(tmp_path, scans / "A-001_left.csv", 'bare_film = "0 to 60 µm, 740 to 800 µm"')
    one, other, _ = json.loads(run(scans, "--decisions", made, "--json").stdout)["traces"]
    assert len(one["film_um"]) == 2 and one["decision"] == "levelled on 0 to 60 µm, 740 to 800 µm"
    assert len(other["film_um"]) == 7 and other["decision"] is None


def test_where_all_is_excluded_nothing_is_written(scans, tmp_path):
    made = decided(tmp_path, scans / "A-001_left.csv", 'decision = "excluded"', 'reason = "dust"')
    result = run(scans / "A-001_left.csv", "--decisions", made)
    assert result.exit_code == 1 and "all scans are excluded" in result.stderr


def test_a_plate_gives_rows_of_a_plate_file(tmp_path):
    goal = tmp_path / "plate.csv"
    words = (pw.demo("scans_plate"), "--of", "plate")
    result = run(*words, "-o", goal)
    assert result.exit_code == 0 and "rounded top, radius" in result.stdout and "lips 0.6" in result.stdout
    rows = pd.read_csv(goal)
    assert list(rows.columns[:3]) == ["plate_id", "plate_feature", "plate_width [um]"]
    assert set(rows["plate_id"]) == {"laser-imaged", "film-imaged"} and len(rows) == 4 * 7
    of_gap = rows[(rows["source_file"] == "laser-imaged_gaps.csv") & (rows["plate_feature"] == "gap 2")].iloc[
        0
    ]
    assert of_gap["plate_gap [um]"] == pytest.approx(60.0, abs=2 * of_gap["u_plate_gap [um]"])
    assert of_gap["gap_depth [um]"] == pytest.approx(10.0, abs=2 * of_gap["u_gap_depth [um]"])
    answer = json.loads(run(*words, "--json").stdout)
    about = ["edge_rule", "instrument", "plates"]
    assert list(answer) == [*about, "not_measured", "excluded", "notes", "scans_kept"]
    assert [one["top"] for one in answer["plates"][1]["lines"]] == ["rounded"] * 3
    assert answer["plates"][0]["gaps"][0]["lips"][0]["lip_height_um"] == pytest.approx(1.5, abs=0.05)


def test_a_plate_has_no_run_list(runs):
    result = run(pw.demo("scans_plate"), "--of", "plate", "--runs", runs)
    assert result.exit_code == 2 and "leave out --runs and --foot" in result.stderr


def test_of_a_plate_no_topography_is_measured(tmp_path):
    made, _ = printed(rows=60, edge=0.0, noise=0.003)
    path = tmp_path / "map.x3p"
    x3pio.write(path, made.z * 1e-6, x_scale=made.dx * 1e-6, y_scale=made.dy * 1e-6)
    result = run(path, "--of", "plate")
    assert result.exit_code == 1 and "export profiles across its lines" in result.stderr


def test_a_scan_list_names_prints_and_what_else_is_known(scans, runs, tmp_path):
    runs.write_text(
        "\n".join(line.rsplit(",", 1)[0] for line in runs.read_text().splitlines()), encoding="utf-8"
    )
    listed, goal = tmp_path / "scans.csv", tmp_path / "features.csv"
    rows = [f"A-00{at}_left.csv,A-00{at},{gap}" for at, gap in ((1, 45), (2, 60), (3, 75))]
    listed.write_text("\n".join(["scan,print,plate_gap [um]", *rows]), encoding="utf-8")
    result = run(scans, "--list", listed, "--runs", runs, "-o", goal)
    assert result.exit_code == 0, result.output
    table = pd.read_csv(goal)
    assert dict(zip(table["print"], table["plate_gap [um]"])) == {"A-001": 45, "A-002": 60, "A-003": 75}
    assert len(pw.read_trial(goal).prints) == 3 and "not among these files" not in result.stderr
    listed.write_text("\n".join(["scan,print,plate_gap [um]", *rows, "A-009.csv,A-009,60"]), encoding="utf-8")
    assert "names “A-009.csv”, which is not among" in run(scans, "--list", listed).stderr
    for wrong, said in (
        (["file,print", "a.csv,A-001"], "no column “scan”"),
        (["scan,print", rows[0][:-3], rows[0][:-3]], "twice; keep one row a scan"),
        (
            ["scan,print,roll", *(row[:-2] + "0412" for row in rows)],
            "the run list has “roll”, which the scans or their list have too",
        ),
    ):
        listed.write_text("\n".join(wrong), encoding="utf-8")
        result = run(scans, "--list", listed, "--name", "{print}_*.csv", "--runs", runs, "-o", goal)
        assert result.exit_code == 1 and said in result.stderr


def test_pictures_of_scans(scans, tmp_path):
    page = tmp_path / "scans.html"
    assert run(scans, "--picture", page).exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert text.count("plotly-graph-div") == 3 and "A-003_left.csv" in text
    several = run(scans, "--picture", tmp_path / "scans.svg")
    assert several.exit_code == 1 and "name fewer files, or end it in .html" in several.stderr
    assert run(scans, "--picture", tmp_path / "scans.gif").exit_code == 2


@pytest.mark.slow
def test_an_image_of_a_plate(tmp_path):
    scan = pw.demo("scans_plate/film-imaged_gaps.csv")
    assert run(scan, "--of", "plate", "--picture", tmp_path / "plate.svg").exit_code == 0
    image = (tmp_path / "plate.svg").read_text(encoding="utf-8")
    assert "printing surface that it is levelled on" in image and "gap 4" in image


def test_trials_measured_by_different_foot_rules_say_so(scans, runs, tmp_path):
    """A parabola's width at a height h below its peak is its base times the root of 1 - h."""
    named = (scans, "--name", "{print}_*.csv", "--runs", runs)
    tenth, low = tmp_path / "tenth.csv", tmp_path / "low.csv"
    assert run(*named, "-o", tenth).exit_code == 0
    assert run(*named, "-o", low, "--foot", "three-deviations").exit_code == 0
    rows = pd.read_csv(low)
    assert set(rows["foot_rule"]) == {"3 standard deviations of the bare film"}
    widths = rows["line_width [um]"].dropna()
    assert widths.mean() == pytest.approx(60.0 * np.sqrt(1.0 - 3.0 * 0.02), abs=0.6)
    assert pd.read_csv(tenth)["line_width [um]"].mean() < widths.mean() - 0.5
    assert not any("foot" in one for one in pw.read_trial(low).warnings)
    (warning,) = (one for one in pw.read_trial([tenth, low]).warnings if "foot" in one)
    assert "(3 prints) and “3 standard deviations of the bare film” (3 prints)" in warning.replace(
        "\u00a0", " "
    )
    archive = Archive(str(tmp_path / "trials.db"))
    for path in (tenth, low):
        archive.add(InputFile.of(path), "same process", "as before")
    assert warning in archive.trial().warnings


def test_a_study_says_how_scans_are_measured_and_called(tmp_path):
    folder, study, out = tmp_path / "scans", tmp_path / "press.toml", tmp_path / "out.csv"
    folder.mkdir()
    made = across(parabola, noise=0.01)
    rows = "\n".join(f"{x:.3f},{z:.5f}" for x, z in zip(made.x, made.z))
    (folder / "A-7_scan.csv").write_text(f"x [µm],z [µm]\n{rows}\n", encoding="utf-8")
    study.write_text(
        '[scans]\nfoot = "three-deviations"\ninstrument = "stylus"\nheight_uncertainty = "9 nm"\n'
        'names = "{print}_*.csv"\n',
        encoding="utf-8",
    )
    found = json.loads(run(folder, "--study", study, "-o", out, "--json").stdout)
    assert (found["instrument"]["name"], found["instrument"]["fixed"]) == ("stylus", pytest.approx(0.009))
    assert found["foot_rule"] == "3 standard deviations of the bare film"
    assert set(pd.read_csv(out)["print"]) == {"A-7"}
    told = json.loads(
        run(folder, "--study", study, "--instrument", "optical", "--foot", "tenth", "--json").stdout
    )
    assert told["instrument"]["fixed"] == 0.003 and told["foot_rule"] == "10 % of the step height"


def test_on_a_topography_the_foot_is_always_a_tenth(tmp_path):
    made, _ = printed(rows=60, edge=0.0, noise=0.003)
    path = tmp_path / "map.x3p"
    x3pio.write(path, made.z * 1e-6, x_scale=made.dx * 1e-6, y_scale=made.dy * 1e-6)
    result = run(path, "--foot", "three-deviations")
    assert result.exit_code == 1 and "measure it so" in result.stderr


def test_a_file_that_is_no_scan_does_not_hold_up_the_others(scans):
    (scans / "B.csv").write_text("not a scan", encoding="utf-8")
    result = run(scans)
    assert result.exit_code == 0 and "A-003_left.csv" in result.stdout
    assert "B.csv: no line names a column of positions" in result.stderr
    alone = run(scans / "B.csv")
    assert alone.exit_code == 1 and "B.csv: no line names a column of positions" in alone.stderr


def test_an_archive_that_is_not_there_yet_holds_no_decisions(scans, tmp_path, monkeypatch):
    """Scans are measured before the first trial is added; one that is named on the command line must be there."""
    monkeypatch.setenv("PWINDOW_ARCHIVE", str(tmp_path / "trials.db"))
    assert run(scans).exit_code == 0 and not (tmp_path / "trials.db").exists()
    named = run(scans, "--archive", tmp_path / "typo.db")
    assert named.exit_code == 1 and "there is no archive" in named.stderr


def test_a_list_may_have_capitals_and_units_behind_a_slash(scans, runs, tmp_path):
    text = runs.read_text().replace("print,", "Print,").splitlines()
    runs.write_text("\n".join(line.rsplit(",", 1)[0] for line in text), encoding="utf-8")
    listed, goal = tmp_path / "scans.csv", tmp_path / "features.csv"
    for head in ("Scan,Print,Plate gap / µm", "SCAN,PRINT,plate_gap_um"):
        rows = [f"A-00{at}_left.csv,A-00{at},{gap}" for at, gap in ((1, 45), (2, 60), (3, 75))]
        listed.write_text("\n".join([head, *rows]), encoding="utf-8")
        result = run(scans, "--list", listed, "--runs", runs, "-o", goal)
        assert result.exit_code == 0, result.output
        prints = pw.read_trial(goal).features.groupby("print")["plate_gap"].first()
        assert dict(prints) == {"A-001": 45, "A-002": 60, "A-003": 75}
    listed.write_text("\n".join(["Scan,scan,print", *rows]), encoding="utf-8")
    assert "column “scan” twice (“Scan”, “scan”); keep one" in run(scans, "--list", listed).stderr


def test_a_list_that_contradicts_the_header_or_the_name_of_a_file_is_told(scans, tmp_path):
    write(scans, "A-003_left.csv", across(parabola, height=0.5, noise=0.02), head="# Print: A-003\n")
    listed, goal = tmp_path / "scans.csv", tmp_path / "features.csv"
    rows = ["A-001_left.csv,A-001", "A-002_left.csv,A-009", "A-003_left.csv,A-007"]
    listed.write_text("\n".join(["scan,print", *rows]), encoding="utf-8")
    words = (scans, "--list", listed, "--name", "{print}_*.csv", "-o", goal)
    (note,) = json.loads(run(*words, "--json").stdout)["notes"]
    assert "disagree on the print of 2 scans" in note and "A-001" not in note
    assert "A-002_left.csv (list “A-009”, file name “A-002”)" in note
    assert (
        "A-003_left.csv (list “A-007”, header “A-003”, file name “A-003”); the first of each is used" in note
    )
    assert note in run(*words).stderr and set(pd.read_csv(goal)["print"]) == {"A-001", "A-009", "A-007"}


def test_a_listed_file_that_cannot_be_read_is_there(scans, tmp_path):
    (scans / "B.csv").write_text("not a scan", encoding="utf-8")
    listed = tmp_path / "scans.csv"
    rows = [*(f"A-00{at}_left.csv,A-00{at}" for at in (1, 2, 3)), "B.csv,B-1", "C.csv,C-1", "D.csv,D-1"]
    listed.write_text("\n".join(["scan,print", *rows]), encoding="utf-8")
    assert "names “C.csv”, “D.csv”, which are not among" in run(scans, "--list", listed).stderr


def test_a_decision_about_a_profile_that_is_not_there_is_told(scans, tmp_path):
    made = decided(
        tmp_path, scans / "A-002_left.csv", 'profile = "z3"', 'decision = "excluded"', 'reason = "dust"'
    )
    answer = json.loads(run(scans, "--decisions", made, "--json").stdout)
    assert len(answer["traces"]) == 3
    assert answer["notes"] == [
        "A-002_left.csv: “excluded: dust” was decided of its profile “z3”, and it holds one profile without a name; that "
        "decision is not used"
    ]


def test_a_plate_whose_bottom_is_not_seen_has_no_depth(tmp_path):
    made = plate(gap=60.0, noise=0.02)
    hidden = np.abs(made.x - 300.0) < 20.0
    path = write(tmp_path, "plate.csv", replace(made, z=np.where(hidden, np.nan, made.z)))
    result = run(path, "--of", "plate")
    assert result.exit_code == 0 and "nan" not in result.stdout
    assert "its bottom was not seen: no depth" in result.stdout
    gaps = json.loads(run(path, "--of", "plate", "--json").stdout)["plates"][0]["gaps"]
    assert gaps[1]["gap_depth_um"] is None and gaps[0]["gap_depth_um"] == pytest.approx(12.0, abs=0.05)
