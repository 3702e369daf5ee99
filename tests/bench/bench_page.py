"""How fast pages open to their first picture and how fast a slider repaints the map; prints, asserts nothing.

Opens are of a browser without anything kept, and of one that has been there before; between them the list of pages,
which needs neither kernel nor script, tells how busy the computer is. The map has 80 × 80 set-ups.

python tests/bench/bench_page.py
"""

from __future__ import annotations

import shutil
import socket
import statistics
import subprocess
import sys
import time

from playwright.sync_api import sync_playwright

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
PATHS = {"set-up speed": "/voila/render/set-up-speed.ipynb", "trade-offs": "/voila/render/trade-offs.ipynb"}
FIRST_PICTURE = {"set-up speed": ".heatmaplayer image", "trade-offs": ".js-plotly-plot .scatterlayer .trace"}
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
            for name in PATHS:
                times = opens(browser, address, name)
                report(f"{name}: list of pages (load)", times["list"], "s")
                report(f"{name}: first visit", times["fresh"], "s")
                report(f"{name}: later visits", times["kept"], "s")
            page = browser.new_context(viewport=WINDOW).new_page()
            open_page(page, address, "set-up speed")
            time.sleep(2)
            report("pressure slider to repainted map", moves(page, "Pressure"), "ms")
            report("speed slider to repainted ring", moves(page, "Speed"), "ms")
            browser.close()
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    main()
