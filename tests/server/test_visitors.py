"""Who starts a kernel, how many there may be, and when they end."""

import asyncio
import socket
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import AsyncExitStack

import pytest

from pwindow.server.hosts import is_visit
from pwindow.server.visitors import STARTS, TURN, NoPlace, Seat, Visitors
from tests.helpers.servers import wait_until


def run(task):
    """In a thread of its own: where a test had a browser before, a loop goes on running in this one."""
    with ThreadPoolExecutor(1) as one:
        return one.submit(asyncio.run, task).result()


OPENING = {"Accept": "text/html,application/xhtml+xml", "Upgrade-Insecure-Requests": "1"}
IMAGE = {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "no-cors", "Sec_Fetch_Dest": "image"}


def fetch(site, mode="navigate", dest="document", **more):
    return {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": dest, **more}


@pytest.mark.parametrize(
    ("headers", "expected"),
    [
        (fetch("none"), True),  # an address typed
        (fetch("same-origin"), True),
        (fetch("cross-site"), True),  # a link from another site
        (fetch("same-site"), True),
        (fetch("cross-site", "no-cors", "image"), False),
        (fetch("same-site", "no-cors", "image"), False),
        (fetch("cross-site", "no-cors", "empty"), False),
        (fetch("cross-site", "cors", "empty"), False),
        (fetch("cross-site", dest="iframe"), False),
        (fetch("cross-site", dest="embed"), False),
        (fetch("cross-site", **{"Sec-Purpose": "prefetch"}), False),
        (OPENING, True),  # plain HTTP to another computer, where browsers do not say
        ({"Accept": "image/avif,image/webp,*/*;q=0.8"}, False),
        ({"Accept": "*/*"}, False),
        ({"Accept": "text/html"}, False),  # a script may ask so of another site
        ({"Accept": "*/*", "Referer": "http://press:8866/"}, True),
        ({"Accept": "*/*", "Referer": "http://foreign.example/press:8866"}, False),
        ({}, True),  # no browser
    ],
)
def test_a_visit_is_told_from_a_foreign_fetch(headers, expected):
    assert is_visit(headers, "press:8866") is expected


LATE = """
import sys, time
from IPython.display import HTML, display
sys.stdout.flush_timeout = sys.stderr.flush_timeout = 0.1
get_ipython().kernel.iopub_thread.schedule(lambda: time.sleep(6))
display(HTML("<b>shown late</b>"))
"""


class Kernels(set):
    async def start_kernel(self):
        self.add("started")
        return "started"

    async def get_rendered_notebook(self):
        self.add("ready")
        return "task", "cells", "ready"

    async def shutdown_kernel(self, kernel):
        self.remove(kernel)


class Stubborn(Kernels):
    async def shutdown_kernel(self, kernel):
        self.tried = getattr(self, "tried", 0) + 1
        if self.tried == 1:
            raise RuntimeError("not yet")
        self.remove(kernel)


@pytest.fixture
def clock():
    class Clock:
        now = 0.0

        def __call__(self):
            return self.now

    return Clock()


async def arrive(visitors, kernels, kernel):
    async with visitors.arrival(patience=0) as visit:
        kernels.add(kernel)
        visit.kernel = kernel


def passed(visitors, clock, span):
    clock.now += span
    run(visitors.end_abandoned())


def test_a_page_that_never_connects_loses_its_kernel(clock):
    kernels = Kernels({"kept ready"})
    visitors = Visitors(kernels, 1, 60, 120, clock)
    run(arrive(visitors, kernels, "a"))
    passed(visitors, clock, 60)
    assert "a" in kernels
    passed(visitors, clock, 1)
    assert kernels == {"kept ready"}


def test_a_kernel_outlives_its_page_by_a_while_and_an_open_page_for_ever(clock):
    kernels = Kernels()
    visitors = Visitors(kernels, 1, 60, 120, clock)
    run(arrive(visitors, kernels, "a"))
    visit = visitors.of("a")
    with visitors.connection(visit):
        passed(visitors, clock, 10_000)
        with visitors.connection(visit):
            pass
        passed(visitors, clock, 10_000)
        assert "a" in kernels, "one connection is still there"
    passed(visitors, clock, 119)
    with visitors.connection(visit):
        pass
    passed(visitors, clock, 119)
    assert "a" in kernels, "it came back"
    passed(visitors, clock, 2)
    assert "a" not in kernels


def test_a_kernel_that_cannot_be_ended_is_tried_again_and_does_not_save_others(clock):
    kernels = Stubborn()
    visitors = Visitors(kernels, 2, 60, 120, clock)
    for name in "ab":
        run(arrive(visitors, kernels, name))
    passed(visitors, clock, 61)
    assert len(kernels) == 1
    passed(visitors, clock, 1)
    assert not kernels


def test_places_are_held_from_the_request_to_the_end_of_the_kernel(clock):
    kernels = Kernels()
    visitors = Visitors(kernels, 1, 60, 120, clock)

    async def two():
        async with visitors.arrival(patience=0):
            with pytest.raises(NoPlace):
                await arrive(visitors, kernels, "b")
        await arrive(visitors, kernels, "c")  # the first was given no kernel

    run(two())
    with pytest.raises(NoPlace):
        run(arrive(visitors, kernels, "d"))
    kernels.remove("c")
    run(arrive(visitors, kernels, "e"))


def test_a_lost_connection_yields_its_place_to_who_waits(clock):
    kernels = Kernels({"kept ready"})
    visitors = Visitors(kernels, 2, 60, 120, clock)

    async def lost_and_waited_for(span):
        for name in "ab":
            await arrive(visitors, kernels, name)
            with visitors.connection(visitors.of(name)):
                clock.now += 1
        clock.now += span
        async with visitors.arrival(patience=1) as visit:
            visit.kernel = "a"

    with pytest.raises(NoPlace):
        run(asyncio.wait_for(_ticking(clock, lost_and_waited_for(5)), 20))
    kernels.difference_update("ab")
    run(asyncio.wait_for(_ticking(clock, lost_and_waited_for(20)), 20))
    assert kernels == {"kept ready", "b"}, "the one that is gone the longest, and only that"


def test_a_page_that_has_not_connected_for_a_minute_gives_way_to_who_waits_and_to_nobody_else(clock):
    kernels = Kernels()
    visitors = Visitors(kernels, 1, 180, 120, clock)

    async def waited_for_after(span):
        await arrive(visitors, kernels, "a")
        clock.now += span
        await visitors.end_abandoned()
        assert "a" in kernels
        async with visitors.arrival(patience=1):
            return

    with pytest.raises(NoPlace):
        run(asyncio.wait_for(_ticking(clock, waited_for_after(58)), 20))
    kernels.clear()
    run(asyncio.wait_for(_ticking(clock, waited_for_after(179)), 20))
    assert not kernels


def test_kernels_start_a_few_at_a_time(clock):
    kernels = Kernels()
    visitors = Visitors(kernels, 9, 60, 120, clock)
    starting, most = [], []

    async def page(name):
        async with visitors.arrival() as visit:
            await visitors.turn(visit)
            starting.append(name)
            most.append(len(starting))
            await asyncio.sleep(0.05)
            starting.remove(name)

    async def all_at_once():
        await asyncio.gather(*map(page, range(5)))

    run(asyncio.wait_for(all_at_once(), 20))
    assert len(most) == 5 and max(most) <= STARTS


def test_a_kernel_that_never_starts_keeps_no_other_from_it_for_ever(clock):
    visitors = Visitors(Kernels(), 99, 60, 120, clock)

    async def waited():
        async with AsyncExitStack() as held:
            for _ in range(STARTS):
                await visitors.turn(await held.enter_async_context(visitors.arrival()))
            async with visitors.arrival() as visit:
                with pytest.raises(TimeoutError):
                    await asyncio.wait_for(visitors.turn(visit), 0.3)
                clock.now += TURN
                await asyncio.wait_for(visitors.turn(visit), 5)

    run(waited())


async def _ticking(clock, waiting):
    task = asyncio.ensure_future(waiting)
    while not task.done():
        await asyncio.sleep(0.01)
        clock.now += 0.01
    return await task


@pytest.mark.parametrize(("ask", "kernel"), [("get_rendered_notebook", "ready"), ("start_kernel", "started")])
def test_a_visit_learns_its_kernel_from_either_way(ask, kernel):
    kernels = Kernels()

    async def given():
        visitors = Visitors(kernels, 1, 60, 120)
        async with visitors.arrival() as visit:
            await getattr(Seat(kernels, visit, visitors.turn), ask)()
            return visit

    assert run(given()).kernel == kernel


# The same of a running server


@pytest.fixture(scope="module")
def visitor(visiting):
    with visiting(most_visitors=2, claim_timeout=6, idle_timeout=3, idle_check=1) as visitor:
        yield visitor


@pytest.fixture
def at_rest(visitor):
    """The kernel that is kept ready, once it is the only one."""

    def alone():
        now = visitor.kernels()
        return len(now) == 1 and time.time() - now[0].create_time() > 3

    assert wait_until(alone)
    return visitor.kernels()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("method", "headers", "expected"), [("GET", IMAGE, 403), ("HEAD", {}, 200), ("POST", {}, 405)]
)
def test_no_kernel_starts_for_what_is_no_visit(visitor, at_rest, method, headers, expected):
    for _ in range(3):
        assert visitor.ask(method, visitor.page, **headers)[0] == expected
    assert visitor.kernels() == at_rest


