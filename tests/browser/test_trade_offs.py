"""A design review on the page of trade-offs, in a real browser."""

import re
from pathlib import Path

import pytest

from tests.helpers.words import plain

pytestmark = pytest.mark.slow

PAGE = "/voila/render/trade-offs.ipynb"
PATIENCE = 150_000  # ms


def visit(page, address):
    page.goto(address)
    page.locator(".pw-answer .pw-big").wait_for(timeout=PATIENCE)
    return page


def test_from_a_pinned_set_up_to_its_report_and_a_link(page, context, served):
    visit(page, served + PAGE)
    page.locator(".pw-big", has_text="95.1 %").wait_for(timeout=PATIENCE)
    speed = page.get_by_role("slider", name="Speed, m/min")
    speed.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    page.get_by_text("roll 2047, 50 µm, 96.8 m/min").first.wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Pin this set-up").click()
    page.get_by_role("button", name="Side by side").click()
    page.get_by_text("pin 1: roll 2047, 50 µm, 96.8 m/min").wait_for(timeout=PATIENCE)
    speed.focus()
    page.keyboard.press("ArrowRight")
    page.get_by_text("roll 2047, 50 µm, 96.9 m/min").first.wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Add roll").click()
    page.get_by_role("alert").filter(has_text="already in the inventory as roll 1203").wait_for(
        timeout=PATIENCE
    )
    page.get_by_label("Volume").fill("6.3")
    page.get_by_label("Volume").press("Enter")
    page.get_by_role("button", name="Add roll").click()
    page.get_by_role("status").filter(has_text="Added as new 1").wait_for(timeout=PATIENCE)
    assert (
        page.get_by_label("Roll", exact=True).locator("option", has_text="new 1 (planned) · 6.3").count() == 1
    )
    page.get_by_role("button", name="Make the report").click()
    with page.expect_download(timeout=PATIENCE) as saved:
        page.get_by_role("link", name="Save the report").click()
    report = Path(saved.value.path()).read_text(encoding="utf-8")
    assert saved.value.suggested_filename == "report.html"
    assert "96.8 m/min" in plain(report) and "Grain moisture tag" in report
    other = visit(context.new_page(), page.url)
    other.get_by_text("pin 1: roll 2047, 50 µm, 96.8 m/min").wait_for(timeout=PATIENCE)
    for shown in (".pw-answer", ".pw-results table:visible"):
        assert other.locator(shown).first.inner_text() == page.locator(shown).first.inner_text()


def test_a_planned_roll_is_known_to_the_page_that_is_opened_next(page, served):
    visit(page, served + PAGE)
    page.get_by_label("Volume").fill("3.9 BCM")
    page.get_by_label("Volume").press("Enter")
    page.get_by_role("button", name="Add roll").click()
    page.get_by_role("status").filter(has_text="Added as new 1").wait_for(timeout=PATIENCE)
    page.wait_for_url(re.compile(r"planned=6\.045"), timeout=PATIENCE)
    page.get_by_role("link", name="Set-up speed").click()
    page.locator(".pw-result .pw-big").first.wait_for(timeout=PATIENCE)
    menu = page.get_by_label("Roll", exact=True)
    assert menu.locator("option", has_text="new 1 (planned) · 6.05").count() == 1
    menu.select_option(label="new 1 (planned) · 6.05")
    page.get_by_text("Roll new 1 (planned), 50 µm").first.wait_for(timeout=PATIENCE)
    page.get_by_text("Roll new 1 (6.05 cm³/m²) is planned: you do not have it yet.").wait_for(
        timeout=PATIENCE
    )


