"""Fits of an archive: kept, compared, and confirmed by the prints of a run."""

from pwindow.window.refits.compare import (
    SideBySide,
    compare,
    differences,
    windows_side_by_side,
)
from pwindow.window.refits.confirm import Confirmation, confirm
from pwindow.window.refits.kept import KeptFit, answer_of, kept_fit, refit
from pwindow.window.refits.verify import has_its_recipe, verify

__all__ = [
    "Confirmation",
    "KeptFit",
    "SideBySide",
    "answer_of",
    "compare",
    "confirm",
    "differences",
    "has_its_recipe",
    "kept_fit",
    "refit",
    "verify",
    "windows_side_by_side",
]
