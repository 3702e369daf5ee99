"""What a visitor loads stands on every page, under the id that links carry; and pages that wait for something."""

import base64
import datetime
import re

import pandas as pd
import pytest

from pwindow.errors import SeveralSheets
from pwindow.panels.set_up_speed.page import SetUpSpeed
from pwindow.panels.trade_offs.page import TradeOffsPage
from pwindow.shipped import demo
from pwindow.study import Study
from pwindow.workflows import loaded
from pwindow.workflows.evidence import Evidence
from pwindow.workflows.given import given_evidence
from pwindow.workflows.uploads import Uploads

NIP = "Nip tag"


@pytest.fixture(autouse=True)
def shared(tmp_path, monkeypatch):
    """The folder that a server makes for its pages."""
    monkeypatch.setenv("PWINDOW_SHARED", str(tmp_path))
    for name in ("PWINDOW_TRIAL", "PWINDOW_PRODUCTS", "PWINDOW_STUDY", "PWINDOW_ARCHIVE"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


@pytest.fixture(scope="module")
def nip_trial() -> bytes:
    """The demo's trial with pressures of 4 to 8 N/mm instead of 20 to 80 µm."""
    rows = pd.read_csv(demo("trial_first.csv"), dtype={"roll": str})
    rows["pressure [N/mm]"] = 4 + (rows.pop("pressure [um]") - 20) / 15
    return rows.to_csv(index=False).encode()


@pytest.fixture(scope="module")
def nip_product() -> bytes:
    text = demo("tag.toml").read_text(encoding="utf-8")
    text = text.replace('pressure_tolerance = "5 µm"', 'pressure_tolerance = "0.2 N/mm"')
    return text.replace("Grain moisture tag", NIP).replace('"16 µm"', '"30 µm"').encode()


@pytest.fixture(scope="module")
def demo_evidence(demo_surfaces, study, tag, mesh) -> Evidence:
    return Evidence(
        surfaces=demo_surfaces, study=study, products={product.name: product for product in (tag, mesh)}
    )


def upload(page: SetUpSpeed, **files: bytes) -> None:
    stamp = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
    page.upload.value = tuple(
        {
            "name": name.replace("_", "."),
            "type": "",
            "size": len(content),
            "content": content,
            "last_modified": stamp,
        }
        for name, content in files.items()
    )


def text(widget) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", widget.value))


def query(page) -> str:
    return re.search(r'data-pw-query="([^"]*)"', page.frame._query.value)[1].replace("&amp;", "&")


def shows_one_set_up(page: SetUpSpeed) -> None:
    """Headline, controls, map, ring and table are of the same set-up."""
    best, chosen = page.question.start(), page._setup()
    unit = page.evidence.surfaces.trial.pressure_unit
    assert chosen == best
    assert f"{best.speed:g} m/min" in text(page.answer)
    assert f"{best.pressure:g} {unit}" in text(page.answer) and f"oll {best.roll.id}" in text(page.answer)
    assert f"{best.pressure:g} {unit}, {best.speed:g} m/min" in text(page.setup)
    ring = next(trace for trace in page.figure.data if trace.name == "chosen")
    assert (ring.x[0], ring.y[0]) == pytest.approx((best.speed, best.roll.cell_volume))
    title = page.figure.layout.title.text
    assert page.question.product.name in title and f"pressure {best.pressure:g} {unit}" in title
    assert f"plate {best.plate}" in title


@pytest.mark.slow
def test_a_trial_and_then_its_product_on_all_pages(demo_evidence, nip_trial, nip_product):
    page = SetUpSpeed(demo_evidence)
    page.controls.pressure.value = 41.0
    upload(page, nip_csv=nip_trial)
    assert page.frame.problem.value == "" and page.question is None
    assert "Load a product" in text(page.answer) and "nip.csv was read and fitted: 65 prints" in text(
        page.answer
    )
    assert "pressure_tolerance" in text(page.answer) or "tolerance" in text(page.answer)
    assert page.figure is None and page.controls.product not in page.left.children
    first = query(page)
    assert re.fullmatch(r"data=[\w-]{22}", first)

    waiting = TradeOffsPage(demo_evidence)
    waiting.open_at(first)
    assert "Load a product" in text(waiting.answer) and f"set-up-speed.ipynb?{first}" in waiting.answer.value

    upload(page, nip_toml=nip_product)
    assert page.frame.problem.value == "" and page.question.product.name == NIP
    shows_one_set_up(page)
    assert query(page).startswith(f"{first}&product=Nip")

    again = SetUpSpeed(demo_evidence)
    again.open_at(query(page))
    assert again.answer.value == page.answer.value and again.setup.value == page.setup.value
    shows_one_set_up(again)
    assert query(again) == query(page) and again.frame._notices.value == ""

    page.controls.speed.value = 77.0
    other = TradeOffsPage(demo_evidence)
    other.open_at(query(page))
    assert "N/mm, 77 m/min" in text(other.answer) and query(other) == query(page)
    other.run_sheet.click()
    assert other.frame.problem.value == ""
    sheet = base64.b64decode(re.search(r'base64,([^"]+)"', other.document.value)[1]).decode()
    again_words = text(type("W", (), {"value": sheet[sheet.index("To reproduce this sheet") :]}))
    assert "load nip.csv and nip.toml on the page “Set-up speed”" in again_words
    assert first.removeprefix("data=") not in sheet, "the id is the visitor's alone"


def test_nothing_is_shown_to_who_has_no_id(demo_evidence, nip_trial):
    page = SetUpSpeed(demo_evidence)
    upload(page, secret_csv=nip_trial)
    assert "secret.csv" in page.frame.facts.value
    other = SetUpSpeed(demo_evidence)
    for asked in ("", "data=" + "A" * 22, "data=../../trials.db"):
        other.open_at(asked)
        assert "secret.csv" not in other.frame.facts.value and "trial_first.csv" in other.frame.facts.value
        assert "data=" not in query(other)
        told = text(other.frame._notices)
        assert ("no longer on the server" in told) == ("AAAA" in asked)
        assert ("the data that the server was started with are shown" in told) == ("AAAA" in asked)
        assert ("not an id" in told) == (".." in asked)


def test_too_much_is_refused_and_the_page_stays_as_it_was(demo_evidence, nip_trial, shared, monkeypatch):
    little = Uploads(shared / "uploads.db", most_of_one=10_000)
    monkeypatch.setattr("pwindow.panels.shared.session.given_uploads", lambda: little)
    page = SetUpSpeed(demo_evidence)
    before = page.answer.value
    upload(page, nip_csv=nip_trial)
    assert "MB per visitor" in text(page.frame.problem) and page.answer.value == before
    assert "data=" not in query(page)


@pytest.mark.slow
def test_a_question_that_changes_takes_the_page_along_unless_the_visitor_chose(demo_evidence):
    page = SetUpSpeed(demo_evidence)
    page.editor.box.children[0].value = "300"
    shows_one_set_up(page)
    page.controls.level.value = 0.9
    shows_one_set_up(page)
    page.controls.speed.value = 71.0
    page.editor.box.children[0].value = "320"
    assert page.controls.speed.value == 71.0, "what the visitor chose stays"
    page.controls.product.value = "De-fogging heater mesh"
    shows_one_set_up(page)
    page.controls.product.value = "Grain moisture tag"
    page.controls.level.value = 0.95
    page.editor.box.children[0].value = "100"
    assert page.question.recommended is None, "nothing is assured: the closest is shown"
    shows_one_set_up(page)


def test_what_was_said_goes_when_it_is_not_true_any_more(demo_evidence):
    page = SetUpSpeed(demo_evidence)
    page.open_at("roll=9999&colours=dark")
    assert "roll=9999" in page.frame._notices.value
    page.frame._colours.value = "light"
    assert "roll=9999" in page.frame._notices.value, "colours say nothing about it"
    page.controls.speed.value = 71.0
    assert page.frame._notices.value == ""


@pytest.mark.slow
def test_the_form_of_the_surfaces_goes_to_other_pages(demo_evidence):
    page = SetUpSpeed(demo_evidence)
    page.form.value = "bending"
    assert "surfaces=bending" in query(page)
    other = SetUpSpeed(demo_evidence)
    other.open_at(query(page))
    assert other.evidence.surfaces.bends and other.form.value == "bending"
    assert other.answer.value == page.answer.value


@pytest.mark.slow
def test_a_sheet_is_chosen_on_the_page(demo_evidence, monkeypatch):
    read = loaded.read_trial
    seen = []

    def of_sheet(files, study):
        seen.extend(file.sheet for file in files)
        if files[0].sheet is None:
            raise SeveralSheets(files[0].name, ("Monday", "<b>Friday</b>"))
        return read([file.__class__(file.name, file.content) for file in files], study)

    monkeypatch.setattr(loaded, "read_trial", of_sheet)
    page = SetUpSpeed(demo_evidence)
    upload(page, later_csv=demo("trial_second.csv").read_bytes(), t_toml=demo("tag.toml").read_bytes())
    assert page.sheets.box.layout.display is None and page.sheets.sheet.options == ("Monday", "<b>Friday</b>")
    assert "later.csv" in page.sheets._told.value and page.upload.value == () and page.busy.value == ""
    assert "trial_first.csv" in page.frame.facts.value
    page.sheets.sheet.value = "<b>Friday</b>"
    page.sheets.read.click()
    assert seen == [None, "<b>Friday</b>"] and page.sheets.box.layout.display == "none"
    assert "later.csv" in page.frame.facts.value and page.frame.problem.value == ""
    assert page.session.names == ("later.csv (sheet “<b>Friday</b>”)", "t.toml")
    other = TradeOffsPage(demo_evidence)
    other.open_at(query(page))
    assert seen[-1] == "<b>Friday</b>" and "later.csv" in other.frame.facts.value


def test_an_archive_without_a_trial_says_so_on_each_page(shared, monkeypatch, nip_product):
    monkeypatch.setenv("PWINDOW_ARCHIVE", str(shared / "new.db"))
    evidence = given_evidence()
    assert evidence.surfaces is None and evidence.products == {} and evidence.study == Study()
    page, other = SetUpSpeed(evidence), TradeOffsPage(evidence)
    for one in (page, other):
        one.open_at("product=Nothing&speed=60")
        assert "No trial yet" in text(one.answer) and "New trial data" in one.answer.value
        assert "trial_first" not in one.frame.facts.value and "Grain" not in one.answer.value
    upload(page, nip_toml=nip_product)
    assert page.frame.problem.value == "" and f"Products waiting for a trial: {NIP}" in text(page.answer)
