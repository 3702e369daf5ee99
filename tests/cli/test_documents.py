"""`pwindow review` and `pwindow run-sheet`: documents whose numbers are those of the other commands."""

import datetime
import json
import re
import shlex
import shutil
import subprocess
import sys

import pytest

import pwindow as pw
from pwindow.trials.archive import Archive
from tests.helpers.commands import answer, misused, refused, run
from tests.helpers.words import plain


@pytest.fixture(scope="module")
def asked(first, tag_file):
    return [first, "--product", tag_file, "--study", str(pw.demo("study.toml"))]


@pytest.mark.slow
def test_numbers_are_those_of_speeds_and_predict(asked):
    found = answer("review", *asked)
    told = answer("speeds", *asked)
    assert found["bands"] == told["bands"] and found["recommended"] == told["recommended"]
    at = "roll=2047, pressure=50 µm, speed=97.8 m/min"
    point = answer("predict", *asked, "--at", at)["points"][0]
    assert found["conformance"] == pytest.approx(point["conformance"], abs=1e-12)
    line = next(one for one in found["requirements"] if one["name"] == "line_resistance")
    predicted = point["responses"]["line_resistance_ohm"]
    assert [line["mean"], line["low"], line["high"]] == [
        predicted[name] for name in ("mean", "obs_ci_low", "obs_ci_high")
    ]
    assert found["trial"]["fingerprint"] == told["trial"]["fingerprint"]


@pytest.mark.slow
def test_the_report_prints_what_the_commands_print(asked, tmp_path):
    """The numbers of both commands, as they are printed, stand in the document."""
    file = tmp_path / "report.html"
    result = run("review", *asked, "-o", file)
    assert result.exit_code == 0 and str(file) in result.stdout
    words = re.sub(r"<script>.*?</script>|<[^>]+>", "", file.read_text(encoding="utf-8"), flags=re.S)
    words = plain(re.sub("[\u2007\u2008]", "", words))  # the former align the columns of a table
    text = run("speeds", *asked).stdout
    for band in re.findall(r"[\d.]+ – [\d.]+", text):
        assert band in words
    speed, conformance = re.search(
        r"recommended: ([\d.]+) m/min, ([\d.]+ %) probability of meeting all requirements", text
    ).groups()
    assert f"{speed} m/min" in words and conformance in words
    at = f"roll=2047, pressure=50 µm, speed={speed} m/min"
    line = re.search(r"line resistance, Ω +([\d.]+)", run("predict", *asked, "--at", at).stdout)[1]
    assert f"{line} Ω" in words


@pytest.mark.slow
def test_the_command_makes_the_document_again(asked, monkeypatch):
    told = answer(
        "run-sheet", *asked, "--at", "roll=1318, pressure=50 µm, speed=60 m/min", "--paper", "Letter"
    )
    words = shlex.split(told["command"])
    assert words[:2] == ["pwindow", "run-sheet"]
    monkeypatch.chdir(pw.demo("."))
    again = json.loads(run(*words[1:], "--json").stdout)
    assert again == told and told["setup"]["speed_m_min"] == 60.0


@pytest.mark.slow
def test_archive_with_dated_rolls(first, tag_file, tmp_path):
    archive = tmp_path / "trials.db"
    run("add", first, "--archive", archive)
    Archive(str(archive)).keep_volume("2047", 7.15, datetime.date(2026, 10, 30), "after cleaning")
    told = answer("run-sheet", "--archive", archive, "--product", tag_file)
    assert told["roll_volume"] == {"cell_volume": 7.15, "measured": "2026-10-30", "note": "after cleaning"}
    assert shlex.split(told["command"])[2:4] == ["--archive", "trials.db"]


@pytest.mark.slow
def test_calibration_where_it_is_asked_for(asked):
    found = answer("review", *asked, "--calibrate", "2")["calibration"]
    assert found["simulated_trials"] == 2 and found["recommended"]["trials"] == 2


@pytest.mark.slow
@pytest.mark.parametrize(
    "more, words",
    [
        ([], "--output"),
        (["-o", "report.docx"], ".html or .pdf"),
        (["-o", "nowhere/report.html"], "no folder"),
        (["--json", "--at", "speed=60"], "number without a unit"),
        (["--json", "--at", "cell_volume=5 cm3/m2, speed=60 m/min"], "roll of the inventory"),
        (["--json", "--at", "roll=2047, pressure=50 µm, speed=60 m/min, plate_gap=70 µm"], "pattern"),
        (["--json", "--at", "roll=2047, pressure=50 µm, speed=60 m/min, speed=70 m/min"], "one set-up"),
        (["--json", "--at", "roll=77, pressure=50 µm, speed=60 m/min"], "not in the inventory"),
    ],
)
@pytest.mark.parametrize("command", ["review", "run-sheet"])
def test_wrong_usage(asked, command, more, words):
    assert words in misused(command, *asked, *more)


