"""A browser, and the dashboards served to it by the command itself."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Error, Page

from tests.helpers.courses import watched
from tests.helpers.servers import LOGS, free_port, run_server

HERE = Path(__file__).parent
OPENING = {"browser", "page", "browser_type_launch_args"}
PATIENCE = 150_000  # ms
_TOLD = 3000  # characters
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
BROWSER_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what opens a browser."""
    for item in items:
        if HERE in item.path.parents and OPENING & set(item.fixturenames):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict, playwright) -> dict:
    """Start the browser of the system, or else the one Playwright keeps."""
    options = {**browser_type_launch_args, "args": BROWSER_ARGUMENTS}
    found = os.environ.get("PWINDOW_CHROMIUM") or next(filter(None, map(shutil.which, BROWSERS)), "")
    if found:
        return {**options, "executable_path": found}
    if Path(playwright.chromium.executable_path).exists():
        return options
    reason = f"no browser: none of {', '.join(BROWSERS)} found, and PWINDOW_CHROMIUM is not set"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture
def context(context):
    """A browser context that waits as long as a busy computer takes for a page."""
    context.set_default_timeout(PATIENCE)
    return context


@pytest.fixture
def page(page, request):
    """A page whose course is kept, to be told where a test fails, or what it is given."""
    page.course = watched(page)
    request.node.page = page
    return page


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Say with a failure what the page showed, how it came about, and what its server said."""
    report = yield
    if report.failed:
        report.sections += list(_sections(getattr(item, "page", None)))
    return report


def _sections(page: Page | None) -> Iterator[tuple[str, str]]:
    if page is None:
        return
    yield "course of the page", "\n".join(page.course)
    if not page.is_closed():
        yield "what the page shows", _shown(page)[:_TOLD]
    for log in (log for address, log in LOGS.items() if page.url.startswith(f"{address}/")):
        yield "what the server said", log.read_text(encoding="utf-8", errors="replace")[-_TOLD:]


def _shown(page: Page) -> str:
    try:
        return page.locator("body").inner_text(timeout=5_000)
    except Error as error:  # a page that hangs is told of all the same
        return f"nothing that can be read: {error}"


@pytest.fixture(scope="session")
def served(tmp_path_factory) -> Iterator[str]:
    """The address, without a path, of the dashboards on the demo data."""
    port = free_port()
    command = [sys.executable, "-m", "pwindow", "serve", "--no-browser", "--port", str(port)]
    log = tmp_path_factory.mktemp("served") / "log"
    with run_server(command, port, log) as server:
        yield server.address
