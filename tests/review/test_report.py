"""The report: its numbers are those of the commands, its names are escaped, it needs no other host."""

import dataclasses
import re

import pytest

import pwindow as pw
from pwindow.errors import WindowProblem
from pwindow.inputs import InputFile
from pwindow.review.cautions import CAUTIONS
from pwindow.review.document import document_dict
from pwindow.review.essentials import subject_of
from pwindow.review.provenance import Origin
from pwindow.review.report import report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import run_sheet
from pwindow.review.run_sheet_page import run_sheet_html
from pwindow.window.bands import limited_by
from pwindow.window.search.recommendation import recommend
from pwindow.window.setup import Setup
from pwindow.window.shortfall.words import conflicts, promise, remedies
from pwindow.window.trade_offs import with_planned_roll
from pwindow.wording import percent, pressure, speed, speed_change, volume, with_interval
from tests.helpers.trials import read_frame


@pytest.fixture(scope="module")
def page(tag_report, read_page):
    return read_page(report_html(tag_report))


def test_the_order_of_the_story(page):
    heads = [
        "The window",
        "The product and its requirements",
        "The alternatives",
        "The evidence",
        "Risks, and what was not tried",
        "Confirmation prints to take",
        "Cautions",
        "How to reproduce this report",
    ]
    places = [page.text.index(head) for head in heads]
    assert places == sorted(places)
    lead = page.text[: places[0]]
    for words in (
        "97.8 m/min",
        "roll 2047",
        "50 µm",
        "Why this speed",
        "Limiting requirement",
        "If run faster",
        "Confidence Of 100 prints, each from a new make-ready, about 95 would meet all requirements; the trial is small: with 95 % confidence at least 83",
        "Based on",
    ):
        assert words in lead


@pytest.mark.slow
def test_speed_bands_are_those_of_the_window(page, tag_window):
    bands = tag_window.speed_bands()
    told = page.rows("bands")
    assert len(told) == len(bands) > 5
    for row, (_, band) in zip(told, bands.iterrows()):
        assert row[:5] == [
            band["roll"],
            volume(band["cell_volume_cm3_m2"]),
            pressure(band["pressure_um"]),
            f"{speed(band['speed_low_m_min'])} – {speed(band['speed_high_m_min'])}",
            percent(band["conformance_at_fastest"]),
        ]
        assert row[5] == f"{speed(band['safest_speed_m_min'])} ({percent(band['conformance_at_safest'])})"
        assert row[6] == f"{limited_by(band, 'low')} / {limited_by(band, 'high')}"


def test_requirements_are_predicted_as_the_window_predicts(page, tag_window):
    setup = tag_window.setups("laser-imaged", 97.8, 7.2, 50.0)
    chances, found = tag_window.conformance(setup).iloc[0], tag_window.quantities(setup)
    rows = {row[0].split(" at ")[0]: row for row in page.rows("requirements")}
    for name, label, of, unit in (
        ("line_resistance", "line resistance", "", "Ω"),
        ("gap", "gap", "average gap ", "µm"),
    ):
        value, low, high = with_interval(*found[name].iloc[0][["mean", "obs_ci_low", "obs_ci_high"]])
        assert rows[label][1:] == [f"{of}{value} {unit}", f"{low} … {high} {unit}", percent(chances[name])]
    assert rows["all requirements"][-1] == percent(chances["joint"])


