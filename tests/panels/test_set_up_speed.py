"""The page as an object: set what a visitor sets, read what the page says."""

import datetime
import html
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from plotly.callbacks import InputDeviceState, Points

from pwindow.inputs import InputFile
from pwindow.panels.set_up_speed.page import SetUpSpeed, set_up_speed
from pwindow.panels.shared import in_use
from pwindow.panels.shared.frame import evidence_facts
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.question import ask, changed_limits, first_judgeable
from pwindow.review.essentials import subject_of
from pwindow.shipped import demo
from pwindow.study import EACH_PRINT
from pwindow.trials.archive import Archive
from pwindow.trials.trial import MeasuredTrial
from pwindow.window.shortfall.words import conflicts, promise, remedies
from pwindow.wording import at_least
from pwindow.workflows.evidence import Evidence
from pwindow.workflows.given import given_evidence
from pwindow.workflows.loaded import loaded_evidence
from tests.helpers.words import plain

HOSTILE = "<img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def evidence() -> Evidence:
    return given_evidence()


@pytest.fixture
def page(evidence) -> SetUpSpeed:
    return SetUpSpeed(evidence)


def upload(page: SetUpSpeed, name: str, content: bytes) -> None:
    stamp = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
    page.upload.value = (
        {"name": name, "type": "", "size": len(content), "content": content, "last_modified": stamp},
    )


def trace(page: SetUpSpeed, name: str):
    return next(item for item in page.figure.data if item.name == name)


def test_opens_at_the_recommended_set_up(page):
    best = page.question.recommended
    assert page.controls.speed.value == pytest.approx(best.setup.speed)
    assert page.controls.roll.value == best.setup.roll.id
    assert f"{best.setup.speed:g} m/min" in plain(page.answer.value)


def test_nothing_hides_what_shares_its_layout(page):
    assert page.answer.layout is page.controls.plate.layout is full_width()
    assert full_width().display is None


def test_pressure_repaints_the_map(page):
    before = np.array(trace(page, "map").z)
    page.controls.pressure.value = page.controls.pressure.value + 10
    after = np.array(trace(page, "map").z)
    assert page.frame.problem.value == ""
    assert np.nanmax(np.abs(after - before)) > 0.05


def test_speed_changes_the_numbers_and_the_ring_but_not_the_map(page):
    before, told = np.array(trace(page, "map").z), page.setup.value
    page.controls.speed.value = page.controls.speed.value - 20
    assert trace(page, "chosen").x[0] == pytest.approx(page.controls.speed.value)
    assert page.setup.value != told
    np.testing.assert_array_equal(np.array(trace(page, "map").z), before)


def test_lower_assurance_allows_a_higher_speed(page):
    before, outline = page.question.recommended.setup.speed, trace(page, "assured").x
    page.controls.level.value = 0.8
    assert page.question.recommended.setup.speed > before
    assert np.nanmax(trace(page, "assured").x) > np.nanmax(outline) + 1.0


def test_a_tighter_limit_moves_the_answer_and_an_impossible_one_changes_nothing(page):
    field = page.editor.box.children[0]
    before = page.question.recommended.setup.speed
    field.value = "250"
    assert page.question.recommended.setup.speed < before
    kept = page.answer.value
    field.value = "-1"
    assert "line resistance at most: −1 Ω is not above zero. The page still uses 250 Ω." in plain(
        page.editor.box.children[1].value
    )
    assert field.value == "-1" and page.answer.value == kept and page.frame.problem.value == ""


def test_each_product_can_be_chosen(page):
    for name in page.evidence.products:
        page.controls.product.value = name
        assert page.frame.problem.value == "" and name in plain(page.answer.value)


def test_a_broken_upload_says_why_and_leaves_the_page_as_it_was(page):
    kept = page.answer.value
    upload(page, "wrong.csv", b"print,speed\nP1,fast\n")
    assert "cell_volume" in page.frame.problem.value and "fast" in page.frame.problem.value
    assert page.answer.value == kept and page.busy.value == "" and page.upload.value == ()


