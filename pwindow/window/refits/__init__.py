"""Fits of an archive: kept, compared, and confirmed by the prints of a run."""

from pwindow.window.refits.compare import (
    SideBySide,
    compare,
    differences,
    windows_side_by_side,
)
from pwindow.window.refits.confirm import Confirmation, confirm
from pwindow.window.refits.kept import KeptFit, answer_of, kept_fit, refit

__all__ = [
    "Confirmation",
    "KeptFit",
    "SideBySide",
    "answer_of",
    "compare",
    "confirm",
    "differences",
    "kept_fit",
    "refit",
    "windows_side_by_side",
]
