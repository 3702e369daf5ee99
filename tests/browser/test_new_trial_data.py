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


def upload(page, path) -> None:
    with page.expect_file_chooser() as waiting:
        page.get_by_role("button", name="Add a trial or product").click()
    waiting.value.set_files(path)


def test_from_a_file_to_a_decision_and_a_new_fit(opened, archive, tmp_path):
    upload(opened, demo("tag.toml"))
    opened.get_by_label("Grain moisture tag").wait_for(timeout=PATIENCE)
    opened.get_by_role("button", name="Refit").click()
    opened.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
    bad = tmp_path / "bad.csv"
    bad.write_bytes(demo("trial_second.csv").read_bytes().replace(b",30.0,", b",fast,", 1))
    upload(opened, bad)
    opened.get_by_text("“fast”").wait_for(timeout=PATIENCE)
    upload(opened, demo("trial_second.csv"))
    opened.locator(".pw-big", has_text="Differs").wait_for(timeout=PATIENCE)
    opened.get_by_text("measured against predicted").first.wait_for(timeout=PATIENCE)
    opened.get_by_role("button", name="Changed process").click()
    opened.get_by_text("needs a reason").wait_for(timeout=PATIENCE)
    reason = opened.get_by_label("Reason")
    reason.fill("new ink batch")
    reason.press("Tab")
    opened.get_by_role("button", name="Changed process").click()
    opened.get_by_text("is now “changed process”").wait_for(timeout=PATIENCE)
    opened.get_by_role("button", name="Refit").click()
    opened.locator("h3", has_text="Fit 2").wait_for(timeout=PATIENCE)
    opened.get_by_text("dashed: before").first.wait_for(timeout=PATIENCE)
    trials = Archive(archive).trials()
    assert list(trials["standing"]) == ["same process", "changed process"]
    assert trials["reason"].iloc[1] == "new ink batch"
    for width in (1280, 1920):
        opened.set_viewport_size({"width": width, "height": 900})
        assert opened.evaluate("document.documentElement.scrollWidth") <= width


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
    page.get_by_text("reading, storing").wait_for(timeout=PATIENCE)
    dropped.append(True)
    for socket in sockets:
        socket.close()
    page.get_by_text("The connection to this page's session is lost").wait_for(timeout=PATIENCE)
    dropped.clear()
    page.locator(".pw-big", has_text="Differs").wait_for(timeout=PATIENCE)
    assert not page.locator("#pw-stopped").is_visible()
    second = visit(context.new_page(), address)
    second.get_by_text("2 trials, 1 used in fits").wait_for(timeout=PATIENCE)
    second.get_by_label("Reason").fill("from the other tab")
    second.get_by_label("Reason").press("Tab")
    second.get_by_role("button", name="Set aside").click()
    second.get_by_text("is now “set aside”").wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Refit").click()
    page.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
    assert page.get_by_text("from the other tab").count(), "the first tab shows what the second decided"
    assert list(Archive(archive).trials()["standing"]) == ["same process", "set aside"]
