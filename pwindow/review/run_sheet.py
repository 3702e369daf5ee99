"""The run sheet: what stands on the sheet of a set-up for the press."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd

from pwindow.review.essentials import Essentials, Subject, subject_of
from pwindow.window.setup import Setup
from pwindow.window.window import Window


@dataclass(frozen=True)
class PlatePattern:
    """What is on the plate, µm; None where it is not known; and the measured plates that have it, with their features."""

    plate_width: float | None
    plate_gap: float | None
    measured: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def to_dict(self) -> dict[str, float]:
        """Sizes that are known."""
        sizes = {"plate_width": self.plate_width, "plate_gap": self.plate_gap}
        return {name: value for name, value in sizes.items() if value is not None}


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
    pattern = _pattern(subject.frame)
    plates = subject.window.surfaces.trial.plates
    measured = plates.with_features(subject.setup.plate, pattern.to_dict())
    return RunSheet(subject.essentials, replace(pattern, measured=measured))


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