@pytest.mark.slow
def test_what_is_not_named_is_that_of_the_recommended_set_up(asked):
    told = answer("run-sheet", *asked, "--at", "speed=80 m/min")
    assert told["setup"] == {
        "roll": "2047",
        "cell_volume_cm3_m2": 7.2,
        "plate": "laser-imaged",
        "pressure_um": 50.0,
        "speed_m_min": 80.0,
    }
    assert told["chosen"] == "asked for"


@pytest.mark.slow
def test_the_command_names_no_folder_of_the_output(asked, tmp_path):
    file = tmp_path / "sheet.html"
    assert run("run-sheet", *asked, "-o", file).exit_code == 0
    text = file.read_text(encoding="utf-8")
    assert "--output sheet.html" in text and str(file) not in text


@pytest.mark.slow
@pytest.mark.parametrize("command", ["review", "run-sheet"])
@pytest.mark.parametrize("archived", [False, True])
def test_documents_name_files_and_no_folders(tmp_path, command, archived):
    folder = tmp_path / "a folder of mine"
    folder.mkdir()
    for name in ("trial_first.csv", "tag.toml", "study.toml"):
        shutil.copy(pw.demo(name), folder)
    product = ["--product", folder / "tag.toml", "--study", folder / "study.toml"]
    trials = [folder / "trial_first.csv"]
    if archived:
        trials = ["--archive", f"sqlite:///{folder}/trials.db"]
        run("add", folder / "trial_first.csv", *trials)
    file = folder / "document.html"
    assert run(command, *trials, *product, "-o", file).exit_code == 0
    text = file.read_text(encoding="utf-8")
    named = "--archive trials.db" if archived else "trial_first.csv"
    assert f"pwindow {command} {named} --product tag.toml --study study.toml --output document.html" in text
    assert "folder of mine" not in text and str(tmp_path) not in text
    told = answer(command, *trials, *product)
    assert "folder of mine" not in json.dumps(told)


@pytest.mark.slow
def test_what_was_not_tried_is_refused(asked):
    at = "roll=2047, pressure=50 µm, speed=150 m/min"
    for command in ("review", "run-sheet"):
        assert "outside the trial region" in refused(command, *asked, "--json", "--at", at)


@pytest.mark.slow
def test_the_page_of_speeds_and_its_numbers(asked, tmp_path):
    page, table = tmp_path / "window.html", tmp_path / "window.csv"
    assert run("speeds", *asked, "--picture", page).exit_code == 0
    assert "probability that all requirements are met" in page.read_text(encoding="utf-8")
    assert run("speeds", *asked, "--pressure", "45 µm", "--picture", table).exit_code == 0
    head, *rows = table.read_text(encoding="utf-8").splitlines()
    assert (
        head == "speed_m_min,cell_volume_cm3_m2,joint_conformance,margin_of_means_std_devs"
        and len(rows) > 1000
    )
    assert max(float(row.split(",")[2]) for row in rows) > 0.99


def test_a_picture_of_another_kind_is_wrong_usage(asked, tmp_path):
    assert ".html, .svg, .png or .csv" in misused("speeds", *asked, "--picture", tmp_path / "window.bmp")


SHEET_ALONE = """
import sys
from pwindow.__main__ import main
sys.argv = ["pwindow", "run-sheet", *sys.argv[1:]]
try:
    main()
finally:
    print(sorted({"plotly", "ipywidgets"} & set(sys.modules)))
"""


@pytest.mark.slow
def test_a_run_sheet_loads_no_figure_library(asked, tmp_path):
    sheet = str(tmp_path / "sheet.html")
    words = [sys.executable, "-c", SHEET_ALONE, *map(str, asked), "-o", sheet]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
from pwindow.__main__ import main
sys.argv = ["pwindow", *sys.argv[1:]]
main()
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="limits of POSIX")
@pytest.mark.parametrize(
    "command, option, name", [("review", "-o", "report.html"), ("speeds", "--picture", "map.html")]
)
def test_a_document_that_finds_no_room_leaves_the_one_before(asked, tmp_path, command, option, name):
    file = tmp_path / name
    file.write_text("the good one", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, command, *map(str, asked), option, str(file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1 and f"{file}: cannot be written (File too large)" in done.stderr
    assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert file.read_text(encoding="utf-8") == "the good one"
