"""Work that takes long: done beside the page, which says how far it is and can stop it."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextvars import copy_context
from functools import partial
from typing import Any, TypeVar

import ipywidgets as widgets

from pwindow.panels.shared import words
from pwindow.panels.shared.layout import full_width

Tell = Callable[[str], None]
Result = TypeVar("Result")


class Stopped(Exception):
    """The visitor has stopped the work."""


class Spot:
    """Where work is told of, below the button that starts it, with a button that stops it.

    Parameters
    ----------
    stop : callable
        Handler of the button that stops the work.

    Attributes
    ----------
    box : HBox
        What to display.
    text : HTML
        How far the work is, or that it was stopped.
    button : Button
        Stops it; there only while there is work.
    """

    def __init__(self, stop: Callable[[widgets.Button], None]):
        self.text = widgets.HTML(layout=full_width())
        self.button = widgets.Button(
            description="Stop", tooltip="Stop this work; nothing of it is stored", layout=widgets.Layout()
        )
        self.button.on_click(stop)
        self.box = widgets.HBox([self.text, self.button])
        self.box.add_class("pw-spot")
        self.idle()

    def working(self, step: str) -> None:
        """Say which step is being taken."""
        if self.button.disabled:  # a step that was told just before the visitor stopped the work
            return
        self.text.value = words.working(step)
        self.button.layout.display = None

    def stopping(self) -> None:
        """Say that the work ends after its present step."""
        self.button.disabled = True
        self.text.value = words.working("stopping after this step")

    def idle(self, *, stopped: bool = False) -> None:
        """There is no work, or none any more."""
        self.text.value = words.stopped() if stopped else ""
        self.button.layout.display, self.button.disabled = "none", False


class Work:
    """The work of a page, one piece at a time.

    A piece is done in a thread, so that the page hears its visitor meanwhile. It touches no widget: it tells its steps,
    and is stopped between two of them. Without an event loop, as in a plain Python session, it is done at once.

    Parameters
    ----------
    guard : callable
        Wraps handlers.
    changed : callable
        Takes nothing; called when work begins and when it has ended.
    """

    def __init__(self, guard: Callable, changed: Callable[[], None]):
        self._guard, self._changed = guard, changed
        self._spot: Spot | None = None
        self._asked = threading.Event()

    @property
    def busy(self) -> bool:
        return self._spot is not None

    def spot(self) -> Spot:
        """A place for telling of work."""
        return Spot(self._guard(lambda _button: self.stop()))

    def start(
        self, spot: Spot, step: str, do: Callable[[Tell], Result], then: Callable[[Result], None]
    ) -> None:
        """Start a piece of work; what is asked for while there is one is passed over.

        Parameters
        ----------
        spot : Spot
            Where it is told of.
        step : str
            What is done first, told before it begins.
        do : callable
            Takes a function that is called with each step before it is taken, and raises where the work is to end.
        then : callable
            Takes what came of it, in the page's own thread; not called where the work failed or was stopped.
        """
        if self.busy:
            return
        self._spot, self._asked = spot, threading.Event()
        spot.working(step)
        self._changed()
        future: Future[Result] = Future()
        finish = self._guard(partial(self._finish, spot, then))
        loop = page_loop()
        if loop is None:
            _work(future, partial(do, self._telling(spot.working)))
            finish(future)
            return
        in_page = partial(loop.call_soon_threadsafe, context=copy_context())
        future.add_done_callback(partial(in_page, finish))
        tell = self._telling(partial(in_page, spot.working))
        threading.Thread(target=_work, args=(future, partial(do, tell)), daemon=True).start()

    def stop(self) -> None:
        """End the work before its next step."""
        if self._spot is not None:
            self._asked.set()
            self._spot.stopping()

    def _telling(self, say: Callable[[str], Any]) -> Tell:
        asked = self._asked

        def tell(step: str) -> None:
            if asked.is_set():
                raise Stopped
            say(step)

        return tell

    def _finish(self, spot: Spot, then: Callable[[Result], None], future: Future[Result]) -> None:
        stopped = False
        self._spot = None
        try:
            then(future.result())
        except Stopped:
            stopped = True
        finally:
            spot.idle(stopped=stopped)
            self._changed()


def page_loop() -> asyncio.AbstractEventLoop | None:
    """The event loop that hears the visitor; None in a plain Python session."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


def _work(future: Future[Result], do: Callable[[], Result]) -> None:
    try:
        result = do()
    except Exception as problem:  # told in the page, by whoever asks for the result
        future.set_exception(problem)
    else:
        future.set_result(result)
