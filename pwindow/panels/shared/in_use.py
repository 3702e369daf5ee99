"""Whether the trials that an open page stands on are still those in use."""

from __future__ import annotations

import math
import time

from pwindow.workflows.given import trials_in_use

OFTEN = 30.0  # s between two looks


class InUse:
    """The trials in use when a page was opened, looked up again from time to time."""

    def __init__(self) -> None:
        self._opened_on = trials_in_use()
        self._looked, self._moved = -math.inf, False

    def moved_on(self) -> bool:
        """Whether other trials are in use now, or the same ones otherwise, so that the page should be opened again."""
        if time.monotonic() - self._looked > OFTEN:
            self._looked = time.monotonic()
            self._moved = trials_in_use() != self._opened_on
        return self._moved
