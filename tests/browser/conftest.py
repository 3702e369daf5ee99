"""A browser, and the dashboards served to it by the command itself."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Generator, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.courses import watched
from tests.helpers.servers import free_port, run_server

HERE = Path(__file__).parent
OPENING = {"browser", "page", "browser_type_launch_args"}
PATIENCE = 150_000  # ms
_TOLD = 3000  # characters
LOGS: dict[str, Path] = {}
"""What servers say, by their addresses."""
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
def page(page):
    """A page whose course is kept, to be told where a test fails."""
    page.course = watched(page)
    return page


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Say with a failure what the page showed, how it came about, and what its server said."""
    report = yield
    if report.failed:
        report.sections += list(_sections(getattr(item, "funcargs", {})))
    return report


def _sections(given: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    page = given.get("page")
    if page is None:
        return
    yield "course of the page", "\n".join(page.course)
    if not page.is_closed():
        yield "what the page shows", page.locator("body").inner_text(timeout=5_000)[:_TOLD]
    if (address := given.get("served")) in LOGS:
        yield "what the server said", LOGS[address].read_text(encoding="utf-8", errors="replace")[-_TOLD:]


@pytest.fixture(scope="session")
def served(tmp_path_factory) -> Iterator[str]:
    """The address, without a path, of the dashboards on the demo data."""
    port = free_port()
    command = [sys.executable, "-m", "pwindow", "serve", "--no-browser", "--port", str(port)]
    log = tmp_path_factory.mktemp("served") / "log"
    with run_server(command, port, log) as server:
        LOGS[server.address] = log
        yield server.address
