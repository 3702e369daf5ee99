"""The run sheet: what stands on the sheet of a set-up for the press."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from pwindow.review.essentials import Essentials, Subject


@dataclass(frozen=True)
class PlatePattern:
    """What is on the plate, µm; None where it is not known."""

    plate_width: float | None
    plate_gap: float | None

    def to_dict(self) -> dict[str, float]:
        """What is known of it."""
        return {name: value for name, value in vars(self).items() if value is not None}


@dataclass(frozen=True)
class RunSheet:
    """What a run sheet says of one set-up.

    Attributes
    ----------
    essentials : Essentials
    pattern : PlatePattern
        Of the set-up's plate.
    """

    essentials: Essentials
    pattern: PlatePattern


def run_sheet(subject: Subject) -> RunSheet:
    """The run sheet of a set-up."""
    return RunSheet(subject.essentials, _pattern(subject.frame))


def _pattern(frame: pd.DataFrame) -> PlatePattern:
    row = frame.iloc[0]
    width, gap = (float(row.get(name, math.nan)) for name in ("plate_width", "plate_gap"))
    return PlatePattern(width if math.isfinite(width) else None, gap if math.isfinite(gap) else None)
