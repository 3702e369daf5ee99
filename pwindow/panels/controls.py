"""The controls of the set-up speed page."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import ipywidgets as widgets

from pwindow.errors import UnusableInput
from pwindow.panels.state import Evidence, Question, Setup, changed_limits
from pwindow.product import Product, RequirementKind
from pwindow.window.bands import SPEED_STEP
from pwindow.wording import asked, volume

_WIDE = {"description_width": "112px"}
_LAYOUT = widgets.Layout(width="100%")
_MOST_ASSURED = 0.99
"""End of the assurance slider, but for products that ask for more."""


class SetupControls:
    """Choose product, plate, roll, pressure, speed and assurance; tells `chosen` of each change."""

    def __init__(
        self,
        on_product: Callable[[str], None],
        on_level: Callable[[float], None],
        on_setup: Callable[[], None],
    ):
        self.product = widgets.Dropdown(description="Product", style=_WIDE, layout=_LAYOUT)
        self.plate = widgets.Dropdown(description="Plate", style=_WIDE, layout=_LAYOUT)
        self.roll = widgets.Dropdown(description="Roll", style=_WIDE, layout=_LAYOUT)
        self.pressure = widgets.FloatSlider(
            description="Pressure", style=_WIDE, layout=_LAYOUT, readout_format=".1f"
        )
        self.speed = widgets.FloatSlider(
            description="Speed", style=_WIDE, layout=_LAYOUT, readout_format=".1f"
        )
        self.level = widgets.FloatSlider(
            description="Assurance",
            min=0.5,
            max=_MOST_ASSURED,
            step=0.01,
            style=_WIDE,
            layout=_LAYOUT,
            continuous_update=False,
        )
        self._telling = True
        self.product.observe(self._tell(lambda: on_product(self.product.value)), "value")
        self.level.observe(self._tell(lambda: on_level(self.level.value)), "value")
        for control in (self.plate, self.roll, self.pressure, self.speed):
            control.observe(self._tell(on_setup), "value")

    def _tell(self, act: Callable[[], None]) -> Callable:
        def told(_change) -> None:
            if self._telling:
                act()

        return told

    @property
    def box(self) -> list[widgets.Widget]:
        return [self.product, self.plate, self.roll, self.pressure, self.speed, self.level]

    def setup(self, question: Question) -> Setup:
        """The set-up that the controls show."""
        return Setup(self.plate.value, question.roll(self.roll.value), self.pressure.value, self.speed.value)

    def show(self, evidence: Evidence, question: Question, setup: Setup) -> None:
        """Show a question and a set-up without telling of it."""
        trial = evidence.surfaces.trial
        self._telling = False
        try:
            self.product.options = list(evidence.products)
            self.product.value = question.product.name
            self.plate.options = [(plate or "not named", plate) for plate in question.window.plates]
            self.plate.value = setup.plate
            self.roll.options = [
                # of a planned roll without the unit, so that the menu holds all of it
                (f"{roll.label} · {volume(roll.cell_volume)}{' cm³/m²' * (not roll.planned)}", roll.id)
                for roll in question.window.rolls
            ]
            self.roll.value = setup.roll.id
            self.pressure.description = f"Pressure, {trial.pressure_unit}"
            whole = all(float(pressure).is_integer() for pressure in trial.pressures)
            _set_range(
                self.pressure, trial.pressures[0], trial.pressures[-1], setup.pressure, 1.0 if whole else 0.1
            )
            speeds = trial.prints["speed"]
            self.speed.description = "Speed, m/min"
            _set_range(self.speed, float(speeds.min()), float(speeds.max()), setup.speed, SPEED_STEP)
            decimals = len(asked(question.window.level).removesuffix(" %").partition(".")[2])
            self.level.readout_format = f".{decimals}%"
            self.level.max = max(_MOST_ASSURED, question.window.level)
            self.level.value = question.window.level
        finally:
            self._telling = True


def _set_range(slider: widgets.FloatSlider, low: float, high: float, value: float, step: float) -> None:
    """Set the ends in an order in which the low end is never above the high one."""
    slider.step = step
    if low > slider.max:
        slider.max, slider.min = high, low
    else:
        slider.min, slider.max = low, high
    slider.value = value


class RequirementEditor:
    """Edit the limits of a product on the page.

    A field always shows the limit that the page is for: one that cannot be used springs back, and a note
    below it says why until the field is changed again.

    Parameters
    ----------
    on_change : callable
        Is given what makes the edited product; raises UnusableInput where it cannot be shown.
    guard : callable
        Wraps handlers.
    """

    def __init__(self, on_change: Callable[[Callable[[], Product]], None], guard: Callable):
        self.box = widgets.VBox(layout=_LAYOUT)
        self._on_change, self._guard = on_change, guard
        self._product: Product | None = None
        self._fields: dict[tuple[str, str], LimitField] = {}

    def show(self, product: Product) -> None:
        """Show the limits of a product; the fields before are closed."""
        before = self.box.children
        self._product = product
        self._fields = {
            (requirement.name, side): self._field(requirement.kind, requirement.name, side, limit)
            for requirement in product.requirements
            for side in ("least", "most")
            if (limit := getattr(requirement, side)) is not None
        }
        for requirement in product.requirements:
            if "count" in requirement.parameters:
                self._fields[requirement.name, "count"] = self._field(
                    requirement.kind, requirement.name, "count", requirement.parameters["count"]
                )
        self.box.children = [part for one in self._fields.values() for part in (one.field, one.note)]
        for part in before:
            part.close()

    def _field(self, kind: RequirementKind, name: str, side: str, value: float) -> LimitField:
        words = ("gaps on one part", "") if side == "count" else (f"{kind.label} at {side}", kind.unit)
        return LimitField(*words, value, self._guard, lambda: self._take(name, side))

    def _take(self, name: str, side: str) -> None:
        """Have the page take what a field shows.

        Raises
        ------
        UnusableInput
            If it cannot be used, in words of the page.
        """
        field = self._fields[name, side]
        other = self._fields.get((name, "most" if side == "least" else "least"))
        if side == "count":
            field.refuse(field.value < 1 or field.value % 1 != 0, "is not a whole number of at least 1")
        else:
            field.refuse(side == "most" and field.value <= 0, "is not above zero")
            field.refuse(side == "least" and field.value < 0, "is below zero")
            field.refuse(name == "open_area" and field.value >= 100, "leaves no line")
        if side != "count" and other is not None:
            wrong = field.value >= other.value if side == "least" else field.value <= other.value
            relation = "below" if side == "least" else "above"
            field.refuse(wrong, f"is not {relation} {other.title}, {other.told(other.value)}")
        self._on_change(self.edited)

    def edited(self) -> Product:
        """The product with the limits that the fields show, checked."""
        limits: dict[str, dict] = {}
        for (name, side), field in self._fields.items():
            limits.setdefault(name, {})[side] = int(field.value) if side == "count" else field.value
        return changed_limits(self._product, limits)


class LimitField:
    """One limit: a field for its number, and a note for what is wrong with it."""

    def __init__(self, title: str, unit: str, value: float, guard: Callable, take: Callable[[], None]):
        self.title, self.unit, self._used, self._take = title, unit, value, take
        self.field = widgets.FloatText(
            value=value,
            description=", ".join(filter(None, (title, unit))),
            style={"description_width": "62%"},
            layout=_LAYOUT,
        )
        self.note = widgets.HTML(layout=widgets.Layout(width="100%", display="none"))
        self.field.observe(guard(self._changed), "value")

    @property
    def value(self) -> float:
        return self.field.value

    def told(self, value: float) -> str:
        """A value with its unit, as a page writes it."""
        return " ".join(filter(None, (f"{value:g}".replace("-", "−"), self.unit)))

    def refuse(self, wrong: bool, why: str) -> None:
        if wrong:
            raise UnusableInput(f"{self.told(self.value)} {why}")

    def _changed(self, _change) -> None:
        if self.value == self._used:  # it sprang back
            return
        try:
            self._take()
        except UnusableInput as problem:
            self._say(f"{self.title}: {problem}. It stays {self.told(self._used)}.")
        else:
            self._used = self.value
            self._say("")
        finally:
            self.field.value = self._used

    def _say(self, words: str) -> None:
        self.note.value = f"<p class='pw-refused' role='alert'>{escape(words)}</p>" if words else ""
        self.note.layout.display = None if words else "none"
