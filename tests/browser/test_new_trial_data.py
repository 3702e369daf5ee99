"""A visitor's way through the page of new trial data, in a real browser."""

from __future__ import annotations

import re
import sys

import pytest

from pwindow.shipped import demo
from pwindow.trials.archive import Archive
from tests.helpers.archives import filled_file
from tests.helpers.servers import free_port, run_server

pytestmark = pytest.mark.slow

CUT = """() => [...document.querySelectorAll(".js-plotly-plot .main-svg")].flatMap((svg) => {
  const edge = svg.getBoundingClientRect();
  return [...svg.querySelectorAll("text")].filter((text) => {
    const box = text.getBoundingClientRect();
    const inside = box.left >= edge.left && box.right <= edge.right && box.top >= edge.top && box.bottom <= edge.bottom;
    return text.textContent && box.width && !inside;
  }).map((text) => text.textContent);
})"""
FOLLOWED = """() => {
  window.told = [];
  document.addEventListener("click", (event) => {
    if (event.target.closest("button")) window.pressed = performance.now();
  }, true);
  new MutationObserver(() => {
    const busy = document.querySelector(".pw-spot .pw-busy");
    const text = busy ? busy.textContent.trim() : "";
    if (window.told.at(-1)?.text === text) return;
    window.told.push({ text, after: performance.now() - window.pressed });
  }).observe(document.querySelector(".pw-controls"), { childList: true, subtree: true, characterData: true });
}"""
ONLY_STOP = """() => {
  const usable = [...document.querySelectorAll(".pw-controls button:enabled")].filter((it) => it.offsetParent);
  return usable.length === 1 && usable[0].textContent === "Stop";
}"""
PAGE = "/voila/render/new-trial-data.ipynb"
PATIENCE = 150_000  # ms


@pytest.fixture
def archive(tmp_path):
    """Address of an archive with the first trial in it."""
    file = tmp_path / "trials.db"
    file.write_bytes(filled_file())
    return str(file)


@pytest.fixture
def address(archive, tmp_path):
    """Address of the page on that archive."""
    port = free_port()
    command = [
        sys.executable,
        "-m",
        "pwindow",
        "serve",
        "--archive",
        archive,
        "--no-browser",
        "--port",
        str(port),
    ]
    with run_server(command, port, tmp_path / "log") as server:
        yield server.address + PAGE


@pytest.fixture
def opened(page, address):
    return visit(page, address)


def visit(page, address):
    page.goto(address)
    page.get_by_role("button", name="Add a trial or product").wait_for(timeout=PATIENCE)
    return page


def press(page, name) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def marked(page, title) -> None:
    """Wait for a step to be the one that can be taken."""
    page.locator("h2[aria-current=step]", has_text=title).wait_for(timeout=PATIENCE)


def usable(page) -> list[str]:
    """What can be pressed among the steps."""
    return page.locator(".pw-controls button:visible:enabled").all_inner_texts()


def upload(page, path) -> None:
    with page.expect_file_chooser() as waiting:
        page.get_by_role("button", name="Add a trial or product").click()
    waiting.value.set_files(path)


def test_from_a_file_to_a_decision_and_a_new_fit(opened, archive, tmp_path):
    upload(opened, demo("tag.toml"))
    opened.get_by_label("Grain moisture tag").wait_for(timeout=PATIENCE)
    press(opened, "Refit")
    opened.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
    press(opened, "Go to step 1")
    bad = tmp_path / "bad.csv"
    bad.write_bytes(demo("trial_second.csv").read_bytes().replace(b",30.0,", b",fast,", 1))
    upload(opened, bad)
    opened.get_by_text("“fast”").wait_for(timeout=PATIENCE)
    upload(opened, demo("trial_second.csv"))
    opened.locator(".pw-big", has_text="Does not agree").wait_for(timeout=PATIENCE)
    opened.get_by_text("measured against predicted").first.wait_for(timeout=PATIENCE)
    press(opened, "Changed process")
    opened.get_by_text("needs a reason").wait_for(timeout=PATIENCE)
    reason = opened.get_by_label("Reason")
    reason.fill("new ink batch")
    reason.press("Tab")
    press(opened, "Changed process")
    opened.get_by_text("is now “changed process”").wait_for(timeout=PATIENCE)
    press(opened, "Refit")
    opened.locator("h3", has_text="Fit 2").wait_for(timeout=PATIENCE)
    press(opened, "Compare")
    opened.get_by_text("dashed: before").first.wait_for(timeout=PATIENCE)
    marked(opened, "6 · Confirm")
    trials = Archive(archive).trials()
    assert list(trials["standing"]) == ["same process", "changed process"]
    assert trials["reason"].iloc[1] == "new ink batch"
    for width in (1024, 1280, 1920):
        opened.set_viewport_size({"width": width, "height": 900})
        opened.wait_for_timeout(1000)
        assert opened.evaluate("document.documentElement.scrollWidth") <= width
        assert opened.evaluate(CUT) == [], width


