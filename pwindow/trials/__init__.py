"""Trial files: reading, checking, and what was read."""

from pwindow.trials.summary import summarise
from pwindow.trials.trial import Trial, read_trial

__all__ = ["Trial", "read_trial", "summarise"]
