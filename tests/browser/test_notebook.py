"""Pages as cells of a notebook in JupyterLab, where nothing of the served page's frame is."""

import json
import re
import subprocess
import sys
import time
import urllib.request

import pytest

from pwindow.shipped import demo
from tests.helpers.servers import ROOT, free_port
from tests.helpers.words import plain

pytestmark = pytest.mark.slow
PATIENCE = 150_000  # ms
OWN = [
    "import pwindow as pw\n"
    'trial, product = pw.read_trial(pw.demo("trial_first.csv")), pw.read_product(pw.demo("tag.toml"))',
    "pw.dashboard(trial, product)",
]
NEW = ["from pwindow.panels import new_trial_data", "new_trial_data()"]


def notebook(cells):
    made = [
        {"cell_type": "code", "id": f"c{at}", "metadata": {}, "outputs": [], "execution_count": None, "source": text}
        for at, text in enumerate(cells)
    ]  # fmt: skip
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    return {"cells": made, "metadata": kernel, "nbformat": 4, "nbformat_minor": 5}


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """The address of a JupyterLab on the dashboards' notebooks and one of somebody's own."""
    folder, port = tmp_path_factory.mktemp("lab"), free_port()
    for path in (ROOT / "dashboards").glob("*.ipynb"):
        (folder / path.name).write_bytes(path.read_bytes())
    archive = [f"import os\nos.environ['PWINDOW_ARCHIVE'] = {str(folder / 'trials.db')!r}", *NEW]
    for name, cells in {"own": OWN, "archive": archive}.items():
        (folder / f"{name}.ipynb").write_text(json.dumps(notebook(cells)), encoding="utf-8")
    command = [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", f"--port={port}"),
        *("--ServerApp.ip=127.0.0.1", f"--ServerApp.root_dir={folder}"),
        *("--IdentityProvider.token=", "--ServerApp.port_retries=0"),
    ]
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=subprocess.STDOUT)
    try:
        wait_for(f"http://127.0.0.1:{port}/api", process, folder / "log")
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(30)


def wait_for(address, process, log):
    for _ in range(600):
        assert process.poll() is None, log.read_text(encoding="utf-8")
        try:
            urllib.request.urlopen(address, timeout=5).close()
        except OSError:
            time.sleep(0.2)
        else:
            return
    pytest.fail(log.read_text(encoding="utf-8"))


def run_all(page, address, name):
    page.set_viewport_size({"width": 1500, "height": 950})
    # the laboratory may ask for a kernel, and whether to read a file again: what it offers is taken, each time
    page.add_locator_handler(
        page.locator("dialog.jp-Dialog"),
        lambda asked: asked.locator(".jp-mod-accept").first.click(),
        no_wait_after=True,
    )
    page.goto(f"{address}/lab/tree/{name}.ipynb?reset")
    page.locator('.jp-Notebook-ExecutionIndicator[data-status="idle"]').wait_for(timeout=PATIENCE)
    for _ in range(5):  # what is asked of a kernel that is still connecting is lost
        page.locator("#jp-MainMenu").get_by_text("Run", exact=True).click()
        page.get_by_role("menuitem").filter(has_text="Run All Cells").first.click()
        page.wait_for_timeout(5000)
        if page.locator(".jp-InputPrompt", has_text=re.compile(r"\[[\d*]")).count():
            break
    page.locator(".pw-page .pw-title").wait_for(timeout=PATIENCE)


def size(locator):
    locator.wait_for(timeout=PATIENCE)
    return locator.evaluate(
        "it => { const box = it.getBoundingClientRect(); return [box.width, box.height]; }"
    )


@pytest.mark.parametrize("name", ["set-up-speed", "own"])
def test_set_up_speed(page, lab, name):
    run_all(page, lab, name)
    assert size(page.locator(".noUi-target").first)[0] > 80, "a slider has a length"
    high = "() => document.querySelector('.pw-map .main-svg')?.getBoundingClientRect().height > 500"
    page.wait_for_function(high, timeout=PATIENCE)  # a picture takes its size after it is there
    answer = page.locator(".pw-result .pw-big")
    assert plain(answer.inner_text()) == "97.8 m/min"
    assert answer.evaluate("it => parseFloat(getComputedStyle(it).fontSize)") > 24
    cut = page.locator(".pw-controls .widget-label, .pw-controls select").evaluate_all(
        "all => all.filter(it => it.scrollWidth > it.clientWidth + 1).map(it => it.textContent)"
    )
    assert not cut
    page.locator('.pw-sliding input[title="Speed, m/min, value"]').fill("80")
    page.keyboard.press("Enter")
    page.locator(".pw-selected", has_text="80 m/min").wait_for(timeout=PATIENCE)


def test_a_page_says_that_it_is_at_work(page, lab):
    """Before the work is done: its kernel sends the word at once."""
    run_all(page, lab, "own")
    note = page.locator(".pw-at-work")
    note.wait_for(state="hidden", timeout=PATIENCE)
    page.locator(".pw-result .pw-big").wait_for(timeout=PATIENCE)
    page.evaluate(
        """() => {
          window.said = [];
          const note = document.querySelector('.pw-at-work'), answer = () => document.querySelector('.pw-result').innerText;
          const watch = () => { window.said.push([getComputedStyle(note).visibility, answer()]); requestAnimationFrame(watch); };
          watch();
        }"""
    )
    before = page.locator(".pw-result").inner_text()
    page.locator(".widget-dropdown", has_text="Surfaces").locator("select").select_option(index=1)
    page.wait_for_function(
        "before => document.querySelector('.pw-result').innerText !== before", arg=before, timeout=PATIENCE
    )
    note.wait_for(state="hidden", timeout=PATIENCE)
    assert ["visible", before] in page.evaluate("window.said"), "while the answer is still the one before"


@pytest.mark.parametrize("name", ["trade-offs", "plates", "archive", "traces"])
def test_the_other_pages(page, lab, name):
    run_all(page, lab, name)
    title = page.locator(".pw-page .pw-title")
    assert title.evaluate("it => parseFloat(getComputedStyle(it).fontSize)") == 24
    controls, results = (size(page.locator(f".pw-{part}").first) for part in ("controls", "results"))
    assert 280 < controls[0] < 340 and results[0] > 500


def test_work_is_stopped_in_a_notebook_too(page, lab):
    """A kernel that is at work hears its notebook, whether widgets have a channel of their own or not."""
    run_all(page, lab, "archive")
    with page.expect_file_chooser() as waiting:
        page.get_by_role("button", name="Add a trial or product").click()
    waiting.value.set_files(demo("trial_first.csv"))
    page.get_by_text("is stored and used in fits").wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Go to step 4").click()
    page.get_by_role("button", name="Refit", exact=True).click()
    page.get_by_text("fitting the surfaces").wait_for(timeout=PATIENCE)
    page.locator(".pw-spot").get_by_role("button", name="Stop").locator("visible=true").click()
    page.get_by_text("Stopped. Nothing was changed.").wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Refit", exact=True).click()
    page.locator("h3", has_text="Fit 1").wait_for(timeout=PATIENCE)
