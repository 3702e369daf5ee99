"""Trial files: reading, checking, and what was read."""

from pwindow.trials.summary import summarise
from pwindow.trials.trial import MeasuredTrial, Trial, read_trial

__all__ = ["MeasuredTrial", "Trial", "read_trial", "summarise"]
