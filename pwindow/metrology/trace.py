"""A height profile as it was measured across printed lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np

MISSING = 1.5
"""Steps between two points that were seen from which on one is missing between them."""


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Heights along one line across a print or a plate.

    Attributes
    ----------
    name : str
        By which it is told from other scans.
    x : ndarray, shape (n,), µm
        Increasing, unequal steps allowed.
    z : ndarray, shape (n,), µm
        NaN where the instrument saw nothing.
    file : str
        That it came from.
    sha256 : str
        Of the file's bytes.
    profile : str
        Which profile of the file; "" where it holds one.
    header : mapping of str to str
        What the file says beside the numbers, such as the print.
    notes : tuple of str
        What was noticed when it was read.
    """

    name: str
    x: np.ndarray
    z: np.ndarray
    file: str = ""
    sha256: str = ""
    profile: str = ""
    header: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    notes: tuple[str, ...] = ()

    @cached_property
    def seen(self) -> np.ndarray:
        """Where the instrument saw something, shape (n,)."""
        return np.isfinite(self.z)

    @cached_property
    def seen_at(self) -> np.ndarray:
        """Places where it did, µm."""
        return self.x[self.seen]

    @cached_property
    def whole(self) -> bool:
        """Whether no point is missing between two that were seen."""
        return bool((np.diff(self.seen_at) <= MISSING * self.step).all())

    @cached_property
    def step(self) -> float:
        """Distance of neighbouring points, µm; the middle one where steps differ."""
        return float(np.median(np.diff(self.x)))