@pytest.mark.slow
def test_those_too_many_are_told_when_to_come_again(visitor, at_rest):
    first = visitor.open_page()
    line = visitor.connect(first)
    second = visitor.open_page()
    other = visitor.connect(second)
    before = len(visitor.kernels())
    status, text, headers = visitor.ask("GET", visitor.page)
    assert status == 503 and headers["Retry-After"] == "30"
    assert "Busy, try again in 30 s" in text and "limit of open pages (2)" in text and "pw-plain" in text
    assert 'http-equiv="refresh"' in text
    assert len(visitor.kernels()) <= before + 1, "the next kernel is kept ready, and no other is started"
    assert visitor.leave(first) == 204
    third = visitor.open_page()
    assert third != first and not visitor.kernel_exists(first)
    for opened in (line, other):
        opened.close()


@pytest.mark.slow
def test_kernels_end_without_a_visitor_but_not_the_one_kept_ready(visitor, at_rest):
    shown = visitor.open_page()
    line = visitor.connect(shown)
    never_shown = visitor.open_page()
    assert visitor.kernel_exists(never_shown)
    assert wait_until(lambda: not visitor.kernel_exists(never_shown))
    assert visitor.kernel_exists(shown), "ended under an open page"
    line.close()
    assert wait_until(lambda: not visitor.kernel_exists(shown))
    assert wait_until(lambda: len(visitor.kernels()) == 1)
    ready = visitor.kernels()
    time.sleep(6)
    assert visitor.kernels() == ready


