"""Settings in the address of a page: the same comes back, and nothing in an address breaks a page."""

import base64
import re
from dataclasses import replace

import pytest

from pwindow.panels.set_up_speed.page import SetUpSpeed, set_up_speed
from pwindow.panels.set_up_speed.view import downloads
from pwindow.panels.shared.address import Address, address_of, open_at
from pwindow.study import Roll
from pwindow.workflows.given import given_evidence
from tests.helpers.words import plain

TAG, MESH = "Grain moisture tag", "De-fogging heater mesh"


@pytest.fixture(scope="module")
def evidence():
    return given_evidence()


def test_an_address_comes_back_as_it_was_given():
    given = Address(
        product="Tag & <b>mesh</b>, 100 %",
        plate="laser-imaged",
        roll="0412",
        pressure=47.5,
        speed=61.5,
        assurance=0.93,
        confidence=0.85,
        limits={"line_width.most": 71.25, "gap.count": 60.0},
        planned=(6.3, 5.25),
        colours="dark",
    )
    assert Address.read(given.query()) == (given, ())
    assert Address.read("") == (Address(), ()) == Address.read(None)


@pytest.mark.parametrize(
    "query",
    [
        "speed=nan",
        "speed=inf",
        "pressure=1e999",
        "colours=pink",
        "planned=much",
        "gap.most=none",
        "gap.colour=1",
        "unknown=1",
        ".most=x",
        "speed=%ff%fe",
    ],
)
def test_what_cannot_be_read_is_told_and_the_rest_is_used(query):
    found, told = Address.read(f"roll=0412&{query}")
    assert found.roll == "0412"
    assert len(told) == 1 and query.split("=")[0] in told[0]
    assert found == Address(roll="0412")


@pytest.mark.slow
def test_a_set_up_and_changed_limits_are_opened_again(evidence):
    page = SetUpSpeed(evidence)
    page.controls.speed.value = 60.0
    page.controls.pressure.value = 45.0
    page.controls.level.value = 0.9
    page.editor.box.children[0].value = "300"
    page.controls.roll.value = "1318"
    address = address_of(page.question, page._setup(), page.inquiry.declared[TAG])
    assert address.limits == {"line_resistance.most": 300.0} and address.assurance == 0.9
    other = SetUpSpeed(evidence)
    other.open_at(address.query())
    assert other._setup() == page._setup()
    assert other.question.product == page.question.product
    assert other.answer.value == page.answer.value and other.setup.value == page.setup.value
    assert other.frame._query.value == page.frame._query.value
    assert other.editor.box.children[0].value == "300"
    sent = next(trace for trace in other.figure.get_state()["_widget_data"] if trace["name"] == "chosen")
    assert list(sent["x"]) == [60.0], "a page that is not open yet is sent the whole picture"


def test_a_page_as_it_opens_needs_its_product_only(evidence):
    opened = open_at(Address(), evidence)
    assert address_of(opened.question, opened.setup, opened.question.product) == Address(product=TAG)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        (Address(product="Nothing"), "no such product"),
        (Address(plate="etched"), "no such plate"),
        (Address(roll="9999"), "not in the inventory"),
        (Address(speed=900.0), "outside the tried 30 to 120 m/min"),
        (Address(pressure=-5.0), "outside the tried"),
        (Address(planned=(9.0,)), "a roll of 9 cm³/m² cannot be judged"),
        (Address(planned=(4.4,)), "already in the inventory as roll 1203"),
        (Address(assurance=1.5), "assurance"),
        (Address(confidence=0.2), "from 50 % to below 100 %"),
        (Address(limits={"gap.most": -3.0}), "gap"),
        (Address(limits={"voltage_drop.most": 3.0}), "no such limit"),
        (Address(limits={"gap.least": 60.0}), "gap"),
        (Address(limits={"gap.count": 60.5}), "60.5 gaps on one part: not a whole number"),
    ],
)
def test_what_is_not_here_is_told_and_the_page_opens(evidence, address, words):
    opened = open_at(replace(address, product=address.product or TAG), evidence)
    assert len(opened.left_out) == 1 and words in opened.left_out[0]
    assert opened.setup == open_at(Address(), evidence).setup
    assert opened.question.product == evidence.products[TAG]


def test_limits_of_one_requirement_are_changed_together(evidence):
    opened = open_at(Address(limits={"gap.least": 50.0, "gap.most": 60.0}), evidence)
    gap = next(item for item in opened.question.product.requirements if item.name == "gap")
    assert (gap.least, gap.most, opened.left_out) == (50.0, 60.0, ())


def test_planned_rolls_are_those_of_the_address(evidence):
    first = open_at(Address(planned=(6.3, 5.25), roll="new 2"), evidence)
    assert first.setup.roll == Roll("new 2", 5.25, planned=True) and first.left_out == ()
    assert first.question.window.notes[-2:] == (
        "roll new 1 (6.3 cm³/m²) is planned: you do not have it yet",
        "roll new 2 (5.25 cm³/m²) is planned: you do not have it yet",
    )
    told = address_of(first.question, first.setup, first.question.product)
    assert told.planned == (6.3, 5.25) and told.roll == "new 2"
    again = open_at(told, first.question.evidence, first.question)
    assert again.question is first.question and again.setup == first.setup
    other = open_at(Address(planned=(5.25,)), first.question.evidence, first.question)
    assert [roll.label for roll in other.question.window.rolls if roll.planned] == ["new 1 (planned)"]
    without = open_at(Address(), first.question.evidence, first.question)
    assert not any(roll.planned for roll in without.question.window.rolls)
    assert not any(roll.planned for roll in evidence.study.rolls), "what the server was started with stays"


@pytest.mark.slow
def test_the_set_up_speed_page_shows_planned_rolls(evidence):
    page = SetUpSpeed(evidence)
    page.open_at("planned=6.3&roll=new%201&pressure=50&speed=60")
    assert "new 1 (planned) · 6.3" in [label for label, _ in page.controls.roll.options]
    assert "Roll new 1 (planned), 50 µm" in plain(page.setup.value)
    assert "new 1 (planned) (6.3)" in plain(page.bands.value)
    assert "is planned: you do not have it yet" in page.answer.value
    assert "planned=6.3" in page.frame._query.value
    saved = base64.b64decode(re.search(r'base64,([^"]+)"', downloads(page.question))[1]).decode()
    assert "\nnew 1 (planned),laser-imaged,6.3," in saved
    page.controls.level.value = 0.9
    assert "planned=6.3" in page.frame._query.value, "another question is asked of the same rolls"
    page.form.value = "bending"
    assert "planned=6.3" in page.frame._query.value


@pytest.mark.slow
def test_another_product_is_opened(evidence):
    assert open_at(Address(product=MESH), evidence).question.product.name == MESH


def test_an_address_is_text_on_the_page(evidence):
    page = SetUpSpeed(evidence)
    page.open_at("product=<script>alert(1)</script>&roll='><img src=x>")
    told = page.frame._notices.value
    assert "&lt;script&gt;" in told and "<script" not in told and "<img" not in told


def test_a_kernel_made_ready_opens_at_the_address():
    set_up_speed.get_ready()
    page = set_up_speed(f"product={TAG}&roll=1318&pressure=45&speed=60&colours=dark")
    assert "pw-page" in page._dom_classes
    assert set_up_speed("roll=0655") is page, "a page that is ready is not made twice"