@pytest.mark.slow
def test_a_good_upload_replaces_the_trial(page):
    upload(page, "later.csv", demo("trial_second.csv").read_bytes())
    assert page.frame.problem.value == ""
    assert "later.csv" in page.frame.facts.value and "24 prints" in page.frame.facts.value


def test_an_unforeseen_fault_is_told_and_logged(page, monkeypatch, caplog):
    def broken(_setup):
        raise RuntimeError("secret detail")

    monkeypatch.setattr(type(page.question), "content", lambda self, setup, units, at_once: broken(setup))
    page.controls.pressure.value = page.controls.pressure.value - 5
    assert "RuntimeError" in page.frame.problem.value and "secret" not in page.frame.problem.value
    assert "secret detail" in caplog.text


@pytest.mark.slow
def test_names_from_files_are_escaped(evidence):
    text = demo("trial_first.csv").read_text(encoding="utf-8").replace("2047", HOSTILE)
    product = demo("tag.toml").read_text(encoding="utf-8").replace("Grain moisture tag", HOSTILE)
    files = [InputFile(f"{HOSTILE}.csv", text.encode()), InputFile("p.toml", product.encode())]
    loaded, added = loaded_evidence(
        files, Evidence(surfaces=evidence.surfaces, study=type(evidence.study)(), products={})
    )
    page = SetUpSpeed(
        Evidence(surfaces=loaded.surfaces, study=loaded.study, products={added: loaded.products[added]})
    )
    page.controls.roll.value = HOSTILE
    shown = [page.answer, page.setup, page.neighbours, page.bands, page.frame.facts, page.place.saves]
    for part in shown:
        assert "<img" not in part.value
    assert any("&lt;img" in part.value for part in shown)
    written = [note.text for note in page.figure.layout.annotations] + list(trace(page, "roll names").text)
    assert len(written) > 2 and all("<img" not in text for text in written)
    assert all("<img" not in (text or "") for text in trace(page, "bands").text)


def spoilt_trial(print_: str) -> bytes:
    """The demo trial with the heights of one print, called `print_`, read 45 % too high."""
    rows = pd.read_csv(demo("trial_first.csv"), dtype={"roll": str})
    own = rows["print"] == "A-033"
    rows.loc[own, "line_height [um]"] *= 1.45
    rows.loc[own, "print"] = print_
    return rows.to_csv(index=False).encode()


@pytest.mark.slow
def test_what_speaks_against_the_surfaces_stands_under_the_answer(page):
    assert "pw-findings" not in plain(page.answer.value)
    upload(page, "spoilt.csv", spoilt_trial(HOSTILE))
    assert page.frame.problem.value == ""
    listed = page.answer.value[page.answer.value.index("pw-findings") :]
    assert listed.count("<li>") == 1 and "does not fit the others" in listed
    assert "&lt;img" in listed and "<img" not in plain(page.answer.value)


@pytest.mark.slow
def test_what_speaks_against_a_fit_is_worked_out_once(page, monkeypatch):
    asked = []
    monkeypatch.setattr(
        "pwindow.workflows.evidence.findings", lambda surfaces, units: asked.append(surfaces) or ()
    )
    upload(page, "spoilt.csv", spoilt_trial("A-033"))
    page.controls.level.value = 0.8
    page.controls.speed.value = page.controls.speed.value - 5
    page.editor.box.children[0].value = "320"
    upload(page, "again.toml", demo("mesh.toml").read_bytes())
    assert page.frame.problem.value == "" and len(asked) == 1
    upload(page, "later.csv", demo("trial_second.csv").read_bytes())
    assert len(asked) == 2


