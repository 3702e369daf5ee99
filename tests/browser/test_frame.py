"""What every page has round its content: navigation, colours, address; and what travels."""

from __future__ import annotations

import re

import pytest

pytestmark = pytest.mark.slow

PAGE = "/voila/render/set-up-speed.ipynb"
PATIENCE = 150_000  # ms


def open_page(page, address: str) -> None:
    page.goto(address)
    page.locator(".heatmaplayer image").first.wait_for(state="attached", timeout=PATIENCE)


def paper(page) -> str:
    return page.evaluate(
        "getComputedStyle(document.querySelector('.js-plotly-plot .main-svg')).backgroundColor"
    )


def test_a_link_opens_what_was_chosen(page, served):
    open_page(page, served + PAGE)
    handle = page.get_by_role("slider", name="Speed, m/min", exact=True)
    handle.focus()
    for _ in range(4):
        handle.press("ArrowLeft")
    page.wait_for_url(re.compile("speed=97[.]4"), timeout=PATIENCE)
    page.locator(".pw-selected", has_text="97.4 m/min").wait_for(timeout=PATIENCE)
    field = page.get_by_label("gaps on one part")
    field.fill("60")
    field.press("Enter")
    page.wait_for_url(re.compile("gap.count=60"), timeout=PATIENCE)
    looked_at, answer = (page.locator(part).inner_text() for part in (".pw-selected", ".pw-big"))
    link = page.url
    elsewhere = page.locator(".pw-top nav a", has_text="New trial data").get_attribute("href")
    assert elsewhere.split("?")[1] == link.split("?")[1]
    open_page(page, link)
    assert page.locator(".pw-selected").inner_text() == looked_at
    assert page.locator(".pw-big").inner_text() == answer
    assert page.get_by_label("gaps on one part").input_value() == "60"
    assert page.url == link


def test_a_bad_address_is_told_and_mended(page, served):
    open_page(page, f"{served}{PAGE}?roll=none&speed=%ff&product=<b>x</b>&template=no")
    told = page.get_by_role("status").filter(has_text="in this link could not be used")
    assert "roll=none" in told.inner_text() and "<b>x</b>" in told.inner_text()
    page.wait_for_url(re.compile(r"ipynb\?product=Grain[^&]*$"), timeout=PATIENCE)


def test_colours_are_the_systems_until_chosen_and_then_kept(page, served):
    page.emulate_media(color_scheme="dark")
    open_page(page, served + PAGE)
    dark = "document.querySelector('.pw-figure').classList.contains('pw-dark')"
    page.wait_for_function(dark, timeout=PATIENCE)
    page.wait_for_function(
        "getComputedStyle(document.querySelector('.js-plotly-plot .main-svg')).backgroundColor === 'rgb(20, 24, 29)'",
        timeout=PATIENCE,
    )
    assert "colours" not in page.url
    page.get_by_label("Theme").select_option("light")
    page.wait_for_function(f"!({dark})", timeout=PATIENCE)
    assert "colours=light" in page.url
    open_page(page, served + PAGE)
    assert page.locator("html").get_attribute("data-theme") == "light"
    assert page.get_by_label("Theme").input_value() == "light" and "colours=light" in page.url
    assert page.locator(".pw-figure.pw-light").count() == 1
    open_page(page, f"{served}{PAGE}?colours=dark")
    assert page.locator("html").get_attribute("data-theme") == "dark", "a link's colours go first"
    assert paper(page) == "rgb(20, 24, 29)"


@pytest.fixture
def watched(page):
    """The page, with the sizes in bytes of what passed through its connections."""
    page.sent, page.received = [], []

    def watch(line) -> None:
        line.on("framesent", lambda part: page.sent.append(len(part)))
        line.on("framereceived", lambda part: page.received.append(len(part)))

    page.on("websocket", watch)
    return page


def test_little_travels(watched, served):
    open_page(watched, served + PAGE)
    watched.wait_for_timeout(500)
    assert max(watched.received) < 1_000_000, "the drawing code comes as a file that the browser keeps"
    assert (
        watched.request.get(served + watched.evaluate("window.pwFigures")).headers["cache-control"]
        != "no-cache"
    )
    watched.sent.clear(), watched.received.clear()
    handle = watched.get_by_role("slider", name="Pressure, µm", exact=True)
    handle.focus()
    handle.press("ArrowRight")
    watched.locator(".pw-selected", has_text="Roll 2047, 51 µm").wait_for(timeout=PATIENCE)
    watched.wait_for_timeout(500)
    assert max(watched.received) < 200_000 and max(watched.sent) < 20_000


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (1920, 1080)])
def test_nothing_jumps_and_the_picture_is_in_view(page, served, width, height):
    page.set_viewport_size({"width": width, "height": height})
    open_page(page, served + PAGE)
    page.wait_for_timeout(500)
    shift = page.evaluate(
        """() => new Promise(done => {
             let sum = 0;
             new PerformanceObserver(list => list.getEntries().forEach(entry => { sum += entry.value; }))
               .observe({type: 'layout-shift', buffered: true});
             setTimeout(() => done(sum), 200);
           })"""
    )
    assert shift < 0.1, "what web.dev calls a good cumulative layout shift"
    box = page.locator(".pw-figure").bounding_box()
    assert box["y"] < 0.66 * height
    assert page.locator(".js-plotly-plot").bounding_box()["width"] > 0.98 * box["width"] - 8
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_focus_is_seen_and_goes_in_order(page, served):
    open_page(page, served + PAGE)
    seen = []
    for _ in range(10):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            """() => {
                 const at = document.activeElement;
                 const label = at.labels && at.labels[0];
                 return [at.getAttribute('aria-label') || (label && label.innerText) || at.innerText,
                         getComputedStyle(at).outlineStyle];
               }"""
        )
        assert outline == "solid", name
        seen.append(name.split("\n")[0])
    assert seen[:2] == ["Skip to the content", "Set-up speed"]
    places = [seen.index(name) for name in ("Theme", "Product", "Plate", "Roll")]
    assert places == sorted(places)
