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


STANDINGS: Mapping[str, str] = MappingProxyType(
    {
        Standing.UNDECIDED: "nothing was decided yet; fits do not use it",
        Standing.SAME_PROCESS: "fits use it as more prints of the same process",
        Standing.CHANGED_PROCESS: "fits use it, and let it and what comes after differ from what was before",
        Standing.SET_ASIDE: "fits do not use it",
    }
)
"""What each means for fits."""
USED = (Standing.SAME_PROCESS, Standing.CHANGED_PROCESS)
"""Standings of the trials that fits use."""
