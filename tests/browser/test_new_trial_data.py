"""A visitor's way through the page of new trial data, in a real browser."""

from __future__ import annotations

import sys

import pytest

from pwindow.demo import demo
from pwindow.inputs import InputFile
from pwindow.trials.archive import Archive

PAGE = "/voila/render/new-trial-data.ipynb"
PATIENCE = 60_000  # ms


@pytest.fixture
def archive(tmp_path):
    """Address of an archive with the first trial in it."""
    address = str(tmp_path / "trials.db")
    Archive(address).add(InputFile.of(demo("trial_first.csv")), "same process", "the first")
    return address


@pytest.fixture
def opened(page, run_server, free_port, archive, tmp_path):
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
        page.goto(server.address + PAGE)
        page.get_by_role("button", name="Add a trial or product").wait_for(timeout=PATIENCE)
        yield page


def upload(page, path) -> None:
    with page.expect_file_chooser() as waiting:
        page.get_by_role("button", name="Add a trial or product").click()
    waiting.value.set_files(path)


def test_from_a_file_to_a_decision_and_a_new_fit(opened, archive, tmp_path):
    opened.get_by_role("button", name="Fit anew").click()
    opened.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
    bad = tmp_path / "bad.csv"
    bad.write_bytes(demo("trial_second.csv").read_bytes().replace(b",30.0,", b",fast,", 1))
    upload(opened, bad)
    opened.get_by_text("“fast”").wait_for(timeout=PATIENCE)
    upload(opened, demo("trial_second.csv"))
    opened.locator(".pw-big", has_text="Differs").wait_for(timeout=PATIENCE)
    opened.get_by_text("measured against predicted").first.wait_for(timeout=PATIENCE)
    opened.get_by_role("button", name="Changed process").click()
    opened.get_by_text("needs its reason").wait_for(timeout=PATIENCE)
    reason = opened.get_by_label("Reason")
    reason.fill("new ink batch")
    reason.press("Tab")
    opened.get_by_role("button", name="Changed process").click()
    opened.get_by_text("is now “changed process”").wait_for(timeout=PATIENCE)
    opened.get_by_role("button", name="Fit anew").click()
    opened.locator("h3", has_text="Fit 2").wait_for(timeout=PATIENCE)
    opened.get_by_text("dashed before, heavy after").first.wait_for(timeout=PATIENCE)
    trials = Archive(archive).trials()
    assert list(trials["standing"]) == ["same process", "changed process"]
    assert trials["reason"].iloc[1] == "new ink batch"
    for width in (1280, 1920):
        opened.set_viewport_size({"width": width, "height": 900})
        assert opened.evaluate("document.documentElement.scrollWidth") <= width