@pytest.mark.slow
@pytest.mark.parametrize("pressure", [50.0, 47.0])
def test_the_map_draws_the_bands_of_the_table(evidence, pressure):
    question = ask(evidence, evidence.products["Grain moisture tag"])
    setup = replace(question.start(), pressure=pressure)
    drawn = question.content(setup).bands
    expected = question.window.speed_bands([pressure])
    assert len(expected) > 2
    names = list(drawn.columns.intersection(expected.columns))
    assert {"roll", "cell_volume_cm3_m2", "speed_low_m_min", "speed_high_m_min"} <= set(names)
    exactly = {"atol": 0.2, "rtol": 0.0} if pressure == 47.0 else {"check_exact": True}
    pd.testing.assert_frame_equal(drawn.reset_index(drop=True)[names], expected[names], **exactly)


def test_a_product_the_trial_cannot_judge_is_passed_over_with_its_reason(evidence):
    product = evidence.products["Grain moisture tag"]
    alien = type(product)(
        "Alien", product.requirements, type(product.pattern)(plate="engraved"), product.assurance
    )
    both = Evidence(
        surfaces=evidence.surfaces, study=evidence.study, products={"Alien": alien, product.name: product}
    )
    assert first_judgeable(both, "Alien").product.name == product.name
    with pytest.raises(Exception, match="engraved"):
        first_judgeable(
            Evidence(surfaces=evidence.surfaces, study=evidence.study, products={"Alien": alien}), None
        )


def test_changed_limits_keep_what_is_not_named(evidence):
    product = evidence.products["Grain moisture tag"]
    changed = changed_limits(product, {"gap": {"count": 12}})
    gap = next(requirement for requirement in changed.requirements if requirement.name == "gap")
    assert gap.parameters["count"] == 12 and gap.least == 16.0


@pytest.mark.slow
def test_surfaces_that_may_bend_are_fitted_on_the_page(evidence):
    page = SetUpSpeed(evidence)
    page.controls.speed.value = 71.0
    page.form.value = "bending"
    assert page.evidence.surfaces.bends and page.frame.problem.value == ""
    assert page.controls.speed.value == 71.0 and "with a smooth correction" in page.frame.facts.value
    page.form.value = "all"
    assert not page.evidence.surfaces.bends and "with a smooth correction" not in page.frame.facts.value


