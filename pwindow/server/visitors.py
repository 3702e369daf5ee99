"""Visitors: how many there may be, which kernel each has, and when a kernel has lost its visitor.

A visitor is one open page. Kernels that are kept ready for the next visitor are nobody's, and are not looked at here.
"""

from __future__ import annotations

import asyncio
import logging
import os
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from typing import Any, Protocol

PATIENCE = 4.0  # s in which a visitor who leaves, or reloads, makes room for the next
NAP = 0.1  # s
STARTS = os.cpu_count() or 1  # kernels that start at the same time; more would all be late
TURN = 60.0  # s after which a kernel that still starts keeps no other from it
GIVES_WAY = 10.0  # s after which a lost connection yields its place, where somebody waits for one
UNCLAIMED = 60.0  # s after which a page that never connected does so


class Kernels(Protocol):
    """What is asked of the kernel manager."""

    def __contains__(self, kernel_id: str) -> bool: ...

    def shutdown_kernel(self, kernel_id: str) -> Awaitable[Any]: ...


class NoPlace(Exception):
    """As many visitors are here as there may be."""


@dataclass(kw_only=True)
class Visit:
    """One page, from its request to the end of its kernel.

    Attributes
    ----------
    kernel : str or None
        Its kernel, once it has one.
    sockets : int
        Connections that are open now.
    came : bool
        Whether there has been a connection: the page was not only fetched, but shown.
    since : float
        When the page was fetched whole, or the last connection was closed; in s.
    started : float or None
        When a kernel was started for it, where none was ready; in s.
    """

    kernel: str | None = None
    serving: bool = True
    sockets: int = 0
    came: bool = False
    ending: bool = False
    since: float = 0.0
    started: float | None = None


class Visitors:
    """Whoever is here.

    Parameters
    ----------
    kernels : Kernels
        The kernel manager.
    most : int
        Number of visitors there may be.
    claim_limit, gone_limit : float
        Time in s after which the kernel of a page that has never connected is ended, and of one whose
        connection is closed.
    clock : callable
        Gives the time in s.
    """

    def __init__(
        self,
        kernels: Kernels,
        most: int,
        claim_limit: float,
        gone_limit: float,
        clock: Callable[[], float] = time.monotonic,
    ):
        self._kernels, self._most, self._clock = kernels, most, clock
        self._claim_limit, self._gone_limit = claim_limit, gone_limit
        self._visits: list[Visit] = []
        self._giving_way: asyncio.Future[None] | None = None  # held: a task that nobody holds may vanish

    @asynccontextmanager
    async def arrival(self, patience: float = PATIENCE) -> AsyncIterator[Visit]:
        """A place, held while a page is served and until its kernel ends.

        Raises
        ------
        NoPlace
            If none comes free within `patience` seconds.
        """
        deadline = self._clock() + patience
        while len(self._present()) >= self._most:
            self._make_room()
            if self._clock() >= deadline:
                raise NoPlace
            await asyncio.sleep(NAP)
        visit = Visit()
        self._visits.append(visit)
        try:
            yield visit
        finally:
            visit.serving, visit.since = False, self._clock()

    async def turn(self, visit: Visit) -> None:
        """Wait until a kernel may be started for a visit."""
        while sum(map(self._is_starting, self._visits)) >= STARTS:
            await asyncio.sleep(NAP)
        visit.started = self._clock()

    def _is_starting(self, visit: Visit) -> bool:
        return visit.serving and visit.started is not None and self._clock() - visit.started < TURN

    def of(self, kernel_id: str) -> Visit | None:
        """The visit that has a kernel."""
        return next((visit for visit in self._present() if visit.kernel == kernel_id), None)

    @contextmanager
    def connection(self, visit: Visit) -> Iterator[None]:
        """A connection of the page, from its first request to its close."""
        visit.sockets += 1
        visit.came = True
        try:
            yield
        finally:
            visit.sockets -= 1
            visit.since = self._clock()

    async def end_abandoned(self) -> None:
        """End the kernels whose visitors never came, or are gone."""
        abandoned = [visit for visit in self._present() if self._is_abandoned(visit)]
        await asyncio.gather(*map(self._end, abandoned))

    def _present(self) -> list[Visit]:
        self._visits = [visit for visit in self._visits if visit.serving or self._has_kernel(visit)]
        return self._visits

    def _has_kernel(self, visit: Visit) -> bool:
        return visit.kernel is not None and visit.kernel in self._kernels

    def _make_room(self) -> None:
        """End the kernel whose visitor is gone the longest, unless one is being ended already."""
        gone = [visit for visit in self._visits if self._gives_way(visit)]
        if gone and not any(visit.ending for visit in self._visits):
            self._giving_way = asyncio.ensure_future(self._end(min(gone, key=lambda visit: visit.since)))

    def _gives_way(self, visit: Visit) -> bool:
        return self._alone_for(visit) > (GIVES_WAY if visit.came else UNCLAIMED)

    def _is_abandoned(self, visit: Visit) -> bool:
        limit = self._gone_limit if visit.came else self._claim_limit
        return self._alone_for(visit) > limit

    def _alone_for(self, visit: Visit) -> float:
        """Time in s without a connection; none for a kernel that is served, connected, or being ended."""
        if visit.serving or visit.sockets or visit.ending:
            return 0.0
        return self._clock() - visit.since

    def _end(self, visit: Visit) -> Awaitable[None]:
        visit.ending = True  # at once, before it is awaited
        return self._shut_down(visit)

    async def _shut_down(self, visit: Visit) -> None:
        try:
            if visit.kernel is not None:
                await self._kernels.shutdown_kernel(visit.kernel)
        except Exception:  # the others are to be ended all the same; this one is tried again
            logging.getLogger("tornado.application").exception("could not end kernel %s", visit.kernel)
        finally:
            visit.ending = False


class Seat:
    """The kernel manager as one visit sees it: notes which kernel it is given, and starts one when its turn comes."""

    def __init__(self, manager: Any, visit: Visit, turn: Callable[[Visit], Awaitable[None]]):
        self._manager, self._visit, self._turn = manager, visit, turn

    def __getattr__(self, name: str) -> Any:
        return getattr(self._manager, name)

    async def get_rendered_notebook(self, *args: Any, **options: Any) -> tuple[Any, ...]:
        given = await self._manager.get_rendered_notebook(*args, **options)
        self._visit.kernel = given[-1]
        return given

    async def start_kernel(self, *args: Any, **options: Any) -> str:
        await self._turn(self._visit)
        self._visit.kernel = await self._manager.start_kernel(*args, **options)
        return self._visit.kernel
