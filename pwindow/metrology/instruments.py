"""How far an instrument may be off, by its kind or as it is stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from pwindow.errors import UnusableInput
from pwindow.study import ScansStated


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


def instrument_as(stated: ScansStated, kind: str | None = None) -> Instrument:
    """The instrument of a kind, with what a study states of it.

    Parameters
    ----------
    stated : ScansStated
        What it says of uncertainties holds for its own kind of instrument; for any where it names none.
    kind : str, optional
        That of the study unless given, and optical where it names none.

    Raises
    ------
    UnusableInput
        If there is no such kind.

    Examples
    --------
    >>> instrument_as(ScansStated(height_fixed=0.008)).words
    '8 nm and 0.12 % of the height'
    """
    kind = kind or stated.instrument or "optical"
    if kind not in INSTRUMENTS:
        raise UnusableInput(f"instrument “{kind}” is not known; choose one of {', '.join(INSTRUMENTS)}")
    given = {"fixed": stated.height_fixed, "share": stated.height_share, "along": stated.distance_share}
    own: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    if not own or stated.instrument not in (None, kind):
        return INSTRUMENTS[kind]
    source = f"the study; what it does not state: {INSTRUMENTS[kind].source}" if len(own) < 3 else "the study"
    return replace(INSTRUMENTS[kind], **own, source=source)
