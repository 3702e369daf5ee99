"""How far an instrument may be off, by its kind or as it is stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from pwindow.errors import UnusableInput


@dataclass(frozen=True)
class Instrument:
    """Standard uncertainty of a height by the instrument alone: sqrt(fixed² + (share × height)²).

    Attributes
    ----------
    name : str
    fixed : float
        µm.
    share : float
        Of the height.
    along : float
        Relative standard uncertainty of distances along the trace.
    source : str
        Where the figures come from.
    """

    name: str
    fixed: float
    share: float
    along: float
    source: str

    @property
    def words(self) -> str:
        """How far its heights may be off, as a standard uncertainty."""
        return f"{1e3 * self.fixed:g} nm and {100 * self.share:.2g} % of the height"

    def height_error(self, height: float) -> float:
        """Standard uncertainty of a height, µm."""
        return float(np.hypot(self.fixed, self.share * height))


_LABORATORY = "a national laboratory's figures for step heights up to 3 µm, taken as standard uncertainties"
_LENGTHS = "usual calibration of a stage, from memory"

INSTRUMENTS: Mapping[str, Instrument] = MappingProxyType(
    {
        one.name: one
        for one in (
            Instrument("optical", 3.0e-3, 1.2e-3, 0.002, f"{_LABORATORY}; distances: {_LENGTHS}"),
            Instrument("stylus", 5.0e-3, 3.2e-3, 0.002, f"{_LABORATORY}; distances: {_LENGTHS}"),
        )
    }
)
"""Defaults by kind."""


def instrument_named(kind: str) -> Instrument:
    """The default of a kind of instrument.

    Raises
    ------
    UnusableInput
        If there is no such kind.
    """
    if kind not in INSTRUMENTS:
        raise UnusableInput(f"instrument “{kind}” is not known; choose one of {', '.join(INSTRUMENTS)}")
    return INSTRUMENTS[kind]
