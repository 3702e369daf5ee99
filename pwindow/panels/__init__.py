"""Widgets: state in, figures out; no statistics here."""

from pwindow.panels.new_trial_data.page import new_trial_data
from pwindow.panels.set_up_speed.page import set_up_speed
from pwindow.panels.shared.question import get_ready
from pwindow.panels.traces.page import traces
from pwindow.panels.trade_offs.page import trade_offs

__all__ = ["get_ready", "new_trial_data", "set_up_speed", "traces", "trade_offs"]
