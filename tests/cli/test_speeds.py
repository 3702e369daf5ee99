"""``pwindow speeds``: the contract of its JSON, its choices, and its refusals."""

import json

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.window.trade_offs import limit_trades, move_limits
from tests.helpers.commands import answer, misused, process, refused, run

BAND = [
    "roll",
    "plate",
    "cell_volume_cm3_m2",
    "pressure_um",
    "speed_low_m_min",
    "speed_high_m_min",
    "fastest_speed_m_min",
    "safest_speed_m_min",
    "conformance_at_fastest",
    "conformance_at_safest",
    "conformance_at_fastest_at_least",
    "conformance_at_safest_at_least",
    "limiting_low",
    "limiting_high",
    "falling_low",
    "falling_high",
    "missed_low",
    "missed_high",
    "trial_ends_low",
    "trial_ends_high",
]


@pytest.fixture(scope="module")
def study_file():
    return pw.demo("study.toml")


@pytest.fixture(scope="module")
def speeds(first, tag_file, study_file):
    return answer("speeds", first, "--product", tag_file, "--study", study_file)


def test_document(speeds, demo_trial, demo_surfaces):
    assert list(speeds) == [
        "product",
        "assurance",
        "bands",
        "recommended",
        "between_pressures",
        "trial",
        "notes",
        "findings",
    ]
    assert speeds["findings"] == []
    assert (speeds["product"], speeds["assurance"]) == ("Grain moisture tag", 0.95)
    assert [list(band) for band in speeds["bands"]] == [BAND] * len(speeds["bands"])
    assert list(speeds["recommended"]) == [*BAND, "speed_m_min", "conformance", "conformance_interval", "why"]
    between = speeds["between_pressures"]
    assert list(between) == [*BAND, "note"] and between["pressure_um"] == 55.0
    assert between["note"].startswith(
        "Between the tried pressures, at 55 µm, this roll is predicted to reach 95 %"
    )
    assert speeds["trial"] == {
        "files": ["trial_first.csv"],
        "prints": 65,
        "fingerprint": demo_trial.fingerprint,
        "warnings": [],
        "fit": demo_surfaces.fingerprint,
        "make_readies": {
            "count": 18,
            "known": "recorded in the trial",
            "spread_measured": True,
            "assumption": None,
            "cure": None,
        },
    }


def test_moved_limits_are_added_where_they_are_asked_for(first, tag_file, study_file, tag_window):
    options = (
        "speeds",
        first,
        "--product",
        tag_file,
        "--study",
        study_file,
        "--pressure",
        "50 µm",
        "--limits",
    )
    rows = answer(*options)["limits"]
    trades = limit_trades(tag_window, tag_window.recommended().setup, move_limits(tag_window, [50.0]))
    frame = trades.to_frame()
    assert [list(row) for row in rows] == [list(frame)] * len(frame)
    for name in ("requirement", "limit", "moved", "best_roll"):
        assert [row[name] for row in rows] == list(frame[name])
    for name in ("after", "fastest_speed_m_min", "best_speed_m_min", "change_m_min"):
        told = [np.nan if row[name] is None else row[name] for row in rows]
        np.testing.assert_allclose(told, frame[name], rtol=1e-12)
    text = run(*options).stdout
    assert "with roll 2047, 50 µm" in text and "48 gaps on one part" in text
    line = next(line for line in text.splitlines() if "63 µm" in line)
    assert line.split("63 µm")[1].split() == ["none", "none"], "at 50 µm alone, none is assured"


def test_moved_limits_where_nothing_is_assured(first, tag_file, study_file):
    options = ("speeds", first, "--product", tag_file, "--study", study_file, "--assurance", "0.99999")
    found = answer(*options, "--limits")
    assert found["recommended"] is None and all(row["change_m_min"] is None for row in found["limits"])
    assert "with one limit 10 % tighter or looser" in run(*options, "--limits").stdout
    assert "limits" not in answer(*options)


@pytest.mark.slow
def test_a_pressure_asked_for_twice_is_answered_once(first, tag_file, study_file):
    options = ["--product", tag_file, "--study", study_file, "--pressure", "50 µm"]
    twice = answer("speeds", first, *options, "--pressure", "0.05 mm")
    assert twice["bands"] == answer("speeds", first, *options)["bands"]


@pytest.mark.slow
def test_bands_are_those_of_the_package(speeds, tag_window):
    bands = tag_window.speed_bands()
    assert len(bands) == len(speeds["bands"])
    for ours, told in zip(bands.to_dict("records"), speeds["bands"]):
        assert told == {
            key: pytest.approx(value) if isinstance(value, float) else value for key, value in ours.items()
        }


