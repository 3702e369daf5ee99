"""The run sheet: what stands on the sheet of a set-up for the press."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from pwindow.review.essentials import Essentials, Subject, subject_of
from pwindow.window.setup import Setup
from pwindow.window.window import Window


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


def run_sheet_of(window: Window, setup: Setup | None = None) -> RunSheet:
    """The run sheet of a window's set-up.

    Parameters
    ----------
    window : Window
    setup : Setup, optional
        The recommended one unless given, or the closest where none is assured.

    Raises
    ------
    WindowProblem
        As of `subject_of`.
    """
    return run_sheet(subject_of(window, setup))


def _pattern(frame: pd.DataFrame) -> PlatePattern:
    row = frame.iloc[0]
    width, gap = (float(row.get(name, math.nan)) for name in ("plate_width", "plate_gap"))
    return PlatePattern(width if math.isfinite(width) else None, gap if math.isfinite(gap) else None)
