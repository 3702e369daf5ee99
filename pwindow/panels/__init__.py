"""Widgets: state in, figures out; no statistics here."""

from pwindow.panels.new_trial import new_trial_data
from pwindow.panels.set_up_speed import get_ready, set_up_speed

__all__ = ["get_ready", "new_trial_data", "set_up_speed"]
