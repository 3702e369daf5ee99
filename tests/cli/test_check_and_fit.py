"""``pwindow check`` and ``fit``; how any command starts and ends."""

import json

import pytest

import pwindow as pw
from pwindow.trials import summarise
from tests.helpers.commands import answer, process, refused, run


def test_check_says_what_is_in_the_files(first, demo_trial):
    found = answer("check", first)
    assert found == json.loads(json.dumps(summarise(demo_trial).to_dict()))
    assert (found["prints"], found["features"], found["fingerprint"]) == (
        65,
        650,
        demo_trial.fingerprint,
    )


def test_check_as_text(first, demo_trial):
    result = run("check", first)
    assert result.exit_code == 0 and result.stderr == ""
    for word in (
        "65 prints",
        "18 make-readies",
        "650 features",
        f"(trial {demo_trial.fingerprint})",
        "0412",
        "laser-imaged",
        "m/min",
    ):
        assert word in result.stdout


@pytest.fixture
def bad(tmp_path):
    lines = pw.demo("trial_first.csv").read_text().splitlines()
    lines[3] = lines[3].replace("0.844", "thick")
    lines[7] = lines[7].replace(",45.0,", ",-45.0,")
    path = tmp_path / "bad.csv"
    path.write_text("\n".join([*lines[:5], "", *lines[5:]]))
    return path


def test_check_of_a_bad_file_gives_all_reasons_by_row(bad):
    reasons = refused("check", bad).splitlines()
    assert [line.split(":")[0] for line in reasons] == [
        "bad.csv, row 4, column line_height",
        "bad.csv, row 9, column plate_gap",
    ]
    assert "“thick”" in reasons[0] and "“-45.0”" in reasons[1] and all("; " in line for line in reasons)


def test_check_of_a_bad_file_as_json_is_one_document_or_nothing(bad):
    result = run("check", bad, "--json")
    assert result.exit_code == 1 and "row 4" in result.stderr
    if result.stdout:
        problems = json.loads(result.stdout)["problems"]
        assert [(p["row"], p["column"], p["value"]) for p in problems] == [
            (4, "line_height", "thick"),
            (9, "plate_gap", "-45.0"),
        ]


@pytest.mark.parametrize("command", ["fit", "speeds", "predict"])
def test_other_commands_print_nothing_of_a_bad_file(bad, tag_file, command):
    more = {"fit": [], "speeds": ["--product", tag_file], "predict": ["--at", "speed=60 m/min"]}[command]
    assert "row 4" in refused(command, bad, *more, "--json")


@pytest.mark.parametrize("command", ["check", "fit"])
def test_missing_file_directory_and_junk(tmp_path, command):
    junk = tmp_path / "junk.csv"
    junk.write_bytes(bytes(range(256)) * 20)
    for path, word in (
        (tmp_path / "none.csv", "check the path"),
        (tmp_path, "check the path"),
        (junk, "junk.csv"),
    ):
        assert word in refused(command, path)


def test_the_same_file_twice(first):
    assert "same file" in refused("check", first, first)


@pytest.mark.slow
def test_fit_document(first, demo_surfaces, demo_trial):
    found = answer("fit", first)
    assert list(found) == [
        "trial",
        "section_factor",
        "notes",
        "surfaces",
        "residual_correlation",
        "spread_ratios",
        "drift",
        "findings",
    ]
    assert found["findings"] == []
    assert found["trial"]["fingerprint"] == demo_trial.fingerprint
    assert set(found["surfaces"]) == {"line_height", "line_width", "resistivity", "gap_closure"}
    for name, surface in found["surfaces"].items():
        own = demo_surfaces.by_name[name].coefficients()
        assert list(surface["coefficients"]) == list(own.index)
        for term, row in surface["coefficients"].items():
            assert row["coefficient"] == pytest.approx(own.loc[term, "coefficient"])
            assert row["ci_low"] < row["coefficient"] < row["ci_high"]
        assert 0 < surface["predicted_r2"] < surface["r2"] <= 1
        assert surface["prints"] == 65 and surface["lack_of_fit"]["df_pure"] > 0
    correlation = found["residual_correlation"]
    assert all(correlation[name][name] == pytest.approx(1.0) for name in correlation)


@pytest.mark.slow
def test_fit_as_text_and_terms(first):
    text = run("fit", first).stdout
    for word in (
        "line height",
        "gap closure",
        "lack of fit",
        "predicted",
        "speed × pressure",
        "65 prints",
        "new print as measured",
        "constant spread (Breusch-Pagan)",
    ):
        assert word in text
    every, chosen = (answer("fit", first, "--terms", terms)["surfaces"] for terms in ("all", "chosen"))
    assert all(set(chosen[name]["coefficients"]) <= set(every[name]["coefficients"]) for name in every)
    assert sum(len(chosen[n]["coefficients"]) for n in every) < sum(
        len(every[n]["coefficients"]) for n in every
    )


@pytest.mark.slow
def test_fit_lists_its_warnings(first):
    later = pw.demo("trial_second.csv")
    found, text = answer("fit", later)["findings"], run("fit", later).stdout
    assert found and [finding["weight"] for finding in found] == sorted(
        (finding["weight"] for finding in found), reverse=True
    )
    listed = text[text.index("warnings, serious ones first") :]
    for at, finding in enumerate(found, start=1):
        assert f"\n{at}. {finding['sentence']}\n" in listed
    assert "warnings: none" in run("fit", first).stdout


def test_too_small_a_trial_says_what_would_cure_it(demo_rows, tmp_path):
    small = tmp_path / "small.csv"
    demo_rows[demo_rows["print"].isin(demo_rows["print"].unique()[:5])].to_csv(small, index=False)
    assert "Add prints at" in refused("fit", small)


@pytest.mark.slow
def test_the_advice_of_a_confounded_trial_is_true(demo_rows, tmp_path):
    """The term it says to leave out does help when it is left out."""
    one_roll = tmp_path / "one_roll.csv"
    demo_rows[demo_rows["roll"] == "1203"].to_csv(one_roll, index=False)
    reason = refused("fit", one_roll)
    term = reason.split("Or leave out “")[1].split("”")[0]
    result = run("fit", one_roll, "--leave-out", term)
    assert "cannot separate" not in result.stderr


@pytest.mark.slow
def test_help_version_and_no_command():
    assert process("--help").returncode == 0
    assert process("speeds", "--help").returncode == 0
    version = process("--version")
    assert version.returncode == 0 and version.stdout.startswith(b"pwindow"), version.stderr[-200:]
    for arguments in ([], ["nonsense"], ["check"], ["check", "--nonsense", "x"]):
        done = process(*arguments)
        assert done.returncode == 2 and done.stdout == b"" and b"Traceback" not in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    "command, encoding",
    [("check", "cp1252"), ("check", "cp437"), ("check", "ascii"), ("fit", "ascii"), ("speeds", "ascii")],
)
def test_a_terminal_that_cannot_show_every_sign(first, tag_file, command, encoding):
    """A Windows console, or its output sent to a file, knows no Ω; what has it knows more than ASCII."""
    more = ["--product", tag_file] if command == "speeds" else []
    done = process(command, first, *more, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert done.returncode == 0, done.stderr.decode("ascii", "replace")[-300:]
    assert b"trial_first.csv" in done.stdout


@pytest.mark.slow
def test_reasons_of_a_real_process(bad):
    done = process("check", bad)
    assert done.returncode == 1 and done.stdout == b""
    assert "row 4, column line_height: “thick”" in done.stderr.decode("utf-8")