def test_a_dropped_connection_and_a_second_tab_lose_nothing(page, context, address, archive):
    """The connection drops while a trial is being added; a second tab sees what the first has done."""
    sockets, dropped = [], []

    def carry(socket):
        if dropped:
            socket.close()
        else:
            sockets.extend([socket, socket.connect_to_server()])

    page.route_web_socket(re.compile("/channels"), carry)
    visit(page, address)
    upload(page, demo("trial_second.csv"))
    page.get_by_text("fitting the trials in use").wait_for(timeout=PATIENCE)
    dropped.append(True)
    for socket in sockets:
        socket.close()
    page.get_by_text("The connection to this page's session is lost").wait_for(timeout=PATIENCE)
    dropped.clear()
    page.locator(".pw-big", has_text="Does not agree").wait_for(timeout=PATIENCE)
    assert not page.locator("#pw-stopped").is_visible()
    second = visit(context.new_page(), address)
    second.get_by_text("2 trials, 1 used in fits").wait_for(timeout=PATIENCE)
    second.get_by_label("Reason").fill("from the other tab")
    second.get_by_label("Reason").press("Tab")
    press(second, "Set aside")
    second.get_by_text("is now “set aside”").wait_for(timeout=PATIENCE)
    press(page, "Go to step 4")
    marked(page, "4 · Refit")
    press(page, "Refit")
    page.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
    assert page.get_by_text("from the other tab").count(), "the first tab shows what the second decided"
    assert list(Archive(archive).trials()["standing"]) == ["same process", "set aside"]


def test_work_is_told_beside_its_button_and_can_be_stopped(opened, archive):
    """Nothing else can be pressed meanwhile; a stopped refit keeps nothing, and works after all."""
    upload(opened, demo("tag.toml"))
    marked(opened, "4 · Refit")
    opened.locator("button:enabled", has_text=re.compile("^Refit$")).wait_for(timeout=PATIENCE)
    assert usable(opened) == ["Go to step 1", "Go to step 3", "Refit"]
    opened.evaluate(FOLLOWED)
    press(opened, "Refit")
    spot = opened.locator(".pw-step", has=opened.get_by_role("button", name="Refit", exact=True)).locator(
        ".pw-spot"
    )
    spot.get_by_text("fitting").wait_for(timeout=PATIENCE)
    opened.wait_for_function(ONLY_STOP)
    press(opened, "Stop")
    spot.get_by_text("Stopped. Nothing was changed.").wait_for(timeout=PATIENCE)
    assert Archive(archive).fits().empty
    assert opened.evaluate("window.told[0].after") < 1000, "told before the work has begun"
    marked(opened, "4 · Refit")
    press(opened, "Refit")
    opened.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
    assert len(Archive(archive).fits()) == 1 and opened.get_by_text("Stopped").count() == 0


def test_a_trial_is_not_added_by_work_that_was_stopped(opened, archive):
    upload(opened, demo("trial_second.csv"))
    opened.get_by_text("fitting the trials in use").wait_for(timeout=PATIENCE)
    press(opened, "Stop")
    opened.get_by_text("Stopped. Nothing was changed.").wait_for(timeout=PATIENCE)
    assert list(Archive(archive).trials()["name"]) == ["trial_first.csv"]


def test_steps_are_taken_with_the_keyboard(opened):
    opened.get_by_role("button", name="Go to step 3").focus()
    opened.keyboard.press("Enter")
    marked(opened, "3 · Decide")
    assert opened.locator("h2[aria-current=step]").inner_text().endswith("Chosen step")
    opened.wait_for_function(
        "[...document.querySelectorAll('button')].some(one => one.textContent === 'Set aside' && !one.disabled)",
        timeout=PATIENCE,
    )
    opened.get_by_label("Reason").focus()
    opened.keyboard.type("worn doctor blade")
    for _ in range(3):
        opened.keyboard.press("Tab")
    assert opened.evaluate("document.activeElement.textContent") == "Set aside"
    opened.keyboard.press("Enter")
    opened.get_by_text("is now “set aside”").wait_for(timeout=PATIENCE)
    marked(opened, "1 · Add a trial")
    opened.get_by_text("History of trial 1, trial_first.csv (2 entries)").wait_for(timeout=PATIENCE)
