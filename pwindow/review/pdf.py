"""A page as PDF, printed by an installed browser of the Chromium family."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from pwindow.errors import UnusableInput

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "microsoft-edge")
_CHANNELS = ("chrome", "msedge")
_DRAWN = "() => [...document.querySelectorAll('.js-plotly-plot, .plotly-graph-div')].every(one => one.querySelector('svg.main-svg'))"


class NoBrowser(UnusableInput):
    """What prints PDF is not there."""


def pdf_of(html: str, paper: str = "A4") -> bytes:
    """Print a page to PDF.

    Parameters
    ----------
    html : str
        A self-contained page; nothing else is asked for while it is printed.
    paper : {'A4', 'Letter'}

    Raises
    ------
    NoBrowser
        If Playwright or a browser is missing; says how to get it.
    """
    # Playwright refuses to run where an event loop does, as in a served page
    with ThreadPoolExecutor(1) as aside:
        return aside.submit(_printed, html, paper).result()


def _printed(html: str, paper: str) -> bytes:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as problem:
        raise NoBrowser(
            'PDF needs the library Playwright: pip install "pwindow[pdf]"; or write .html and print it from a browser'
        ) from problem
    with tempfile.TemporaryDirectory(prefix="pwindow-") as folder, sync_playwright() as driver:
        page_file = Path(folder) / "page.html"
        page_file.write_text(html, encoding="utf-8")
        browser = _browser(driver.chromium)
        try:
            page = browser.new_page(offline=True)
            page.goto(page_file.as_uri())
            page.wait_for_function(_DRAWN)
            page.emulate_media(media="print")
            return page.pdf(format=paper, print_background=True, prefer_css_page_size=False)
        finally:
            browser.close()


def _browser(chromium):
    """The first browser that starts: one of the system, or Playwright's own."""
    from playwright.sync_api import Error

    reasons = []
    for start in _ways(chromium):
        try:
            return start()
        except Error as problem:
            reasons.append(str(problem).splitlines()[0])
    raise NoBrowser(
        "PDF needs an installed browser: Chromium, Chrome or Edge (on Debian `apt install chromium`, elsewhere "
        "`playwright install chromium`); or write .html and print it from a browser. "
        + (f"The last that was tried says: {reasons[-1]}" if reasons else "")
    )


def _ways(chromium) -> list[Callable]:
    arguments = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    found = [path for path in map(shutil.which, _NAMES) if path]
    ways = [{"executable_path": path} for path in found]
    ways += [{"channel": name} for name in _CHANNELS] + [{}]
    return [lambda options=options: chromium.launch(args=arguments, **options) for options in ways]
