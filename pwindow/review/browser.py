"""What an installed browser of the Chromium family makes of a page: PDF, or a figure drawn as SVG or PNG.

It is driven offline: nothing but the page is read.
"""

from __future__ import annotations

import base64
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import unquote

from pwindow.errors import UnusableInput

if TYPE_CHECKING:  # loaded where something is drawn
    import plotly.graph_objects as go
    from playwright.sync_api import Browser, BrowserType, Page

Made = TypeVar("Made")
_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "microsoft-edge")
_CHANNELS = ("chrome", "msedge")
_ARGUMENTS = ["--disable-gpu", "--disable-background-networking"]
_DRAWN = """() => [...document.querySelectorAll('.plotly-graph-div')].every(one => one.querySelector('svg.main-svg'))"""
_AS_IMAGE = """options => Plotly.toImage(document.querySelector('.plotly-graph-div'), options)"""
PNG_SCALE = 2


class NoBrowser(UnusableInput):
    """What turns pages into PDF or pictures is not there."""


def pdf_of(html: str, paper: str = "A4") -> bytes:
    """Print a page to PDF.

    Parameters
    ----------
    html : str
        A self-contained page.
    paper : {'A4', 'Letter'}

    Raises
    ------
    NoBrowser
        If Playwright or a browser is missing; says how to get it.
    """
    return _with_page(html, lambda page: page.pdf(format=paper, print_background=True))


def image_of(figure: go.Figure, kind: str) -> bytes:
    """Draw a figure.

    Parameters
    ----------
    figure : plotly Figure
        In the size it is to have.
    kind : {'svg', 'png'}
        A PNG has `PNG_SCALE` dots for each pixel of the figure.

    Raises
    ------
    NoBrowser
        If Playwright or a browser is missing; says how to get it.
    """
    options = {"format": kind, "scale": PNG_SCALE if kind == "png" else 1}
    html = figure.to_html(include_plotlyjs=True)
    head, _, content = _with_page(html, lambda page: page.evaluate(_AS_IMAGE, options)).partition(",")
    return base64.b64decode(content) if head.endswith("base64") else unquote(content).encode()


def _with_page(html: str, work: Callable[[Page], Made]) -> Made:
    # Playwright refuses to run where an event loop does, as in a served page
    with ThreadPoolExecutor(1) as aside:
        return aside.submit(_opened, html, work).result()


def _opened(html: str, work: Callable[[Page], Made]) -> Made:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as problem:
        raise NoBrowser(
            'PDF, SVG and PNG need the library Playwright: pip install -e ".[pdf]"; or write .html, which needs no library'
        ) from problem
    with _page_file(html) as file, sync_playwright() as driver:
        browser = _browser(driver.chromium)
        try:
            page = browser.new_page(offline=True)
            page.goto(file.as_uri())
            page.wait_for_function(_DRAWN)
            return work(page)
        finally:
            browser.close()


@contextmanager
def _page_file(html: str) -> Iterator[Path]:
    """A page as a file, for as long as a browser reads it."""
    with ExitStack() as kept:
        try:
            folder = kept.enter_context(tempfile.TemporaryDirectory(prefix="pwindow-"))
            file = Path(folder) / "page.html"
            file.write_text(html, encoding="utf-8")
        except OSError as problem:
            raise UnusableInput(
                f"PDF, SVG and PNG need space for temporary files ({problem.strerror}); free some, or name another "
                "folder in TMPDIR"
            ) from problem
        yield file


def _arguments() -> list[str]:
    """What a browser is started with: its sandbox does not start for root, and stays on for everybody else."""
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    return [*_ARGUMENTS, "--no-sandbox"] if is_root else _ARGUMENTS


def _browser(chromium: BrowserType) -> Browser:
    """The first browser that starts: one of the system, or Playwright's own."""
    from playwright.sync_api import Error

    ways: list[dict[str, Any]] = [{"executable_path": path} for path in map(shutil.which, _NAMES) if path]
    ways += [{"channel": name} for name in _CHANNELS]
    reason = ""
    for options in [*ways, {}]:
        try:
            return chromium.launch(args=_arguments(), **options)
        except Error as problem:
            reason = str(problem).splitlines()[0]
    raise NoBrowser(
        "PDF, SVG and PNG need an installed browser, Chromium, Chrome or Edge (on Debian `apt install chromium`, elsewhere "
        f"`playwright install chromium`); or write .html, which needs no browser. The last attempt failed with: {reason}"
    )
