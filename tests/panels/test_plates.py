"""The page of plates as an object: set what a visitor sets, read what the page says."""

from __future__ import annotations

import io
import queue
import re
from base64 import b64decode
from functools import partial

import pandas as pd
import pytest

from pwindow.inputs import InputFile
from pwindow.panels.plates import model
from pwindow.panels.plates import page as plates_page
from pwindow.panels.plates.model import Answer, Wanted, find, known
from pwindow.panels.plates.page import PlatesPage, plates
from pwindow.panels.shared import work
from pwindow.panels.shared.session import Session
from pwindow.plates import plate_making
from pwindow.shipped import demo
from pwindow.study import Study
from pwindow.surfaces.plate_effects import plate_effects
from pwindow.window.orders import PlateOrders
from pwindow.workflows.evidence import Evidence
from pwindow.workflows.given import given_evidence
from pwindow.workflows.loaded import loaded_evidence
from tests.helpers.orders import made_map, made_order
from tests.helpers.words import plain


@pytest.fixture(scope="module")
def evidence(plates_surfaces, sensor):
    return Evidence(surfaces=plates_surfaces, study=Study(), products={sensor.name: sensor})


@pytest.fixture(scope="module")
def answer(evidence):
    """What the page finds for the product as it was declared; kept as the page keeps it."""
    return find(Wanted.on(Session(), evidence))


@pytest.fixture
def page(evidence, answer):
    return PlatesPage(evidence)


@pytest.fixture
def quick(monkeypatch, plates_trial, plates_surfaces):
    """What finding gives meanwhile: one order at a speed that follows the assurance level."""

    def found(wanted):
        speed = 100.0 * (1.0 - wanted.asked.assurance.level)
        maps = (made_map("laser-imaged"),)
        orders = PlateOrders((made_order("laser-imaged", 37.1, 53.0, speed),), maps, making, None, ())
        return Answer(making=making, effects=effects, found=orders)

    effects = plate_effects(plates_surfaces)
    making = plate_making(plates_trial.plates, Study())
    monkeypatch.setattr(plates_page, "find", found)
    monkeypatch.setattr(plates_page, "known", lambda _wanted: None)


def saved(page):
    link = re.search(r'download="plate-orders.csv" href="data:[^;]*;base64,([^"]*)"', page.place.saves.value)
    return pd.read_csv(io.StringIO(b64decode(link[1]).decode()))


def test_it_opens_on_the_plate_to_order(page, answer):
    first, *others = answer.found.orders
    said = plain(page.order.value)
    assert f"{first.artwork_width:.3g} × {first.artwork_gap:.3g} µm" in said
    assert first.plate in said and f"{first.band.high:g} m/min" in said
    sentence = first.interval.sentence(first.conformance)
    assert sentence[1:] in said, "the bound is told in the sentence of every page"
    assert said.count("roll") >= len(others) > 0
    assert page.place.figure is not None and page.frame.problem.value == ""


def test_the_runners_up_follow_in_their_order(page, answer):
    rows = re.findall(r'<tr><th scope="row">.*?</tr>', plain(page.order.value), re.S)
    speeds = [f"{one.band.high:g} m/min" for one in answer.found.orders[1:]]
    assert len(rows) == len(speeds) and all(speed in row for speed, row in zip(speeds, rows))


def test_orders_are_saved_as_a_table(page, answer, plates_trial):
    expected = answer.found.to_frame(plates_trial.pressure_key)
    table = saved(page)
    assert table["artwork_width_um"].tolist() == pytest.approx(expected["artwork_width_um"].tolist())
    assert table["roll"].astype(str).str.zfill(4).tolist() == expected["roll"].tolist()


def test_plate_making_is_told_with_its_error_and_its_spread(page, answer):
    said = plain(page.details.value)
    for row in answer.making.table().to_dict("records"):
        number = f"{row['added']:+.2f} ± {row['se']:.2f}".replace("-", "−")
        assert number in said and row["known_from"] in said
    assert "least certain" in said and "What a printed gap follows" in said


def test_a_trial_that_varied_both_sizes_leaves_nothing_untold(page):
    assert page.untold.value == "" and page.demo not in page.left.children


def test_what_a_trial_of_one_width_cannot_say_is_said_first():
    page = PlatesPage(given_evidence())
    told = plain(page.untold.value)
    assert (
        "film-imaged 28 µm and laser-imaged 30 µm" in told and "what plate gap does, from 45 to 75 µm" in told
    )
    assert "pwindow serve trial_plates.csv plates.csv --product sensor.toml" in told
    order = list(page.right.children)
    assert order.index(page.untold) < order.index(page.place) and page.demo in page.left.children


def test_the_demo_trial_of_plates_is_opened_by_its_button(monkeypatch, quick):
    page = PlatesPage(given_evidence())
    page.demo.click()
    assert page.frame.problem.value == ""
    assert page.wanted.asked.name == "Leaf wetness sensor"
    assert page.evidence.surfaces.trial.files[0] == "trial_plates.csv"
    assert page.untold.value == "" and "37.1 × 53 µm" in plain(page.order.value)


def test_another_assurance_is_worked_out_and_told_by_the_address(page, quick):
    page.level.value = 0.8
    assert "20 m/min" in plain(page.order.value)
    assert "assurance=0.8" in page.frame._query.value
    page.level.value = 0.6
    assert "40 m/min" in plain(page.order.value)


