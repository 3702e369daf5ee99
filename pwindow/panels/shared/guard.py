"""One wrapper for every handler: a failure is told on the page and logged, and the page lives on."""

from __future__ import annotations

import logging
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from functools import wraps
from typing import Any

from pwindow.errors import UnusableInput

_LOG = logging.getLogger("pwindow.panels")


def guarded(
    tell: Callable[[list[str]], None],
    around: Callable[[], AbstractContextManager[None]] = nullcontext,
) -> Callable:
    """Make a decorator for handlers that tells what went wrong by `tell`, and is in `around` meanwhile."""

    def decorate(handler: Callable) -> Callable:
        @wraps(handler)
        def run(*args: Any, **kwargs: Any) -> None:
            try:
                with around():
                    tell([])
                    handler(*args, **kwargs)
            except UnusableInput as problem:
                tell(problem.reasons)
            except Exception as problem:  # a page must outlive any fault; the log has the whole of it
                tell([unforeseen(problem)])

        return run

    return decorate


def unforeseen(problem: Exception) -> str:
    """Log a fault in full, and give what a visitor is told of it."""
    _LOG.error("a page failed", exc_info=problem)
    return f"something in the page failed ({type(problem).__name__}); the server's log says where"
