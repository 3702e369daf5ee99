"""How many visitors at once see their picture, how soon, and what each takes; and whether rubbish keeps the server.

Prints, asserts nothing. Ten browsers without anything kept open the set-up speed page at the same moment. Memory is
what the kernels hold of their own (USS), once all pictures are drawn. Then 200 malformed frames are sent, one a
socket, while the list of pages is asked for.

python tests/bench/bench_visitors.py [visitors]
"""

from __future__ import annotations

import re
import secrets
import shutil
import socket
import statistics
import subprocess
import sys
import threading
import time
import urllib.request

import psutil
import websocket
from playwright.sync_api import sync_playwright

from pwindow.server.frames import V1

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
FORKED = "multiprocessing.forkserver"  # in the command line of what kernels come from
PAGE = "/voila/render/set-up-speed.ipynb"
PICTURE = ".heatmaplayer image"
VISITORS = 10
PATIENCE = 240_000  # ms
FRAMES = 200
RUBBISH = [
    (2**24).to_bytes(8, "little") + bytes(100),
    (2**28).to_bytes(8, "little") + bytes(100),
    b"\xff" * 64,
    b"",
    None,  # random bytes
]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def started(port: int) -> psutil.Popen:
    command = [sys.executable, "-m", "pwindow", "serve", "--no-browser", "--port", str(port)]
    server = psutil.Popen(command, stderr=subprocess.PIPE, text=True)
    for line in server.stderr:
        if "The page is at" in line:
            return server
    raise SystemExit("the server ended")


def of_kernels(server: psutil.Popen) -> list[float]:
    """Memory of each kernel's own, in MB; the fewest last."""
    parts = [part for part in server.children(recursive=True) if FORKED in " ".join(part.parent().cmdline())]
    return sorted((part.memory_full_info().uss / 1e6 for part in parts), reverse=True)


def look(address: str, start: threading.Barrier, taken: list[float | None]) -> None:
    """One visitor, with a browser of its own; adds the time in s, or None where no picture came."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        start.wait()
        begun = time.perf_counter()
        try:
            page.goto(address + PAGE, timeout=PATIENCE)
            page.locator(PICTURE).first.wait_for(state="attached", timeout=PATIENCE)
            taken.append(time.perf_counter() - begun)
        except Exception as problem:
            print(f"no picture: {str(problem).splitlines()[0]}")
            taken.append(None)
        start.wait()  # all have drawn
        start.wait()  # memory is measured
        browser.close()


def visits(server: psutil.Popen, address: str, many: int) -> None:
    start = threading.Barrier(many + 1)
    taken: list[float | None] = []
    threads = [threading.Thread(target=look, args=(address, start, taken)) for _ in range(many)]
    for thread in threads:
        thread.start()
    start.wait()
    start.wait()
    held = of_kernels(server)[:many]
    start.wait()
    for thread in threads:
        thread.join()
    drawn = sorted(time_ for time_ in taken if time_ is not None)
    print(f"{len(drawn)} of {many} visitors at once see their picture")
    if drawn:
        print(
            f"first after {drawn[0]:.1f} s, median {statistics.median(drawn):.1f} s, last {drawn[-1]:.1f} s"
        )
    print(
        f"memory of each: median {statistics.median(held):.0f} MB, most {held[0]:.0f} MB; in all {sum(held):.0f} MB"
    )


def answered(address: str) -> float:
    begun = time.perf_counter()
    urllib.request.urlopen(address, timeout=60).read()
    return time.perf_counter() - begun


def rubbish(address: str) -> None:
    text = urllib.request.urlopen(address + PAGE, timeout=60).read().decode()
    kernel = re.search(r'"kernelId": "([^"]+)"', text).group(1)
    times = []
    for at in range(FRAMES):
        channels = f"{address.replace('http', 'ws')}/api/kernels/{kernel}/channels?session_id={secrets.token_hex(16)}"
        line = websocket.create_connection(channels, subprotocols=[V1], timeout=60)
        sent = RUBBISH[at % len(RUBBISH)]
        line.send_binary(secrets.token_bytes(1000) if sent is None else sent)
        times.append(answered(address))
        line.close()
    worst = max(times)
    print(
        f"{FRAMES} malformed frames: the list of pages after each, median {statistics.median(times):.3f} s, worst {worst:.3f} s"
    )


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else VISITORS
    port = free_port()
    server = started(port)
    address = f"http://127.0.0.1:{port}"
    try:
        time.sleep(15)  # kernels are made ready
        visits(server, address, many)
        rubbish(address)
        print(
            f"the list of pages with nothing else: {statistics.median(answered(address) for _ in range(20)):.3f} s"
        )
    finally:
        server.terminate()
        server.wait()


if __name__ == "__main__":
    main()
