"""The controls of the set-up speed page."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TypeVar

import ipywidgets as widgets

from pwindow.errors import UnusableInput
from pwindow.panels.shared.fields import NumberField, SlidingNumber
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.question import Question, changed_limits
from pwindow.panels.shared.words import changed_list
from pwindow.product import REQUIREMENT_KINDS, Product, RequirementKind
from pwindow.study import Roll
from pwindow.window.bands import SPEED_STEP
from pwindow.window.setup import Setup
from pwindow.wording import METRIC, PERCENT, Units, asked
from pwindow.workflows.evidence import Evidence

Value = TypeVar("Value", str, float)
WIDE = {"description_width": "102px"}
"""Style of menus, whose names stand above one another."""
_MOST_ASSURED = 0.99
"""End of the assurance slider, but for products that ask for more."""
_CONFIDENCES = (0.0, 0.8, 0.9, 0.95)


class SetupControls:
    """Choose product, plate, roll, pressure, speed, assurance, and the confidence that it is reached with.

    Parameters
    ----------
    on_product, on_level, on_confidence, on_setup : callable
        Are told of what the visitor changes.
    guard : callable
        Wraps handlers of what is typed.
    """

    def __init__(
        self,
        on_product: Callable[[str], None],
        on_level: Callable[[float], None],
        on_confidence: Callable[[float | None], None],
        on_setup: Callable[[], None],
        guard: Callable,
    ):
        self.product = widgets.Dropdown(description="Product", style=WIDE, layout=full_width())
        self.plate = widgets.Dropdown(description="Plate", style=WIDE, layout=full_width())
        self.roll = widgets.Dropdown(description="Roll", style=WIDE, layout=full_width())
        self.pressure = SlidingNumber("Pressure", guard, on_setup)
        self.speed = SlidingNumber("Speed", guard, on_setup)
        self.level = SlidingNumber(
            "Assurance", guard, lambda: on_level(self.level.value), continuous_update=False
        )
        self.confidence = widgets.Dropdown(description="Confidence", style=WIDE, layout=full_width())
        self._telling = True
        self.confidence.observe(self._tell(lambda: on_confidence(self.confidence.value or None)), "value")
        self.product.observe(self._tell(lambda: on_product(self.product.value)), "value")
        for control in (self.plate, self.roll):
            control.observe(self._tell(on_setup), "value")

    def _tell(self, act: Callable[[], None]) -> Callable:
        def told(_change: object) -> None:
            if self._telling:
                act()

        return told

    @property
    def box(self) -> list[widgets.Widget]:
        sliding = [one.box for one in (self.pressure, self.speed, self.level)]
        return [self.product, self.plate, self.roll, *sliding, self.confidence]

    def setup(self, question: Question) -> Setup:
        """The set-up that the controls show."""
        return Setup(self.plate.value, question.roll(self.roll.value), self.pressure.value, self.speed.value)

    def show(self, evidence: Evidence, question: Question, setup: Setup, units: Units) -> None:
        """Show a question and a set-up without telling of it.

        Parameters
        ----------
        evidence : Evidence
            Whose products are offered.
        question : Question
        setup : Setup
        units : Units
            To show them in.
        """
        trial = question.window.surfaces.trial
        self._telling = False
        try:
            offer(self.product, [(name, name) for name in evidence.products], question.product.name)
            plates = [(plate or "not named", plate) for plate in question.window.plates]
            offer(self.plate, plates, setup.plate)
            rolls = [
                # of a planned roll without the unit, so that the menu holds all of it
                (f"{roll.label} · {_volume(roll, units)}", roll.id)
                for roll in question.window.rolls
            ]
            offer(self.roll, rolls, setup.roll.id)
            confidence = question.window.confidence or 0.0
            offered = sorted({*_CONFIDENCES, confidence})
            offer(
                self.confidence,
                [(asked(one) if one else "not required", one) for one in offered],
                confidence,
            )
        finally:
            self._telling = True
        whole = all(float(pressure).is_integer() for pressure in trial.pressures)
        ends = trial.pressures[0], trial.pressures[-1]
        step = 1.0 if whole and ends[1] - ends[0] >= 20 else 0.1
        self.pressure.show(units.pressure, *ends, setup.pressure, step)
        speeds, level = trial.prints["speed"], question.window.level
        self.speed.show(units.speed, float(speeds.min()), float(speeds.max()), setup.speed, SPEED_STEP)
        self.level.show(PERCENT, 0.5, max(_MOST_ASSURED, level), level, 0.01)


def _volume(roll: Roll, units: Units) -> str:
    return units.volume.number(roll.cell_volume) if roll.planned else units.volume.words(roll.cell_volume)


def offer(menu: widgets.Dropdown, options: list[tuple[str, Value]], chosen: Value) -> None:
    """Offer options, of which one is chosen.

    Parameters
    ----------
    menu : Dropdown
    options : list of (str, object)
        What each is called, and its value.
    chosen : object
        A value.
    """
    if menu.options != tuple(options):
        menu.options = options
    menu.value = chosen


class RequirementEditor:
    """Edit the limits of a product on the page.

    What cannot be used stays in its field, with a note below it that says why and what the page uses meanwhile.

    Parameters
    ----------
    on_change : callable
        Is given the edited product; raises UnusableInput where it cannot be shown.
    guard : callable
        Wraps handlers.
    """

    def __init__(self, on_change: Callable[[Product], None], guard: Callable):
        self.box = widgets.VBox(layout=full_width())
        self._on_change, self._guard = on_change, guard
        self._product: Product | None = None
        self._units = METRIC
        self._fields: dict[tuple[str, str], NumberField] = {}

    def show(self, product: Product, units: Units) -> None:
        """Show the limits of a product; where they are those that are shown, what was typed stays."""
        shown, self._product = self._product, product
        before, self._units = self._units, units
        if shown is not None and (self._limits(shown), before) == (self._limits(product), units):
            return
        closed = self.box.children
        self._fields = {
            (name, side): self._field(kind, name, side, limit)
            for (name, side), (kind, limit) in self._limits(product).items()
        }
        self.box.children = [part for one in self._fields.values() for part in (one.field, one.note)]
        for part in closed:
            part.close()

    @staticmethod
    def _limits(product: Product) -> dict[tuple[str, str], tuple[RequirementKind, float]]:
        """By requirement and side its kind and its limit; counts come last."""
        found = {
            (one.name, side): (one.kind, limit)
            for one in product.requirements
            for side in ("least", "most")
            if (limit := getattr(one, side)) is not None
        }
        return found | {
            (one.name, "count"): (one.kind, one.parameters["count"])
            for one in product.requirements
            if "count" in one.parameters
        }

    def _field(self, kind: RequirementKind, name: str, side: str, value: float) -> NumberField:
        take = partial(self._take, name, side)
        if side == "count":
            return NumberField("gaps on one part", "", value, self._guard, take)
        unit = self._units.of(kind.unit)
        return NumberField(f"{kind.label} at {side}", unit.name, unit.typed(value), self._guard, take)

    def _take(self, name: str, side: str, number: float) -> None:
        """Have the page take a number that was typed.

        Raises
        ------
        UnusableInput
            If it cannot be used, in words of the page.
        """
        field, other = self._fields[name, side], self._other(name, side)
        words = field.words(number)
        if side == "count":
            _refuse(f"{words} is not a whole number of at least 1", when=number < 1 or number % 1 != 0)
        else:
            _refuse(f"{words} is not above zero", when=side == "most" and number <= 0)
            _refuse(f"{words} is below zero", when=side == "least" and number < 0)
            _refuse(f"{words} leaves no line", when=name == "open_area" and number >= 100)
        if other is not None:
            wrong = number >= other.value if side == "least" else number <= other.value
            relation = "below" if side == "least" else "above"
            _refuse(f"{words} is not {relation} {other.title}, {other.words(other.value)}", when=wrong)
        if self._product is None:
            raise UnusableInput("no product is shown yet")
        unit = self._units.of(REQUIREMENT_KINDS[name].unit)
        kept = number if side == "count" else unit.kept_of(number)
        edited = changed_limits(self._product, {name: {side: kept}})
        self._on_change(edited)
        self._product = edited
        if other is not None and other.refused:
            field.value = number  # what was refused beside the limit before may be right beside this one
            other.retry()

    def _other(self, name: str, side: str) -> NumberField | None:
        """The field of the limit at the other side."""
        sides = {"least": "most", "most": "least"}
        return self._fields.get((name, sides.get(side, "")))


class ChangedRequirements:
    """Says which limits were changed on the page, and takes that back; takes no room where none was.

    Parameters
    ----------
    undo : callable
        Has the page ask for the product as it was declared.
    guard : callable
        Wraps handlers.
    """

    def __init__(self, undo: Callable[[], None], guard: Callable):
        self.note = widgets.HTML(layout=full_width())
        self.undo = widgets.Button(
            description="Undo these changes",
            tooltip="Go back to what the product declares",
            layout=full_width(),
        )
        self.undo.on_click(guard(lambda _button: undo()))
        self.box = widgets.VBox([self.note, self.undo], layout=widgets.Layout(width="100%", display="none"))

    def show(self, declared: Product, product: Product, units: Units) -> None:
        """Say what of a product differs from what was declared.

        Parameters
        ----------
        declared, product : Product
        units : Units
            To write limits in.
        """
        self.note.value = changed_list(declared, product, units)
        self.box.layout.display = None if self.note.value else "none"


def _refuse(why: str, *, when: bool) -> None:
    if when:
        raise UnusableInput(why)
