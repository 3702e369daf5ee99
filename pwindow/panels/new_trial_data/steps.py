"""A step of the page: its heading, what is said of it, its controls, and how far their work is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import ipywidgets as widgets

from pwindow.panels.new_trial_data import view
from pwindow.panels.new_trial_data.model import Situation, Step
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.work import Spot


class StepPlace:
    """Where a step stands.

    Parameters
    ----------
    step : Step
    controls : sequence of Widget
    spot : Spot
        Where work that a control starts is told of.
    go : Button
        Makes this the step that can be taken.

    Attributes
    ----------
    box : VBox
        What to display.
    heading, said : HTML
        Number, title and whether it can be taken; what to do in it, or what it needs.
    """

    def __init__(self, step: Step, controls: Sequence[widgets.Widget], spot: Spot, go: widgets.Button):
        self.step, self.spot, self.go = step, spot, go
        self.controls = controls
        self.heading, self.said = widgets.HTML(), widgets.HTML(layout=full_width())
        head = widgets.HBox([self.heading, go]).add_class("pw-step-head")
        self.box = widgets.VBox([head, self.said, *controls, spot.box]).add_class("pw-step")

    def show(self, situation: Situation, current: Step, guide: str, *, busy: bool) -> None:
        """Show whether the step can be taken; if not, what it needs, or the way to it.

        Parameters
        ----------
        situation : Situation
        current : Step
            The one that can be taken.
        guide : str
            What to do in that one, in a sentence.
        busy : bool
            Whether work is being done, so that nothing can be started.
        """
        here, missing = self.step is current, situation.missing(self.step)
        _put(
            self.heading,
            view.step_heading(self.step, here=here, is_next=here and self.step is situation.next),
        )
        _put(self.said, view.step_guide(guide) if here else view.step_note(self.step, missing, situation))
        self.go.layout.display = "none" if here or missing else None
        self.go.disabled = busy
        if not here and not busy:
            self.spot.idle()
        for control in inputs(self.controls):
            control.disabled = busy or not here


def _put(place: widgets.HTML, text: str) -> None:
    """Say something where it is not said yet: what is said again is read out again."""
    if place.value != text:
        place.value = text


def inputs(controls: Sequence[widgets.Widget]) -> Iterator[widgets.Widget]:
    """All that can be used among controls, also in boxes.

    Parameters
    ----------
    controls : sequence of Widget
    """
    for control in controls:
        if isinstance(control, widgets.Box):
            yield from inputs(control.children)
        elif control.has_trait("disabled"):
            yield control