@pytest.mark.slow
def test_a_process_that_changed_is_shown_as_it_is_since(tmp_path, monkeypatch):
    archive = Archive(str(tmp_path / "trials.db"))
    archive.add(InputFile.of(demo("trial_first.csv")), "same process", "the first")
    archive.add(InputFile.of(demo("trial_second.csv")), "changed process", "new ink")
    for name in ("PWINDOW_TRIAL", "PWINDOW_PRODUCTS", "PWINDOW_STUDY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("PWINDOW_ARCHIVE", archive.address)
    page = SetUpSpeed(given_evidence())
    assert "trial_second.csv" in page.frame.facts.value and "the archive" in page.frame.facts.value
    assert "line height" in page.setup.value
    assert given_evidence() is page.evidence, "the same trials are not fitted twice"
    archive.decide(2, "set aside", "wrong ink")
    assert "trial_second.csv" not in evidence_facts(given_evidence(), page.question.product)
    head = page.widget.children[1]
    page.controls.speed.value -= 1.0
    assert "reload the page" not in head.children[-1].value, "not looked up at every step of a slider"
    monkeypatch.setattr(in_use, "OFTEN", 0.0)
    page.controls.speed.value -= 1.0
    assert "reload the page" in head.children[-1].value
    page.controls.level.value -= 0.01
    assert "reload the page" in head.children[-1].value, "said as long as it is so"


@pytest.mark.slow
def test_a_product_that_a_trial_cannot_judge_is_not_passed_over_silently(page, demo_rows):
    film = demo_rows[demo_rows["plate"] == "film-imaged"]
    upload(page, "film.csv", film.to_csv(index=False).encode())
    assert page.question.product.name == "De-fogging heater mesh"
    assert "cannot judge <b>Grain moisture tag</b>" in said(page) and "laser-imaged" in said(page)
    upload(page, "first.csv", demo("trial_first.csv").read_bytes())
    assert "<b>first.csv</b> is shown now, instead of film.csv." in said(page)
    upload(page, "first.csv", demo("trial_first.csv").read_bytes())
    assert said(page) == "", "the same trial replaces nothing"


def said(page: SetUpSpeed) -> str:
    """What the page says until the visitor does something else."""
    return page.frame._notices.value


def test_a_page_that_cannot_be_made_says_so(monkeypatch, caplog):
    monkeypatch.setattr("pwindow.panels.shared.visit.given_evidence", lambda: 1 / 0)
    shown = set_up_speed("")
    assert "ZeroDivisionError" in shown.value and "ZeroDivisionError" in caplog.text


@pytest.mark.slow
def test_where_nothing_is_assured_the_page_helps_on(page):
    """Opens at the closest set-up, as the report does, and says what conflicts and what would do."""
    assert page.shortfall.value == ""
    page.editor.box.children[0].value = "150"
    page.back.click()
    question, found = page.question, page.question.shortfall
    assert question.recommended is None and found.closest.setup == question.start() == page._setup()
    assert subject_of(question.window).setup == question.start()
    assert "No set-up reaches 95 %" in plain(page.answer.value)
    assert page.answer.value.count("predicted average gap ") == 1, "of gaps, and of nothing else"
    for sentence in (promise(found), *conflicts(found), *remedies(found)):
        told = page.answer.value + page.shortfall.value
        assert html.escape(sentence) in plain(told)
    assert trace(page, "map").zmax < 0.95 and len(trace(page, "closest").x) == 1
    page.editor.box.children[0].value = "330"
    assert page.shortfall.value == "" and trace(page, "map").zmax == 1.0


@pytest.mark.slow
def test_a_trial_of_one_cell_volume_is_a_curve_and_the_next_a_map_again(page, demo_rows):
    one = demo_rows.assign(roll="1203", **{"cell_volume [cm3/m2]": 4.4})
    upload(page, "one.csv", one.to_csv(index=False).encode())
    assert page.frame.problem.value == "" and {item.type for item in page.figure.data} == {"scatter"}
    page.controls.speed.value = 70.0
    assert trace(page, "chosen").x == (70.0,)
    assert any("○ selected" in note.text for note in page.figure.layout.annotations)
    before = np.array(trace(page, "curve").y, float)
    page.controls.pressure.value = page.controls.pressure.value + 10
    assert page.frame.problem.value == ""
    assert np.nanmax(np.abs(np.array(trace(page, "curve").y, float) - before)) > 0.01
    upload(page, "first.csv", demo("trial_first.csv").read_bytes())
    assert page.frame.problem.value == "" and trace(page, "map").type == "heatmap"


@pytest.mark.slow
def test_what_a_trial_does_not_record_can_be_stated_on_the_page(page, demo_rows):
    assert page.readies.layout.display == "none"
    content = demo_rows.drop(columns="make_ready").to_csv(index=False).encode()
    upload(page, "bare.csv", content)
    assert page.readies.layout.display is None and page.readies.value == ""
    assert "Make_ready is not recorded" in plain(page.answer.value)
    before = page.question.recommended.setup.speed
    page.readies.value = EACH_PRINT
    assert "ake_ready is not recorded" not in plain(page.answer.value)
    assert page.question.recommended.setup.speed > before + 5.0
    assert "unrecorded=each%20print" in page.frame._query.value


def test_a_confidence_moves_the_set_up_and_adds_outlines(page):
    lines = {one.name: one for one in page.figure.data}
    assert page.controls.confidence.label == "not required" and page.at_once.layout.display == "none"
    assert len(lines["stated"].x) == len(lines["inner"].x) == 0
    page.controls.confidence.value = 0.9
    assert page.question.recommended.setup.speed < 97.8 and "confidence=0.9" in page.frame._query.value
    assert "95 % with 90 % confidence" in plain(page.answer.value) and page.at_once.layout.display is None
    assert "with 90 % confidence" in plain(page.bands.value)
    assert len(lines["stated"].x) and not len(lines["inner"].x)
    assert np.nanmax(lines["assured"].x) < np.nanmax(lines["stated"].x)
    room = page.figure.layout.margin.b
    page.at_once.value = True
    assert 0 < np.nanmax(lines["inner"].x) < np.nanmax(lines["assured"].x)
    key = page.figure.layout.annotations[0].text.split("<br>")
    assert key[2].endswith("</span> inside, all set-ups jointly: 95 % with 90 % confidence; ◇ lies outside")
    assert page.figure.layout.margin.b - room == 16, "a line more has room below the map"
    assert max(len(re.sub("<[^>]+>|&nbsp;", " ", line)) for line in key) < 90, "at 1280 px"
    page.controls.pressure.value = 35.0
    assert "◇" not in page.figure.layout.annotations[0].text, "it lies at another pressure"
    page.controls.pressure.value = 50.0
    page.controls.confidence.value = 0.0
    assert "97.8 m/min" in plain(page.answer.value) and "confidence=" not in page.frame._query.value
    assert len(lines["stated"].x) == len(lines["inner"].x) == 0


def test_with_a_confidence_other_speeds_are_judged_by_their_lower_bound(page):
    assert "at least," not in plain(page.neighbours.value)
    page.controls.confidence.value = 0.9
    page.open_at("confidence=0.9&roll=2047&speed=96")  # stated enough, and not surely
    said = plain(page.neighbours.value)
    near = page.asked.neighbours(page._setup())
    here = near[np.isclose(near["speed_m_min"], 96.0)].iloc[0]
    assert here["joint"] > 0.95 > here["at_least"]
    assert "at least, with 90 % confidence" in said and "Below 95 % with 90 % confidence: at 96 m/min" in said
    assert said.count("limited by") == (near["at_least"] < 0.95).sum()
    assert all(at_least(value) in said for value in near["at_least"])


def test_a_page_in_a_notebook_is_marked_while_it_works(page, monkeypatch):
    marked = []
    monkeypatch.setattr(
        page, "_show_setup", lambda _setup: marked.append("pw-waiting" in page.widget._dom_classes)
    )
    page.controls.speed.value = 90.0
    assert marked == [True] and "pw-waiting" not in page.widget._dom_classes

    def fail(_setup):
        raise ValueError("unforeseen")

    monkeypatch.setattr(page, "_show_setup", fail)
    page.controls.speed.value = 91.0
    assert "something in the page failed" in page.frame.problem.value
    assert "pw-waiting" not in page.widget._dom_classes


def test_a_confidence_that_is_declared_can_be_left_away(evidence):
    declared = {name: one.with_confidence(0.85) for name, one in evidence.products.items()}
    evidence = replace(evidence, products=declared)
    page = SetUpSpeed(evidence)
    assert page.controls.confidence.label == "85 %"
    page.controls.confidence.value = 0.0
    assert "confidence=0" in page.frame._query.value and "97.8 m/min" in plain(page.answer.value)
    page = SetUpSpeed(evidence)
    page.open_at("confidence=0.2")
    assert page.controls.confidence.label == "85 %" and "own is used" in page.frame._notices.value


def test_numbers_are_shown_in_the_units_of_the_address(page):
    page.open_at("units=us")
    assert "320.9 ft/min" in plain(page.answer.value) and "(97.8 m/min)" in plain(page.answer.value)
    assert "m/min" not in page.setup.value + page.bands.value + page.neighbours.value
    assert page.figure.layout.xaxis2.title.text == "press speed, ft/min"
    assert page.figure.layout.yaxis2.range[1] < 5.0, "BCM"
    assert "units=us" in page.frame._query.value and page.units_menu.widget.value == "us"
    widest = next(one for name, one in page.editor._fields.items() if name == ("line_width", "most"))
    assert (widest.field.description, widest.field.value) == ("line width at most, thou", "2.76")
    widest.field.value = "2.7"
    (limit,) = (one.most for one in page.asked.product.requirements if one.name == "line_width")
    assert limit == pytest.approx(68.58)
    page.units_menu.widget.value = ""
    assert "ft/min" not in page.answer.value and "units=" not in page.frame._query.value
    assert page.figure.layout.xaxis2.title.text == "press speed, m/min"


def test_units_that_the_trial_does_not_have_are_left_out(page):
    page.open_at("units=psi")
    assert "units=psi: unit “psi” is not offered" in page.frame._notices.value
    assert "97.8 m/min" in plain(page.answer.value)


def test_the_most_reliable_speed_is_one_button_away(page):
    page.steady.click()
    assert page.controls.speed.value == page.asked.recommended.band.safest == 83.9
    assert page.steady.layout.display is None


def test_a_page_says_since_when_predictions_describe_the_process(evidence):
    """Of an archive with a trial that was accepted as a change."""
    trial = evidence.surfaces.trial
    since = MeasuredTrial(trial.features.assign(state="trial_second.csv"), trial.pressure_unit, trial.files)
    changed = replace(evidence, surfaces=replace(evidence.surfaces, trial=since))
    assert "predictions describe it since trial_second.csv" in evidence_facts(changed)
    assert trial.changed_since == "" and "since" not in evidence_facts(evidence)


def test_changed_requirements_are_told_and_can_be_undone(page):
    declared = page.asked.product
    assert page.changed.box.layout.display == "none"
    page.editor.box.children[0].value = "300"
    page.controls.level.value = 0.9
    assert text_of(page.changed.note) == (
        "Changed on this page. The product file requires line resistance at most 330 Ω and assurance 95 %."
    )
    page.changed.undo.click()
    assert page.asked.product == declared and page.changed.box.layout.display == "none"
    assert page.editor.box.children[0].value == "330" and page.controls.level.value == 0.95


def test_a_click_in_the_picture_selects_the_speed_and_the_roll_next_to_it(page):
    click(page, "map", 57.26, 5.1)
    assert (page.controls.roll.value, page.controls.speed.value) == ("1290", 57.3)
    assert "Roll 1290, 50 µm, 57.3 m/min" in plain(page.setup.value)
    page.units_menu.widget.value = "us"
    click(page, "map", 200.0, 2.1)
    assert (page.controls.roll.value, page.controls.speed.value) == ("0655", 61.0)


def click(page: SetUpSpeed, name: str, x: float, y: float) -> None:
    """What a browser tells of a click: every trace is told, the others without a point."""
    for item in page.figure.data:
        hit = item.name == name
        points = Points(point_inds=[0] if hit else [], xs=[x] if hit else [], ys=[y] if hit else [])
        item._dispatch_on_click(points, InputDeviceState())


def text_of(shown) -> str:
    return " ".join(re.sub("<[^>]*>", " ", plain(shown.value)).split())


def test_what_was_not_tried_is_said_of_the_selected_set_up(page):
    told = plain(page.untried.value)
    assert (
        "No plate of the trial had gaps of 60 µm" in told and "Drift during the trial is not checked" in told
    )
    assert "Roll 1290 was not in the trial" not in told and "No print was made at" not in told
    page.controls.roll.value, page.controls.pressure.value = "1290", 35.0
    told = plain(page.untried.value)
    assert "Roll 1290 was not in the trial" in told and "No print was made at 35 µm" in told


def test_where_no_speed_is_assured_is_said_below_the_bands(page):
    assert "No speed reaches 95 % with roll 0412 or at 80 µm." in plain(page.bands.value)


def test_a_better_pressure_between_the_tried_ones_is_said(page):
    assert "Between the tried pressures, at 55 µm, this roll is predicted to reach 95 % up to" in plain(
        page.answer.value
    )


def test_a_huge_limit_is_written_out(page):
    page.editor.box.children[0].value = "1e9"
    assert "line resistance at most 1000000000 Ω" in plain(page.setup.value)
