"""The controls of the set-up speed page."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from pwindow.panels.state import Evidence, Question, Setup, changed_limits
from pwindow.product import Product
from pwindow.window.bands import SPEED_STEP

_WIDE = {"description_width": "112px"}
_LAYOUT = widgets.Layout(width="100%")


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
            max=0.99,
            step=0.01,
            style=_WIDE,
            layout=_LAYOUT,
            readout_format=".0%",
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
                (f"{roll.label} · {roll.cell_volume:.3g} cm³/m²", roll.id) for roll in question.window.rolls
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
    """Edit the limits of a product on the page; tells `on_change` of the edited product."""

    def __init__(self, on_change: Callable[[Callable[[], Product]], None]):
        self.box = widgets.VBox(layout=_LAYOUT)
        self._on_change = on_change
        self._product: Product | None = None
        self._fields: dict[tuple[str, str], widgets.Widget] = {}

    def show(self, product: Product) -> None:
        """Show the limits of a product; the fields before are closed."""
        before = self.box.children
        self._product = product
        self._fields = {
            (requirement.name, side): self._field(
                f"{requirement.kind.label} at {side}, {requirement.kind.unit}", limit
            )
            for requirement in product.requirements
            for side in ("least", "most")
            if (limit := getattr(requirement, side)) is not None
        }
        for requirement in product.requirements:
            if "count" in requirement.parameters:
                self._fields[requirement.name, "count"] = self._field(
                    "gaps on one part", requirement.parameters["count"]
                )
        self.box.children = list(self._fields.values())
        for field in before:
            field.close()

    def _field(self, title: str, value: float) -> widgets.Widget:
        kind = widgets.IntText if isinstance(value, int) else widgets.FloatText
        field = kind(value=value, description=title, style={"description_width": "62%"}, layout=_LAYOUT)
        field.observe(lambda _change: self._on_change(self.edited), "value")
        return field

    def edited(self) -> Product:
        """The product with the limits that the fields show, checked."""
        limits: dict[str, dict] = {}
        for (name, side), field in self._fields.items():
            limits.setdefault(name, {})[side] = field.value
        return changed_limits(self._product, limits)
