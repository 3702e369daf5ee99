"""Fields for numbers, which the page reads itself: a browser's own number field drops what it cannot read."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import ipywidgets as widgets

from pwindow.errors import UnitProblem, UnusableInput
from pwindow.panels.shared.layout import full_width
from pwindow.panels.shared.words import refused
from pwindow.units import read_quantity
from pwindow.wording import PERCENT, Unit

_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
_LONGEST = 60  # characters of what was typed that a message repeats


def typed_number(text: str, unit: str = "") -> float:
    """Read a number as people type it: decimal point or comma, plain or typographic minus, its unit or none.

    Parameters
    ----------
    text : str
    unit : str
        Of the field; it may stand after the number.

    Raises
    ------
    UnusableInput
        If it is no number, or could be read as two.

    Examples
    --------
    >>> typed_number("33,5"), typed_number("−5"), typed_number("33.5 µm", "µm")
    (33.5, -5.0, 33.5)
    """
    number = " ".join(text.split())
    asked = f"type a number{f' in {unit}' if unit else ''}"
    if not number:
        raise UnusableInput(f"the field is empty; {asked}")
    if unit and number.replace("\u03bc", "µ").endswith(unit):
        number = number[: -len(unit)].rstrip()
    number = number.replace("\u2212", "-").replace("\u2013", "-")
    shown = f"“{text.strip()[:_LONGEST]}”"
    if _THOUSANDS.fullmatch(number):
        whole = number.replace(",", "")
        raise UnusableInput(
            f"{shown} could be {whole} or {number.replace(',', '.')}; type the one without a comma"
        )
    value = float(number.replace(",", ".")) if _NUMBER.fullmatch(number) else math.nan
    if not math.isfinite(value):
        raise UnusableInput(f"{shown} is not a number; {asked}")
    return value


def typed_quantity(text: str, unit: str) -> float:
    """Read a number in the unit of its field, or in another that is typed with it.

    Raises
    ------
    UnusableInput
        As of `typed_number`.

    Examples
    --------
    >>> typed_quantity("6,3", "cm³/m²"), round(typed_quantity("3.9 BCM", "cm³/m²"), 2)
    (6.3, 6.05)
    """
    try:
        return read_quantity(text, unit)
    except UnitProblem:
        return typed_number(text, unit)


def written(value: float) -> str:
    """A number as a field writes it.

    Examples
    --------
    >>> written(33.5), written(-5.0), written(1234567.0)
    ('33.5', '−5', '1234567')
    """
    return f"{value:.10g}".replace("-", "−")


class NumberField:
    """A field for one number, and a note below it that says why what was typed cannot be used.

    What was typed stays until it is corrected, and the page goes on with the last number that it could use.

    Parameters
    ----------
    title, unit : str
    value : float
    guard : callable
        Wraps handlers.
    take : callable
        Is given a number that was typed; raises UnusableInput where it cannot be used.
    style : mapping
        Of the field.
    read : callable
        Reads what is typed, given the unit too; raises UnusableInput where it cannot.

    Attributes
    ----------
    field : Text
    note : HTML
    value : float
        The last number that could be used.
    """

    def __init__(
        self,
        title: str,
        unit: str,
        value: float,
        guard: Callable,
        take: Callable[[float], None] = lambda number: None,
        style: dict | None = None,
        read: Callable[[str, str], float] = typed_number,
    ):
        self.title, self.unit, self.value, self._take, self._read = title, unit, value, take, read
        self.field = widgets.Text(
            value=written(value),
            description=", ".join(filter(None, (title, unit))),
            continuous_update=False,
            style=style or {"description_width": "62%"},
            layout=full_width(),
        )
        self.field.add_class("pw-number")
        self.note = Refusal()
        self._retry = guard(self._taken)
        self.field.observe(lambda _change: self.retry(), "value")

    @property
    def refused(self) -> bool:
        """Whether what stands in the field cannot be used."""
        return bool(self.note.value)

    def words(self, value: float) -> str:
        """A value with its unit, as a page writes it."""
        return " ".join(filter(None, (f"{value:g}".replace("-", "−"), self.unit)))

    def show(self, value: float, unit: str | None = None) -> None:
        """Show a number without taking it, in another unit where one is given."""
        self.value = value
        if unit is not None:
            self.unit, self.field.description = unit, f"{self.title}, {unit}"
        self.field.value = written(value)
        self.note.say("")

    def needed(self) -> float:
        """The number in the field.

        Raises
        ------
        UnusableInput
            If what stands there cannot be used.
        """
        if self.refused:
            typed = self.field.value.strip()[:_LONGEST]
            raise UnusableInput(
                f"{self.title}: {f'correct “{typed}” first' if typed else 'enter a number first'}"
            )
        return self.value

    def retry(self) -> None:
        """Take what stands in the field, or say why not."""
        if self.field.value == written(self.value):
            self.note.say("")
        else:
            self._retry()

    def _taken(self) -> None:
        try:
            number = self._read(self.field.value, self.unit)
            if number != self.value:
                self._take(number)
        except UnusableInput as problem:
            self.note.say(f"{self.title}: {problem}. The page still uses {self.words(self.value)}.")
        else:
            self.value = number
            self.note.say("")
            self.field.value = written(number)


class SlidingNumber:
    """A slider, and beside it a field for its number.

    Parameters
    ----------
    title : str
    guard : callable
        Wraps handlers.
    chosen : callable
        Is told of each change by the visitor.

    Attributes
    ----------
    box : VBox
    slider : FloatSlider
    field : Text
    """

    def __init__(
        self,
        title: str,
        guard: Callable,
        chosen: Callable[[], None],
        *,
        continuous_update: bool = True,
    ):
        self._title, self._unit, self._chosen, self._telling = title, Unit("", ""), chosen, True
        self._continuous, self._value = continuous_update, 0.0
        self.slider = self._slider()
        self.field = widgets.Text(
            continuous_update=False, layout=widgets.Layout(width="64px", flex="0 0 64px")
        )
        self.note = Refusal()
        self._take = guard(self._taken)
        self.field.observe(lambda _change: self._typed(), "value")
        self._pair = widgets.HBox([self.slider, self.field], layout=full_width())
        self._pair.add_class("pw-sliding")
        self.box = widgets.VBox([self._pair, self.note], layout=full_width())

    def _slider(self, **shown: Any) -> widgets.FloatSlider:
        slider = widgets.FloatSlider(
            readout=False,
            continuous_update=self._continuous,
            style={"description_width": "102px"},
            layout=widgets.Layout(width="auto", flex="1 1 auto"),
            **shown,
        )
        slider.observe(self._slid, "value")
        return slider

    @property
    def value(self) -> float:
        """The number in the unit that it is kept in: as it was given or typed, whatever step the slider stands on."""
        return self._value

    @value.setter
    def value(self, value: float) -> None:
        if value != self._value:
            self._move(self._unit.of(value))
            self._use(value)

    def show(self, unit: Unit, low: float, high: float, value: float, step: float) -> None:
        """Show a value between two ends without telling of it; where all is as it was, what was typed stays.

        Parameters
        ----------
        unit : Unit
            That the page shows it in.
        low, high, value, step : float
            In the unit that it is kept in: between 0 and 1 for a probability that is shown in %.
        """
        before = self._shown()
        self._unit, self._telling = unit, False
        self.field.tooltip = f"{self._title}, {unit.name}, value"  # the name of a field without a label
        ends, start = (unit.of(low), unit.of(high)), unit.of(value)
        try:
            self._value = value
            kept = f"{self._title}, {unit.name}", unit.step_of(step), *ends
            if kept == (self.slider.description, self.slider.step, self.slider.min, self.slider.max):
                self.slider.value = start
            else:
                self._replace(*kept, start)
            if not self.note.value or self._shown() != before:
                self._put()
        finally:
            self._telling = True

    def _replace(self, title: str, step: float, low: float, high: float, value: float) -> None:
        """Another slider in place of the one before.

        To ends that move, a browser answers with the value before, clamped between them; to nobody, here.
        """
        before, self.slider = (
            self.slider,
            self._slider(description=title, step=step, min=low, max=high, value=value),
        )
        self._pair.children = [self.slider, self.field]
        before.close()

    def _shown(self) -> tuple[str, float, float, float]:
        return self._unit.name, self.slider.min, self.slider.max, self._unit.of(self._value)

    def _put(self) -> None:
        self.note.say("")
        self.field.value = self._text(self._unit.of(self._value))

    def _text(self, value: float) -> str:
        """A number of the slider as the field writes it."""
        if self._unit.factor == PERCENT.factor:
            return written(round(value, 6))
        return written(round(value, 3)) if self._unit.factor == 1.0 else self._unit.write(value)

    def _slid(self, _change: object) -> None:
        if self._telling and not self._on_step():
            self._use(round(self._unit.kept_of(self.slider.value), 12))

    def _on_step(self) -> bool:
        """Whether the slider stands on the step next to the number: a browser moves it there by itself."""
        return abs(self.slider.value - self._unit.of(self._value)) <= 0.51 * self.slider.step

    def _move(self, shown: float) -> None:
        """Move the slider without telling of it."""
        before, self._telling = self._telling, False
        try:
            self.slider.value = shown
        finally:
            self._telling = before

    def _use(self, value: float) -> None:
        """Go on with a number of the visitor's."""
        self._value = value
        self._put()
        self._chosen()

    def _typed(self) -> None:
        if self.field.value == self._text(self._unit.of(self._value)):
            self.note.say("")
        else:
            self._take()

    def _taken(self) -> None:
        slider, unit = self.slider, self._unit.name
        try:
            number = typed_number(self.field.value, unit)
            inside = min(max(number, slider.min), slider.max)
            if self._text(inside) != self._text(number):
                ends = f"{self._text(slider.min)} to {self._text(slider.max)} {unit}"
                raise UnusableInput(f"{written(number)} {unit} is outside {ends}")
        except UnusableInput as problem:
            used = f"{self._text(self._unit.of(self._value))} {unit}"
            self.note.say(f"{self._title}: {problem}. The page still uses {used}.")
        else:
            self._move(inside)
            self._use(round(self._unit.kept_of(inside), 12))


class Refusal(widgets.HTML):
    """Why what was typed cannot be used; takes no room where there is nothing to say."""

    def __init__(self) -> None:
        super().__init__(layout=widgets.Layout(width="100%", display="none"))

    def say(self, words: str) -> None:
        self.value = refused(words) if words else ""
        self.layout.display = None if words else "none"