def test_a_limit_that_cannot_be_stays_as_typed_and_says_why(page, served):
    visit(page, served + PAGE)
    field = page.get_by_label("line resistance at most")
    refused = page.get_by_role("alert")
    for typed, leave, words in (
        ("-5", "Enter", "−5 Ω is not above zero"),
        ("0", "Tab", "0 Ω is not above zero"),
        ("", "Enter", "the field is empty"),
        ("much", "Tab", "“much” is not a number"),
    ):
        field.fill(typed)
        field.press(leave)
        refused.filter(has_text=f"{words}").wait_for(timeout=PATIENCE)
        assert field.input_value() == typed
        assert "The page still uses 330 Ω." in plain(refused.inner_text())
    field.fill("350,5")
    field.press("Tab")
    refused.wait_for(state="detached", timeout=PATIENCE)
    page.wait_for_url(re.compile(r"line_resistance\.most=350\.5"), timeout=PATIENCE)
    assert field.input_value() == "350.5"


def test_each_picture_is_saved_by_its_own_buttons(page, served):
    visit(page, served + PAGE)
    for section, name in (("Speed", "along-the-speed"), ("Best trade-offs", "best-trade-offs")):
        page.get_by_role("button", name=section).click()
        page.locator(".js-plotly-plot:visible .main-svg").first.wait_for(timeout=PATIENCE)
        for kind, start in (("SVG", b"<svg"), ("PNG", b"\x89PNG")):
            with page.expect_download(timeout=PATIENCE) as saved:
                page.locator(f"button[data-pw-name={name}]:visible", has_text=kind).click()
            assert saved.value.suggested_filename == f"{name}.{kind.lower()}"
            content = Path(saved.value.path()).read_bytes()
            assert content.startswith(start)
            if kind == "SVG":
                assert (b"best trade-offs" in content) == (name == "best-trade-offs")
    assert page.locator(".modebar-btn").count() == 0


def test_moved_limits_are_shown_in_a_section_of_their_own(page, served):
    visit(page, served + PAGE)
    page.get_by_role("button", name="Limits", exact=True).click()
    table = page.get_by_role("table").filter(has_text="48 gaps on one part").first
    table.wait_for(timeout=PATIENCE)
    row = table.get_by_role("row").filter(has_text="line resistance at most 330 Ω")
    assert "297 Ω" in plain(row.inner_text()) and "−11.7" in row.inner_text()
    less, more = (row.locator(".pw-bar > span").nth(at).bounding_box() for at in (0, 1))
    assert less["width"] > 20 and less["x"] + less["width"] == pytest.approx(more["x"], abs=1.5)
    page.wait_for_url(re.compile("section=limits"), timeout=PATIENCE)


def test_what_is_refused_is_seen_from_the_end_of_the_page(page, served):
    page.set_viewport_size({"width": 1280, "height": 900})
    visit(page, served + PAGE)
    page.get_by_role("button", name="Pin this set-up").click()
    page.get_by_role("button", name="Side by side").click()
    page.get_by_text("pin 1: roll 2047").wait_for(timeout=PATIENCE)
    page.set_viewport_size({"width": 1280, "height": 400})
    page.mouse.move(900, 300)
    page.mouse.wheel(0, 1500)
    page.wait_for_timeout(300)
    page.get_by_role("button", name="Pin this set-up").click()
    told = page.get_by_role("alert").filter(has_text="already pinned")
    told.wait_for(timeout=PATIENCE)
    assert page.evaluate("window.scrollY") > 200
    assert 0 <= told.bounding_box()["y"] < 300


def test_a_table_that_does_not_fit_is_reached_by_keyboard(page, served):
    page.set_viewport_size({"width": 1024, "height": 768})
    pins = "&".join(f"pin={speed}%3B50%3B2047%3Blaser-imaged" for speed in range(80, 86))
    visit(page, f"{served}{PAGE}?{pins}&section=beside")
    region = page.get_by_role("region", name="Set-ups side by side")
    region.wait_for(timeout=PATIENCE)
    region.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function("document.activeElement.scrollLeft > 0", timeout=PATIENCE)
    assert page.get_by_role("region", name="What one step").count() == 0, "only where it matters"
    first = region.locator("tbody th").first
    assert first.bounding_box()["x"] >= region.bounding_box()["x"] - 1, "the first column stays"
