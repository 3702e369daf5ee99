"""Work beside a page: told step by step, one piece at a time, stopped between two steps."""

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from pwindow.errors import UnusableInput
from pwindow.panels.shared.guard import guarded
from pwindow.panels.shared.work import Work


class Page:
    """What work is given of a page, and what came of it."""

    def __init__(self):
        self.problems, self.results, self.busy = [], [], []
        self.work = Work(guarded(self.problems.append), lambda: self.busy.append(self.work.busy))
        self.spot = self.work.spot()
        self.threads, self.going_on = set(), threading.Event()

    def start(self, do):
        self.work.start(self.spot, "the first step", do, self.take)

    def take(self, result):
        self.threads.add(threading.current_thread())
        self.results.append(result)

    def steps(self, tell):
        """Take two steps, the second when the test says so."""
        self.threads.add(threading.current_thread())
        tell("the second step")
        self.going_on.wait(10)
        tell("the third step")
        return "done"

    async def until(self, text):
        async with asyncio.timeout(10):
            while text not in self.spot.text.value:
                await asyncio.sleep(0.01)


@pytest.fixture
def page():
    return Page()


def in_own_thread(visit):
    """Run it where no other event loop is: a browser of other tests may have one in this thread."""
    with ThreadPoolExecutor(1) as threads:
        threads.submit(asyncio.run, visit).result()


def test_it_is_done_in_a_thread_and_what_came_of_it_in_the_page(page):
    async def visit():
        page.home = threading.current_thread()
        page.start(page.steps)
        assert "the first step" in page.spot.text.value, "told before it is begun"
        assert page.spot.button.layout.display is None and page.busy == [True]
        await page.until("the second step")
        page.start(lambda tell: "another")
        page.going_on.set()
        while page.work.busy:
            await asyncio.sleep(0.01)

    in_own_thread(visit())
    assert page.results == ["done"], "what is asked for meanwhile is passed over"
    assert page.busy == [True, False] and page.spot.text.value == ""
    assert len(page.threads) == 2 and page.home in page.threads


def test_it_is_stopped_before_its_next_step(page):
    async def visit():
        page.start(page.steps)
        await page.until("the second step")
        page.spot.button.click()
        assert "stopping" in page.spot.text.value and page.spot.button.disabled
        page.going_on.set()
        await page.until("Stopped. Nothing was changed.")

    in_own_thread(visit())
    assert page.results == [] and page.busy == [True, False]
    assert page.spot.button.layout.display == "none" and not any(page.problems)


def test_what_fails_is_told_and_the_page_goes_on(page):
    def fail(tell):
        raise UnusableInput("no such trial")

    async def visit():
        page.start(fail)
        while page.work.busy:
            await asyncio.sleep(0.01)
        page.going_on.set()
        page.start(page.steps)
        while page.work.busy:
            await asyncio.sleep(0.01)

    in_own_thread(visit())
    assert ["no such trial"] in page.problems and page.results == ["done"]
    assert page.busy == [True, False, True, False]


def test_without_an_event_loop_it_is_done_at_once(page, monkeypatch):
    monkeypatch.setattr("pwindow.panels.shared.work.page_loop", lambda: None)
    page.going_on.set()
    page.start(page.steps)
    assert page.results == ["done"] and page.threads == {threading.main_thread()}
