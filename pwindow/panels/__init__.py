"""Widgets: state in, figures out; no statistics here."""

from pwindow.panels.new_trial_data.page import new_trial_data
from pwindow.panels.plates import model as plates_model
from pwindow.panels.plates.page import plates
from pwindow.panels.set_up_speed.page import set_up_speed
from pwindow.panels.shared import question
from pwindow.panels.traces import page as traces_page
from pwindow.panels.traces.page import traces
from pwindow.panels.trade_offs.page import trade_offs

__all__ = ["get_ready", "new_trial_data", "plates", "set_up_speed", "traces", "trade_offs"]


def get_ready() -> None:
    """Find out what pages show first, before there are any: what is kept of it serves them all."""
    question.get_ready()
    traces_page.get_ready()
    plates_model.get_ready()
