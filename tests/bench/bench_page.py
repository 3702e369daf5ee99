"""How fast pages open to their first picture and how fast sliders and limits repaint the map; prints, asserts nothing.

Opens are of a browser without anything kept, and of one that has been there before; between them the list of pages,
which needs neither kernel nor script, tells how busy the computer is. An empty notebook, served by Voilà alone with a
kernel that waits for it, tells what any page takes. The map has 80 × 80 set-ups.

python tests/bench/bench_page.py
"""

from __future__ import annotations

import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import nbformat
from playwright.sync_api import sync_playwright

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
PATHS = {name: f"/voila/render/{name}.ipynb" for name in ("set-up-speed", "trade-offs", "plates", "traces")}
FIRST_PICTURE = {
    "set-up-speed": ".heatmaplayer image",
    "trade-offs": ".js-plotly-plot .scatterlayer .trace",
    "plates": ".js-plotly-plot .scatterlayer .trace",
    "traces": ".js-plotly-plot .scatterlayer .trace",
}
WINDOW = {"width": 1280, "height": 900}
MOVES = 60
OPENS = 5
READY = 10  # s in which a kernel is made ready for the next visitor

_REPAINT = """
async ([key]) => {
  const plot = document.querySelector('.js-plotly-plot');
  const painted = new Promise(done => plot.once
    ? plot.once('plotly_afterplot', () => requestAnimationFrame(() => done(performance.now())))
    : plot.on('plotly_afterplot', () => requestAnimationFrame(() => done(performance.now()))));
  const handle = document.activeElement, start = performance.now();
  handle.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true}));
  return await painted - start;
}
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(server: subprocess.Popen) -> None:
    for line in server.stderr:
        if "The page is at" in line:
            return
    raise SystemExit("the server ended")


def open_page(page, address: str, name: str) -> float:
    start = time.perf_counter()
    page.goto(address + PATHS[name])
    page.locator(FIRST_PICTURE[name]).first.wait_for(state="attached", timeout=90_000)
    return time.perf_counter() - start


def open_list(context, address: str) -> float:
    page = context.new_page()
    start = time.perf_counter()
    page.goto(address)
    taken = time.perf_counter() - start
    page.close()
    return taken


def opens(browser, address: str, of: str) -> dict[str, list[float]]:
    times: dict[str, list[float]] = {"fresh": [], "kept": [], "list": []}
    regular = browser.new_context(viewport=WINDOW)
    for at in range(OPENS + 2):
        for name in ("fresh", "kept"):
            context = browser.new_context(viewport=WINDOW) if name == "fresh" else regular
            page = context.new_page()
            taken = open_page(page, address, of)
            page.close()
            time.sleep(READY)
            if at > 1 or name == "fresh":  # code is kept from the second visit on
                times[name].append(taken)
            times["list"].append(open_list(regular, address))
    return times


def moves(page, name: str) -> list[float]:
    row = page.locator(".widget-slider", has=page.locator(".widget-label", has_text=name))
    row.locator(".noUi-handle").focus()
    times = []
    for at in range(MOVES):
        times.append(page.evaluate(_REPAINT, ["ArrowLeft" if at % 20 < 10 else "ArrowRight"]))
        time.sleep(0.15)
    return times


@contextmanager
def empty_notebook() -> Iterator[str]:
    """The address of a notebook that shows one word, served by Voilà with a kernel that waits for it."""
    with tempfile.TemporaryDirectory() as folder:
        cell = nbformat.v4.new_code_cell("import ipywidgets\nipywidgets.HTML('<b id=ready>ready</b>')")
        kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
        notebook = nbformat.v4.new_notebook(cells=[cell], metadata=kernel)
        path = Path(folder) / "empty.ipynb"
        nbformat.write(notebook, path)
        port = free_port()
        waiting = ["--preheat_kernel=True", "--pool_size=1", "--no-browser", f"--port={port}"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        server = subprocess.Popen([sys.executable, "-m", "voila", str(path), *waiting], cwd=folder, **quiet)
        try:
            address = f"http://127.0.0.1:{port}"
            for _ in range(60):
                time.sleep(1)
                try:
                    urllib.request.urlopen(f"{address}/static/favicon.ico", timeout=2).close()
                    break
                except urllib.error.HTTPError:
                    break
                except OSError:
                    continue
            yield address
        finally:
            server.terminate()
            server.wait()


def empty_opens(browser) -> list[float]:
    times = []
    with empty_notebook() as address:
        for _ in range(OPENS):
            time.sleep(READY)
            page = browser.new_context(viewport=WINDOW).new_page()
            start = time.perf_counter()
            page.goto(address)
            page.locator("#ready").wait_for(state="attached", timeout=90_000)
            times.append(time.perf_counter() - start)
            page.close()
    return times


_LIMIT = """
async ([text]) => {
  const plot = document.querySelector('.js-plotly-plot'), field = document.activeElement;
  const painted = new Promise(done => plot.once('plotly_afterplot',
    () => requestAnimationFrame(() => done(performance.now()))));
  field.value = text;
  const start = performance.now();
  field.dispatchEvent(new Event('change', {bubbles: true}));
  return await painted - start;
}
"""


def limits(page) -> list[float]:
    field = page.locator(".pw-number input").first
    times = []
    for at in range(12):
        field.focus()
        times.append(page.evaluate(_LIMIT, [str(320 + at)]))
        time.sleep(1.5)
    return times


def report(name: str, values: list[float], unit: str) -> None:
    ordered = sorted(values)
    tail = ordered[int(0.95 * (len(ordered) - 1))]
    print(
        f"{name:34s} median {statistics.median(values):8.2f} {unit}   95 % {tail:8.2f} {unit}   n {len(values)}"
    )


def main() -> None:
    port = free_port()
    command = [sys.executable, "-m", "pwindow", "serve", "--no-browser", "--port", str(port)]
    server = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    try:
        wait_for(server)
        time.sleep(READY)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
            address = f"http://127.0.0.1:{port}"
            report("an empty notebook: first visit", empty_opens(browser), "s")
            for name in PATHS:
                times = opens(browser, address, name)
                report(f"{name}: list of pages (load)", times["list"], "s")
                report(f"{name}: first visit", times["fresh"], "s")
                report(f"{name}: later visits", times["kept"], "s")
            page = browser.new_context(viewport=WINDOW).new_page()
            open_page(page, address, "set-up-speed")
            time.sleep(2)
            report("pressure slider to repainted map", moves(page, "Pressure"), "ms")
            report("speed slider to repainted ring", moves(page, "Speed"), "ms")
            report("limit to repainted map", limits(page), "ms")
            browser.close()
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    main()
