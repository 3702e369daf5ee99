"""Widgets: state in, figures out; no statistics here."""

from pwindow.panels.new_trial import new_trial_data
from pwindow.panels.set_up_speed import get_ready, set_up_speed
from pwindow.panels.trade_offs import get_trade_offs_ready, trade_offs

__all__ = ["get_ready", "get_trade_offs_ready", "new_trial_data", "set_up_speed", "trade_offs"]