def test_recommended_is_one_of_the_bands(speeds):
    chosen = speeds["recommended"]
    assert {key: chosen[key] for key in BAND} in speeds["bands"]
    assert chosen["speed_m_min"] == max(band["fastest_speed_m_min"] for band in speeds["bands"])
    assert chosen["why"].endswith(".")


@pytest.mark.slow
def test_predict_says_the_same_of_the_recommended_set_up(speeds, first, tag_file, study_file):
    chosen = speeds["recommended"]
    for named in (f"roll={chosen['roll']}", f"cell_volume={chosen['cell_volume_cm3_m2']} cm3/m2"):
        at = f"speed={chosen['speed_m_min']} m/min, {named}, pressure={chosen['pressure_um']} µm"
        found = answer("predict", first, "--at", at, "--product", tag_file, "--study", study_file)
        (point,) = found["points"]
        assert point["in_trial_region"] is True
        assert point["conformance"]["joint"] == pytest.approx(chosen["conformance"], abs=1e-4)


@pytest.mark.slow
def test_a_real_process_prints_one_document_and_nothing_else(first, tag_file, speeds, study_file):
    done = process("speeds", first, "--product", tag_file, "--study", study_file, "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout.decode("utf-8")) == speeds


@pytest.mark.slow
def test_text_and_json_tell_the_same_speed(first, tag_file, speeds, study_file):
    text = run("speeds", first, "--product", tag_file, "--study", study_file).stdout
    assert f"recommended: {speeds['recommended']['speed_m_min']:g} m/min" in text
    assert speeds["trial"]["fingerprint"] in text and speeds["trial"]["fit"] in text


@pytest.mark.slow
def test_other_pressures(first, tag_file):
    found = answer("speeds", first, "--product", tag_file, "--pressure", "35 µm", "--pressure", "0,05 mm")
    assert {band["pressure_um"] for band in found["bands"]} == {35.0, 50.0}


@pytest.mark.slow
def test_another_assurance(first, tag_file, speeds):
    found = answer("speeds", first, "--product", tag_file, "--assurance", "0.5")
    assert found["assurance"] == 0.5
    assert found["recommended"]["speed_m_min"] > speeds["recommended"]["speed_m_min"]


@pytest.mark.slow
def test_no_band_is_an_answer(first, tmp_path, tag_file):
    product = tmp_path / "hopeless.toml"
    product.write_text(
        pw.demo("tag.toml").read_text(encoding="utf-8").replace("330 ohm", "3 ohm"),
        encoding="utf-8",
    )
    found = answer("speeds", first, "--product", product)
    assert found["bands"] == [] and found["recommended"] is None
    assert set(found["closest"]["requirements"]) == {"line_resistance", "line_width", "gap"}
    for requirement in found["closest"]["requirements"].values():
        assert set(requirement) == {
            *("conformance", "predicted", "predicted_low", "predicted_high", "least", "most", "unit")
        }
    text = run("speeds", first, "--product", product).stdout
    told = found["shortfall"]
    assert "No set-up reaches" in told["promise"] and told["remedies"]
    assert text.count("predicted average gap ") == 1, "of gaps, and of nothing else"
    for sentence in (told["promise"], *told["conflicts"], *told["remedies"]):
        assert sentence in text


@pytest.mark.slow
@pytest.mark.parametrize(
    "unit, key, tolerance",
    [("N/mm", "pressure_n_mm", "0.5 N/mm"), ("kPa", "pressure_kpa", "0.5 kPa")],
)
def test_other_kinds_of_pressure(tmp_path, demo_rows, tag_file, unit, key, tolerance):
    trial, product = tmp_path / "trial.csv", tmp_path / "tag.toml"
    demo_rows.rename(columns={"pressure [um]": f"pressure [{unit}]"}).assign(
        **{f"pressure [{unit}]": demo_rows["pressure [um]"] / 10}
    ).to_csv(trial, index=False)
    product.write_text(
        pw.demo("tag.toml").read_text(encoding="utf-8").replace("5 µm", tolerance), encoding="utf-8"
    )
    found = answer("speeds", trial, "--product", product, "--pressure", f"5 {unit}")
    assert found["bands"] and {band[key] for band in found["bands"]} == {5.0}
    assert "pressure_um" not in found["bands"][0] and found["recommended"][key] == 5.0
    assert unit in refused("speeds", trial, "--product", tag_file)  # its tolerance is in µm


@pytest.mark.slow
def test_several_files(first, tag_file):
    found = answer("speeds", first, pw.demo("trial_second.csv"), "--product", tag_file)
    assert found["trial"]["prints"] == 89


@pytest.mark.slow
@pytest.mark.parametrize(
    "more, word",
    [
        (["--pressure", "500 µm"], "20 to 80 µm"),
        (["--assurance", "nan"], "between 0 and 1"),
        (["--study", pw.demo("tag.toml")], "[[rolls]]"),
        (["--study", "none.toml"], "check the path"),
    ],
)
def test_unusable(first, tag_file, more, word):
    assert word in refused("speeds", first, "--product", tag_file, *more, "--json")


@pytest.mark.slow
def test_unusable_products(first, tmp_path):
    assert "check the path" in refused("speeds", first, "--product", tmp_path / "none.toml")
    assert "TOML" in refused("speeds", first, "--product", first)
    assert "“rolls”" in refused("speeds", first, "--product", pw.demo("study.toml"))


@pytest.mark.slow
@pytest.mark.parametrize(
    "more",
    [
        ["--pressure", "50"],
        ["--pressure", "50 kPa"],
        ["--pressure", "hard"],
        ["--assurance", "1"],
        ["--assurance", "0"],
        ["--assurance", "95 %"],
        ["--terms", "some"],
        ["--speed", "60"],
    ],
)
def test_wrong_usage(first, tag_file, more):
    misused("speeds", first, "--product", tag_file, *more)


def test_wrong_usage_without_files_or_product(first, tag_file):
    misused("speeds", first)
    misused("speeds", "--product", tag_file)


@pytest.fixture(scope="module")
def misread(tmp_path_factory, demo_rows):
    """The demo trial with the heights of one print read 45 % too high."""
    path = tmp_path_factory.mktemp("misread") / "misread.csv"
    own = demo_rows["print"] == "A-033"
    heights = demo_rows["line_height [um]"].where(~own, demo_rows["line_height [um]"] * 1.45)
    demo_rows.assign(**{"line_height [um]": heights}).to_csv(path, index=False)
    return path


@pytest.mark.slow
def test_what_speaks_against_the_surfaces_is_said_before_the_recommendation(misread, tag_file):
    (finding,) = answer("speeds", misread, "--product", tag_file)["findings"]
    assert set(finding) == {"response", "sentence", "weight"} and finding["weight"] == "serious"
    text = run("speeds", misread, "--product", tag_file).stdout
    assert text.index(f"note: {finding['sentence']}") < text.index("recommended:")
    assert "print A-033" in finding["sentence"]


@pytest.mark.slow
def test_what_is_only_to_mind_is_left_to_fit(tag_file, tmp_path):
    later = tmp_path / "no make-readies.csv"
    pd.read_csv(pw.demo("trial_second.csv")).drop(columns="make_ready").to_csv(later, index=False)
    found = answer("speeds", later, "--product", tag_file, "--assurance", "0.5")["findings"]
    text = run("speeds", later, "--product", tag_file, "--assurance", "0.5").stdout
    weights = {finding["weight"] for finding in found}
    assert weights == {"serious", "mind"}
    for finding in found:
        assert (finding["sentence"] in text) == (finding["weight"] == "serious")


@pytest.mark.parametrize("term", ["nonsense", "presure²", "intercept"])
def test_a_term_that_cannot_be_left_out_is_not_ignored(first, tag_file, term):
    """A misspelt term must not be a term kept; a linear term stays while its square does."""
    result = run("speeds", first, "--product", tag_file, "--leave-out", term)
    assert result.exit_code in (1, 2)
    assert term in result.stderr and result.stdout == ""


@pytest.mark.slow
def test_a_square_can_be_left_out(first):
    left = answer("fit", first, "--leave-out", "pressure²")["surfaces"]["line_height"]["coefficients"]
    assert "pressure²" not in left and "pressure" in left and "speed²" in left


def test_a_confidence_is_asked_for():
    asked = ("speeds", pw.demo("trial_first.csv"), "--product", pw.demo("tag.toml"), "--confidence", "0.9")
    found = answer(*asked)
    assert (found["assurance"], found["confidence"]) == (0.95, 0.9)
    assert all(band["conformance_at_fastest_at_least"] >= 0.95 for band in found["bands"])
    assert found["recommended"]["conformance_interval"]["confidence"] == 0.9
    text = run(*asked).output
    assert "at least 95 % with 90 % confidence" in text and "at least (90 % confidence)" in text
    assert "confidence" not in answer(*asked[:-2])
    assert "--confidence" in misused(*asked[:-1], "0.3")


def test_an_answer_is_in_the_units_asked_for_and_json_stays_metric():
    asked = ("speeds", pw.demo("trial_first.csv"), "--product", pw.demo("tag.toml"), "--units", "ft/min, BCM")
    text = run(*asked).output
    assert "recommended: 320.9 ft/min (97.8 m/min)" in text and "above 320.9 ft/min" in text
    assert "pressure, µm" in text and "4.65" in text
    found = answer(*asked)
    assert found["recommended"]["speed_m_min"] == 97.8 and "97.8 m/min" in found["recommended"]["why"]
    assert "“psi” is not offered" in misused(*asked[:-1], "psi")