def test_a_moved_limit_says_what_a_product_with_it_says(tag_report, page, tag, demo_surfaces, study):
    trades = tag_report.alternatives.limits
    then = next(
        looser for _, looser in trades.limits if looser.moved.words() == "line resistance at most 330 Ω"
    )
    assert (then.moved.before, then.moved.after) == (330.0, 363.0)
    eased = tuple(
        dataclasses.replace(item, most=363.0) if item.name == "line_resistance" else item
        for item in tag.requirements
    )
    window = pw.find_window(demo_surfaces, dataclasses.replace(tag, requirements=eased), study)
    bands = window.speed_bands([50.0])
    fastest = bands.loc[bands["roll"] == "2047", "speed_high_m_min"].max()
    assert then.fastest == fastest > 97.8
    here = window.setups("laser-imaged", 97.8, 7.2, 50.0)
    assert then.conformance == pytest.approx(window.joint_conformance(here)[0], abs=1e-6)
    shown = next(row for row in page.rows("limits") if row[0] == "363 Ω")
    gain = speed_change(fastest - 97.8)
    assert shown[1:] == [
        percent(then.conformance),
        f"{speed(fastest)} m/min ({gain})",
        "the same roll and pressure",
    ]


def test_no_other_host(tag_report):
    html = report_html(tag_report)
    assert not re.findall(r"<(?:script|link|img|iframe)[^>]*\s(?:src|href)=", html)
    assert "@import" not in html and len(html) < 6e6


@pytest.mark.slow
def test_what_is_asked_for_instead_is_set_beside_the_recommendation(tag_window, read_page):
    roll = next(roll for roll in tag_window.rolls if roll.id == "1290")
    subject = subject_of(tag_window, Setup("laser-imaged", roll, 45.0, 95.0))
    assert subject.chosen == "asked for" and not subject.essentials.promise.assured
    text = read_page(report_html(report(subject))).text
    assert "less than required" in text and "the recommended one is 97.8 m/min with roll 2047" in text
    assert "Roll 1290 was not in the trial" in text and "No print was made at 45 µm" in text
    sheet = read_page(run_sheet_html(run_sheet(subject))).text
    assert "Below the required assurance" in sheet and "97.8" not in sheet


@pytest.mark.slow
def test_without_an_assured_set_up(demo_surfaces, tag, study, read_page):
    subject = subject_of(pw.find_window(demo_surfaces, tag.with_assurance(0.99999), study))
    assert subject.chosen == "closest" and subject.essentials.promise.band is None
    found, sheet = report(subject), run_sheet(subject)
    text = read_page(report_html(found)).text
    assert "No speed is assured" in text and "99.999 %" in text
    assert found.shortfall.closest.setup == subject.setup
    assert text.index("The product and its requirements") < text.index("The window")
    assert "Confidence Of 1000 prints, each from a new make-ready, about 99" in text
    assert document_dict(found, sheet)["shortfall"]["remedies"]
    for sentence in (promise(found.shortfall), *conflicts(found.shortfall), *remedies(found.shortfall)):
        assert sentence in text
    assert re.search(r"over 99\.9999 %|99\.\d{4} %", text) and "over 99.9 %" not in text
    with pytest.raises(WindowProblem, match="99.999 %"):
        run_sheet_html(sheet)


def test_nothing_is_said_of_what_was_not_tried(tag_window):
    with pytest.raises(WindowProblem, match="outside the trial region"):
        subject_of(tag_window, Setup("laser-imaged", tag_window.rolls[-1], 50.0, 150.0))


@pytest.mark.slow
def test_a_planned_roll_has_no_run_sheet(tag_window):
    window = with_planned_roll(tag_window, "9001", 6.0)
    roll = next(roll for roll in window.rolls if roll.id == "9001")
    subject = subject_of(window, Setup("laser-imaged", roll, 50.0, 60.0))
    assert "9001 (planned)" in report_html(report(subject))
    with pytest.raises(WindowProblem, match="only planned"):
        run_sheet_html(run_sheet(subject))


HEIGHT = "line_height [um]"
NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>"


