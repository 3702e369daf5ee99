"""Every page in both themes is looked over by axe-core, and gone through by keyboard."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

pytestmark = pytest.mark.slow

PATIENCE = 150_000  # ms
SAID = "said => document.querySelector('[role=slider][aria-label^=Assurance]').ariaValueText === said"
SEEN = {
    "set-up-speed": ".heatmaplayer image",
    "trade-offs": ".js-plotly-plot .main-svg",
    "plates": ".js-plotly-plot .main-svg",
    "new-trial-data": ".pw-controls button",
    "traces": ".js-plotly-plot .main-svg",
}


@pytest.fixture(scope="module")
def pages(served):
    """Address of the pages; new trial data stands on the server's temporary archive."""
    return f"{served}/voila/render"


def open_page(page, pages: str, name: str, query: str = "") -> None:
    page.goto(f"{pages}/{name}.ipynb{query}")
    page.locator(SEEN[name]).first.wait_for(state="attached", timeout=PATIENCE)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", SEEN)
def test_nothing_serious_is_found(page, pages, name, theme):
    page.emulate_media(color_scheme=theme)
    open_page(page, pages, name)
    if name == "new-trial-data":
        page.get_by_role("button", name="Go to step 4").click()
        page.get_by_role("button", name="Refit").click()
        page.locator("h3", has_text="Fit ").first.wait_for(timeout=PATIENCE)
    page.wait_for_function("() => !document.querySelector('.pw-waiting, .pw-old')")  # pale on purpose
    page.wait_for_timeout(300)  # colours settle
    assert page.locator("html").get_attribute("data-theme") == theme
    found = Axe().run(page).response["violations"]
    serious = [
        f"{item['id']}: {node['target']} {node['failureSummary']}"
        for item in found
        for node in item["nodes"]
        if item["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_the_look_over_finds_what_is_wrong(page, pages):
    open_page(page, pages, "new-trial-data")
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<input>')")
    found = Axe().run(page).response["violations"]
    assert [item["id"] for item in found if item["impact"] == "critical"] == ["label"]


def test_a_slider_is_read_out_as_it_is_written(page, pages):
    open_page(page, pages, "trade-offs")
    handle = page.get_by_role("slider", name="Assurance")
    page.wait_for_function(SAID, arg="95 %")
    assert page.get_by_role("textbox", name="Assurance, %, value").input_value() == "95"
    handle.focus()
    handle.press("ArrowLeft")
    page.wait_for_function(SAID, arg="94 %")
