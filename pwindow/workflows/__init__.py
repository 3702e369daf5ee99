"""What a person does with an archive: add, hold, refit, compare, confirm; the one place that joins it with statistics."""

from pwindow.workflows.adding import NewTrial, add_trial, hold_again
from pwindow.workflows.compare import (
    SideBySide,
    compare,
    differences,
    windows_side_by_side,
)
from pwindow.workflows.confirm import Confirmation, confirm
from pwindow.workflows.kept import KeptFit, answer_of, kept_fit, refit
from pwindow.workflows.verify import has_its_recipe, verify

__all__ = [
    "Confirmation",
    "KeptFit",
    "NewTrial",
    "SideBySide",
    "add_trial",
    "answer_of",
    "compare",
    "confirm",
    "differences",
    "has_its_recipe",
    "hold_again",
    "kept_fit",
    "refit",
    "verify",
    "windows_side_by_side",
]