def test_a_changed_limit_stays_as_typed_and_is_undone(page, quick, sensor):
    field = page.editor.box.children[0]
    field.value = "150"
    assert page.editor.box.children[0] is field and page.frame.problem.value == ""
    assert page.wanted.asked.requirements[0].most == 150.0
    assert "line_resistance.most=150" in page.frame._query.value
    page.changed.undo.click()
    assert page.wanted.asked == sensor and "most=150" not in page.frame._query.value


def test_an_address_opens_what_was_chosen_and_keeps_what_is_for_other_pages(evidence, quick):
    page = PlatesPage(evidence)
    page.open_at("product=Leaf%20wetness%20sensor&assurance=0.8&gap.count=24&roll=2047&speed=80&units=us")
    assert page.wanted.asked.assurance.level == 0.8 and page.level.value == 0.8
    assert "thou" in plain(page.order.value) and "65.6 ft/min" in plain(page.order.value)
    query = page.frame._query.value
    for part in ("assurance=0.8", "gap.count=24", "roll=2047", "speed=80", "units=us"):
        assert part in query


def test_what_an_address_cannot_have_is_told(page):
    page.open_at("product=none&roll=2047&nothing=1&units=N/mm")
    told = plain(page.frame._notices.value)
    assert "product=none" in told and "nothing=1" in told and "units=N/mm" in told
    assert page.wanted.asked.name == "Leaf wetness sensor"


def test_an_answer_to_an_earlier_question_is_passed_over(page, quick, answer):
    before = page.wanted
    page.level.value = 0.8
    shown = page.order.value
    page._take(before, answer)
    assert page.order.value == shown


def test_a_question_asked_while_there_is_work_is_answered_after_it(evidence, quick, monkeypatch):
    page, loop = PlatesPage(evidence), Loop()
    monkeypatch.setattr(work, "page_loop", lambda: loop)
    page.level.value = 0.8
    page.level.value = 0.6
    assert "pw-old" in page.order._dom_classes
    loop.run_until(lambda: not page.work.busy)
    assert "40 m/min" in plain(page.order.value) and "pw-old" not in page.order._dom_classes


class Loop:
    """An event loop that runs when it is told to."""

    def __init__(self):
        self._asked = queue.Queue()

    def call_soon_threadsafe(self, act, *given, context=None):
        self._asked.put(partial(act, *given))

    def run_until(self, done):
        while not done():
            self._asked.get(timeout=60)()


def test_where_finding_fails_no_result_of_another_question_is_left(page, monkeypatch):
    def fail(_wanted):
        raise RuntimeError("out of memory")

    monkeypatch.setattr(plates_page, "find", fail)
    page.level.value = 0.8
    assert "RuntimeError" in page.frame.problem.value
    assert page.order.value == "" and page.place.figure is None


def test_colours_are_taken_by_the_picture(page):
    page.frame._colours.value = "dark"
    assert page.place.figure.layout.paper_bgcolor == "#14181d"


def test_a_product_that_no_plate_can_be_judged_for_is_refused(sensor):
    page = PlatesPage(loaded_evidence([InputFile.of(demo("sensor.toml"))], given_evidence())[0])
    page.product.value = "De-fogging heater mesh"
    assert page.frame.problem.value == "" and page.wanted.asked.name == "De-fogging heater mesh"
    shown = page.order.value
    page.product.value = sensor.name
    assert f"no plate can be judged for {sensor.name}" in plain(page.frame.problem.value)
    assert page.product.value == "De-fogging heater mesh" and page.order.value == shown


def test_a_loaded_product_that_no_plate_can_be_judged_for_is_passed_over_with_its_reason(sensor, quick):
    page = PlatesPage(given_evidence())
    page.loading.load([InputFile.of(demo("sensor.toml"))])
    told = re.sub("<[^>]*>", "", plain(page.frame._notices.value))
    assert "Grain moisture tag is shown" in told and sensor.name in told and "printed_radius" in told
    assert page.wanted.asked.name == "Grain moisture tag"


def test_without_a_product_it_waits_and_says_why(demo_surfaces, sensor):
    page = PlatesPage(Evidence(surfaces=demo_surfaces, study=Study(), products={sensor.name: sensor}))
    assert "Load a product" in plain(page.order.value) and "printed_radius" in plain(page.order.value)
    assert page.place.figure is None and list(page.right.children) == [page.order]


def test_without_a_trial_it_waits():
    page = PlatesPage(Evidence(surfaces=None, study=Study(), products={}))
    assert "No trial yet" in plain(page.order.value)
    assert page.demo in page.left.children


def test_a_bad_file_changes_nothing(page):
    shown = page.order.value
    page.loading.load = page.frame.guard(page.loading.load)
    page.loading.load([InputFile("bad.csv", b"print,speed [m/min]\n1,fast\n")])
    assert page.frame.problem.value and page.order.value == shown


def test_what_is_found_before_a_visitor_comes_is_kept(monkeypatch):
    found = given_evidence()
    monkeypatch.setattr(model, "given_evidence", lambda: found)
    model.get_ready()
    assert known(Wanted.on(Session(), found)) is not None


def test_a_page_that_cannot_be_made_says_why(monkeypatch, tmp_path):
    broken = tmp_path / "broken.csv"
    broken.write_text("print\n", encoding="utf-8")
    monkeypatch.setenv("PWINDOW_TRIAL", str(broken))
    assert "broken.csv" in plates("").value


def test_the_demo_files_are_there():
    assert [file.name for file in model.demo_files()] == list(model.DEMO)
    assert all(demo(name).exists() for name in model.DEMO)