@pytest.mark.slow
def test_names_are_escaped(demo_rows, tag, study, tag_pages, read_page):
    rows = demo_rows.replace({"print": {"A-030": NASTY}, "plate": {"laser-imaged": "laser & <b>"}})
    rows.loc[rows["print"] == NASTY, HEIGHT] *= 1.6
    trial = pw.read_trial(InputFile(f"{NASTY}.csv", rows.to_csv(index=False).encode()))
    product = dataclasses.replace(
        tag, name=NASTY, pattern=dataclasses.replace(tag.pattern, plate="laser & <b>")
    )
    origin = Origin(command=f"pwindow review '{NASTY}'")
    subject = subject_of(pw.find_window(pw.fit(trial), product, study), origin=origin)
    found = report(subject)
    assert any(NASTY in finding.sentence for finding in found.evidence.findings)
    for html, clean in zip((report_html(found), run_sheet_html(run_sheet(subject))), tag_pages):
        tags = read_page(clean).tags
        assert NASTY not in html and NASTY in read_page(html).text
        assert (
            read_page(html).tags.count("script") == tags.count("script") and "img" not in read_page(html).tags
        )
        assert "b" not in tags or "laser & <b>" in read_page(html).text


def test_the_recommendation_is_one_of_the_tried_pressures(page, tag_window):
    assert "fastest assured speed among the pressures that were tried" in page.text
    assert (
        "Roll 2047 is the fastest of the 5 rolls that reach 95 % at the pressures of the trial" in page.text
    )
    between = recommend(tag_window, tag_window.speed_bands([58.0]))
    assert between.setup.speed > 97.8
    assert "at the pressures searched" in between.why


@pytest.mark.slow
def test_the_caption_names_what_is_on_the_map(page, tag_window, read_page):
    assert "the diamond the recommended one" in page.text and "not on this map" not in page.text
    other = subject_of(tag_window, Setup("laser-imaged", tag_window.rolls[-1], 80.0, 60.0))
    text = read_page(report_html(report(other))).text
    assert "diamond" not in text
    assert "not on this map: it lies at 50 µm, plate laser-imaged (roll 2047, 97.8 m/min)" in text


@pytest.mark.slow
def test_a_drift_beyond_what_was_tried_is_a_risk(page, tag_window, read_page):
    subject = subject_of(tag_window, Setup("laser-imaged", tag_window.rolls[0], 80.0, 30.0))
    edge = read_page(report_html(report(subject))).text
    assert "Pressure 80 ± 5 µm may go above 80 µm, where nothing was tried" in edge
    assert "Press speed 30 ± 0.6 m/min may go below 30 m/min" in edge
    assert "where nothing was tried" not in page.text


def test_risks_are_risks_and_said_once(page):
    risks = page.text.split("Risks, and what was not tried")[1].split("Confirmation prints")[0]
    assert "direction 0 deg; the effect of any other value is not known" in risks
    assert "cross-section area is" not in risks.lower()
    assert page.text.count("effect of plate width cannot be separated") == 1
    said = page.text.split("Notes on the fit")[1].split("Do the stated probabilities")[0]
    assert "Cross-section area is 0.677" in said and "too few prints or settings to fit plate gap²" in said


@pytest.mark.slow
def test_slower_speeds_are_told_of_a_set_up_that_is_not_assured(tag_window, read_page):
    found = report(subject_of(tag_window, Setup("laser-imaged", tag_window.rolls[-1], 50.0, 115.0)))
    assert found.essentials.promise.band is None
    slower = max(near.speed for near in found.alternatives.nearby if near.speed < 115.0)
    text = read_page(report_html(found)).text
    assert f"If run slower At {slower:.1f} m/min the probability of meeting all requirements is" in text


def test_numbers_side_by_side_have_one_minus_and_the_digits_of_their_interval(page):
    cells = [cell for row in page.rows("beside") for cell in row[1:]]
    assert not [cell for cell in cells if re.search(r"(^|[ (])-\d", cell)]
    assert any("−" in cell for cell in cells)
    row = next(row for row in page.rows("beside") if row[0].startswith("line width"))
    assert re.fullmatch(r"\d\d\.\d \(\d\d\.\d … \d\d\.\d\)", row[1])


