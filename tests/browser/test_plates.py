"""The page of plates in a real browser: from a trial of one plate width to the plate to order."""

from __future__ import annotations

import csv
import re

import pytest

from tests.helpers.words import plain

PAGE = "/voila/render/plates.ipynb"
PATIENCE = 150_000  # ms


def open_demo(page, address):
    page.goto(address + PAGE)
    page.get_by_role("button", name="Open the demo trial of plates").click(timeout=PATIENCE)
    page.get_by_role("heading", name="Order", exact=True).wait_for(timeout=PATIENCE)
    page.locator(".pw-orders .gtitle", has_text="Leaf wetness sensor").wait_for(timeout=PATIENCE)


def test_the_demo_trial_of_plates_gives_a_plate_to_order(page, served):
    page.goto(served + PAGE)
    page.get_by_text("laser-imaged 30 µm").wait_for(timeout=PATIENCE)
    open_demo(page, served)
    card = page.locator(".pw-order")
    assert re.search(r"[\d.]+ × [\d.]+ µm", plain(card.locator(".pw-big").inner_text()))
    assert "with 95 % confidence at least" in plain(card.inner_text())
    page.locator(".pw-orders .heatmaplayer image").nth(3).wait_for(state="attached", timeout=PATIENCE)
    assert "data=" in page.url, "other pages show the same trial"


@pytest.mark.slow
def test_the_orders_and_their_picture_are_saved(page, served):
    open_demo(page, served)
    big = page.locator(".pw-order .pw-big").inner_text()
    with page.expect_download(timeout=PATIENCE) as waiting:
        page.get_by_role("link", name="Save the orders (CSV)").click()
    with open(waiting.value.path(), encoding="utf-8") as file:
        first = next(csv.DictReader(file))
    assert f"{float(first['artwork_width_um']):.3g}" in big
    with page.expect_download(timeout=PATIENCE) as waiting:
        page.locator(".pw-orders").get_by_role("button", name="Save the picture (SVG)").click()
    with open(waiting.value.path(), "rb") as file:
        assert b"Leaf wetness sensor" in file.read()


@pytest.mark.slow
def test_the_answer_and_its_maps_are_in_view(page, served):
    page.set_viewport_size({"width": 1280, "height": 800})
    open_demo(page, served)
    page.locator(".pw-orders .heatmaplayer image").first.wait_for(state="attached", timeout=PATIENCE)
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    plot = page.locator(".pw-orders .js-plotly-plot").bounding_box()
    assert plot["y"] + 300 < 800
    card = page.locator(".pw-order")
    assert card.evaluate("it => it.scrollWidth <= it.clientWidth + 1"), "nothing of the card is cut off"
    assert plot["y"] >= card.bounding_box()["y"] + card.bounding_box()["height"]
