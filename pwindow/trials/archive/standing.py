"""What is decided about a trial of an archive."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType


class Standing(StrEnum):
    """What is decided about a trial; kept in archives by its value."""

    UNDECIDED = "undecided"
    SAME_PROCESS = "same process"
    CHANGED_PROCESS = "changed process"
    SET_ASIDE = "set aside"

    @property
    def status(self) -> str:
        """The standing as people read it.

        Examples
        --------
        >>> Standing.UNDECIDED.status, Standing.SET_ASIDE.status
        ('awaiting decision', 'set aside')
        """
        return "awaiting decision" if self is Standing.UNDECIDED else self.value


STANDINGS: Mapping[str, str] = MappingProxyType(
    {
        Standing.UNDECIDED: "not used in fits until a decision is made",
        Standing.SAME_PROCESS: "used in fits as more prints of the same process",
        Standing.CHANGED_PROCESS: "used in fits; predictions describe the changed process",
        Standing.SET_ASIDE: "not used in fits",
    }
)
"""What each means for fits."""
USED = (Standing.SAME_PROCESS, Standing.CHANGED_PROCESS)
"""Standings of the trials that fits use."""