@pytest.mark.slow
def test_how_it_is_made_again_without_a_command(tag_window, read_page):
    subject = subject_of(tag_window, origin=Origin(address="http://localhost:8866/?pressure=50&<b>"))
    made = {"review": report_html(report(subject)), "run-sheet": run_sheet_html(run_sheet(subject))}
    for name, html in made.items():
        page = read_page(html)
        assert "http://localhost:8866/?pressure=50&<b>" in page.text
        assert f"pwindow {name} trial_first.csv --product PRODUCT.toml" in page.text
        assert "roll=2047, pressure=50 µm, speed=97.8 m/min, plate=laser-imaged" in page.text
        for words in (
            "at most 330 Ω; length 80 mm",
            "at least 16 µm and at most 42 µm; count 48",
            "plate width 30 µm",
            "speed tolerance 2 %; pressure tolerance 5 µm",
            "2047 7.2 cm³/m²",
        ):
            assert words in page.text, words
        assert "b" not in page.tags or name == "review"


@pytest.mark.slow
def test_terms_of_the_fit_are_named_where_it_is_made_again(demo_rows, tag, read_page):
    surfaces = pw.fit(read_frame(demo_rows), leave_out=["pressure²"])
    text = read_page(report_html(report(subject_of(pw.find_window(surfaces, tag))))).text
    assert "--leave-out 'pressure²'" in text


def test_review_and_run_sheet_are_papers_of_their_own_names(tag_subject, tag_pages):
    own, (review, sheet) = tag_subject.essentials.provenance.fingerprints.document, tag_pages
    assert f'"review · document {own}"' in review
    assert f'"run sheet · document {own}"' in sheet and f"document <code>{own}</code>" in sheet


def test_a_program_run_from_source_says_so(tag_report, tag_sheet, read_page):
    shared = tag_sheet.essentials
    provenance = dataclasses.replace(shared.provenance, versions={"pwindow": "not installed", "numpy": "2"})
    from_source = dataclasses.replace(shared, provenance=provenance)
    for make, document in ((report_html, tag_report), (run_sheet_html, tag_sheet)):
        text = read_page(make(dataclasses.replace(document, essentials=from_source))).text
        assert "pwindow, from source" in text and "not installed" not in text


def test_how_it_is_made_again_is_a_sentence(page, tag_sheet):
    made = tag_sheet.essentials.provenance.fingerprints
    told = page.text.split("How to reproduce this report")[1]
    assert told.startswith(" Run pwindow review trial.csv in the folder that holds the files. The same data")
    assert f"trial {made.trial} , fit {made.fit} ," in told


@pytest.mark.slow
def test_calibration_is_told_where_it_was_done(tag_window, tag_subject, page, read_page):
    from pwindow.window.calibration import calibrate

    kept = calibrate(tag_window, trials=2, seed=3, workers=1, setups=60)
    text = read_page(report_html(report(tag_subject, calibration=kept))).text
    assert (
        "2 trials of this layout were simulated" in text and "not checked for this report" not in text.lower()
    )
    assert "was not checked for this report" in page.text


@pytest.mark.slow
def test_the_same_data_make_the_same_document(tag_window, tag_subject, tag_pages):
    again = subject_of(tag_window, origin=tag_subject.origin, made=tag_subject.made)
    assert run_sheet_html(run_sheet(again)) == tag_pages[1]
    own = tag_subject.essentials.provenance.fingerprints.by_name
    assert again.essentials.provenance.fingerprints.by_name == own
    slower = subject_of(tag_window, dataclasses.replace(tag_subject.setup, speed=80.0))
    now = slower.essentials.provenance.fingerprints.by_name
    assert {name for name, value in now.items() if value != own[name]} == {"document"}


def test_cautions_are_those_of_the_readme():
    from pathlib import Path

    readme = " ".join((Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8").split())
    stated = readme.split("## Cautions")[1].split("Contributors start")[0]
    assert " ".join(f"- {one}" for one in CAUTIONS) == stated.strip()