@pytest.mark.slow
def test_what_a_cell_shows_may_come_long_after_its_answer(visiting):
    """On a busy computer it does, and a page without it is empty for ever."""
    with visiting(shown=LATE) as visitor:
        assert "shown late" in visitor.ask("GET", visitor.page)[1]


@pytest.mark.slow
def test_a_kernel_kept_ready_is_nobodys_to_connect_to(visitor, at_rest):
    """Whoever opens the page is given that kernel; until then its id opens nothing."""
    kernel = visitor.open_page()
    assert [process.pid for process in at_rest] == [process.pid for process in visitor.kernels()[:1]]
    assert visitor.refused("0" * 8 + kernel[8:]) == 404


@pytest.mark.slow
def test_who_does_not_wait_for_the_page_leaves_no_kernel(visitor, at_rest):
    host, port = visitor.address.split(":")
    for _ in range(4):  # twice as many as may be here
        with socket.create_connection((host, int(port))) as line:
            line.sendall(
                f"GET {visitor.page}?theme=dark HTTP/1.1\r\nHost: {visitor.address}\r\n\r\n".encode()
            )
            time.sleep(0.5)
    assert wait_until(lambda: visitor.ask("GET", visitor.page)[0] == 200, 60)
    assert wait_until(lambda: len(visitor.kernels()) == 1, 60)
