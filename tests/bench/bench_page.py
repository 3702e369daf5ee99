"""How fast the page opens and how fast a slider repaints the map; prints, asserts nothing.

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
PATH = "/voila/render/set-up-speed.ipynb"
MOVES = 30
OPENS = 4

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


def open_page(page, address: str) -> float:
    start = time.perf_counter()
    page.goto(address)
    page.locator(".heatmaplayer image").first.wait_for(state="attached", timeout=90_000)
    return time.perf_counter() - start


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
        time.sleep(8)  # a kernel is being made ready
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
            times = []
            for _ in range(OPENS):
                page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
                times.append(open_page(page, f"http://127.0.0.1:{port}{PATH}"))
                time.sleep(8)
                last, page = page, None
            report("page open to first picture", times, "s")
            report("pressure slider to repainted map", moves(last, "Pressure"), "ms")
            report("speed slider to repainted ring", moves(last, "Speed"), "ms")
            browser.close()
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    main()
