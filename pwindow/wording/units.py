"""Units that numbers are shown in: those of the trial file, metric ones, or those that the visitor chose.

Everything inside is kept in metric units; a number is converted where it is written, and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

from pwindow.errors import UnitProblem, shown
from pwindow.wording.numbers import aligned, amount, pressure, speed, stated, volume

Numbers = TypeVar("Numbers")


@dataclass(frozen=True)
class Unit:
    """A unit that a quantity is shown in.

    Attributes
    ----------
    kept : str
        The unit that the quantity is kept in.
    name : str
        As it is written.
    factor : float
        How many of it are one of `kept`.
    write : callable
        Turns a number into text.
    """

    kept: str
    name: str
    factor: float = 1.0
    write: Callable[[float], str] = field(default=amount, compare=False)

    def of(self, value: Numbers) -> Numbers:
        """A number, an array or a column of `kept` in this unit."""
        return value if self.factor == 1.0 else value * self.factor  # type: ignore[operator, return-value]

    def kept_of(self, value: float) -> float:
        """A number in this unit, in `kept`.

        Examples
        --------
        >>> us_customary().speed.kept_of(1000.0)
        304.8
        """
        return value if self.factor == 1.0 else value / self.factor

    def step_of(self, step: float) -> float:
        """A step of `kept` as a step in this unit: the largest power of ten that is no more.

        Examples
        --------
        >>> METRIC.speed.step_of(0.1), us_customary().speed.step_of(0.1), us_customary().pressure.step_of(1.0)
        (0.1, 0.1, 0.01)
        """
        return step if self.factor == 1.0 else 10.0 ** math.floor(math.log10(self.of(step)))

    def number(self, value: float) -> str:
        """A number of `kept` in this unit, as text without the unit."""
        return self.write(self.of(value))

    def column(self, values: Iterable[float]) -> list[str]:
        """Numbers of `kept` in this unit as a column of texts, their decimal points above one another."""
        return aligned([self.number(value) for value in values])

    def words(self, value: float) -> str:
        """A number of `kept` in this unit, with the unit.

        Examples
        --------
        >>> METRIC.speed.words(98.8), us_customary().speed.words(98.8)
        ('98.8 m/min', '324.1 ft/min')
        """
        return f"{self.number(value)} {self.name}"

    def typed(self, value: float) -> float:
        """A limit of `kept` as a field offers it in this unit, with the digits of `limit`."""
        return value if self.factor == 1.0 else float(stated(self.of(value)).replace("−", "-"))

    def limit(self, value: float) -> str:
        """A limit of `kept` in this unit, with the unit: all digits that it was stated with, three where it is converted.

        Examples
        --------
        >>> METRIC.length.limit(85.125), us_customary().length.limit(85.125)
        ('85.125 µm', '3.35 thou')
        """
        return f"{stated(self.of(value))} {self.name}".rstrip()

    def span(self, low: float, high: float) -> str:
        """Two numbers with the unit once.

        Examples
        --------
        >>> METRIC.speed.span(60.0, 98.8)
        '60 to 98.8 m/min'
        """
        return f"{self.number(low)} to {self.words(high)}"

    def beside(self, value: float) -> str:
        """The number in `kept`, in brackets, where it is shown in another unit; "" elsewhere.

        Examples
        --------
        >>> us_customary().speed.beside(98.8), METRIC.speed.beside(98.8)
        (' (98.8 m/min)', '')
        """
        return "" if self.name == self.kept else f" ({self.write(value)} {self.kept})"


_CUSTOMARY: Mapping[str, tuple[str, float]] = {
    "m/min": ("ft/min", 1 / 0.3048),
    "cm³/m²": ("BCM", 0.64516),
    "µm": ("thou", 1 / 25.4),
    "N/mm": ("pli", 25.4 / 4.4482216152605),
    "kPa": ("psi", 1 / 6.894757293168361),
    "Ω/mm": ("Ω/in", 25.4),
    "mg/m": ("mg/ft", 0.3048),
}
"""Of units that numbers are kept in, the one of the same kind that presses in the United States are set in: exact, since
1 in is 25.4 mm, 1 ft is 0.3048 m and 1 lbf is 4.4482216152605 N."""
_PER_LENGTH = ("Ω/mm", "mg/m")
"""What a line has per length: follows the unit of lengths on the print."""
_EVERYWHERE: Mapping[str, tuple[str, float]] = {"Ω·m": ("µΩ·cm", 1e8)}
"""Units that are written in another one wherever the press stands."""
_ALIKE = 1e-3  # relative difference of factors of one unit: some write 1 BCM as 1.55 cm³/m²


def _metric(kept: str, write: Callable[[float], str] = amount) -> Unit:
    return Unit(kept, kept, 1.0, write)


@dataclass(frozen=True)
class Units:
    """What speeds, cell volumes, lengths on the print, and pressures are shown in.

    Attributes
    ----------
    speed, volume, length, pressure : Unit
    """

    speed: Unit = _metric("m/min", speed)
    volume: Unit = _metric("cm³/m²", volume)
    length: Unit = _metric("µm")
    pressure: Unit = _metric("µm", pressure)

    def of(self, kept: str) -> Unit:
        """What a predicted or limited quantity is shown in, by the unit that it is kept in.

        Examples
        --------
        >>> [us_customary().of(kept).name for kept in ("µm", "Ω/mm", "mg/m", "Ω")]
        ['thou', 'Ω/in', 'mg/ft', 'Ω']
        >>> METRIC.of("Ω·m").words(9.5e-8)
        '9.5 µΩ·cm'
        """
        if kept == self.length.kept:
            return self.length
        if kept in _PER_LENGTH and self.length.name != self.length.kept:
            return _customary(_metric(kept))
        if kept in _EVERYWHERE:
            return Unit(kept, *_EVERYWHERE[kept])
        return _metric(kept)

    def of_column(self, name: str, kept: str) -> Unit:
        """What a column is shown in: a pressure in µm is not a length on the print.

        Parameters
        ----------
        name : str
            Such as ``speed``, ``cell_volume`` or ``line_width``.
        kept : str
            The unit that it is kept in.
        """
        settings = {"speed": self.speed, "cell_volume": self.volume, "pressure": self.pressure}
        return settings.get(name.replace(" ", "_")) or self.of(kept)

    @property
    def names(self) -> tuple[str, ...]:
        """The units of speed, volume, pressure and length, each once."""
        return tuple(dict.fromkeys(one.name for one in self._each()))

    def _each(self) -> tuple[Unit, ...]:
        return self.speed, self.volume, self.pressure, self.length


def units_of_factors(kind: str, **factors: float) -> Units:
    """The units of a file; metric where they are none that is offered.

    Parameters
    ----------
    kind : {'µm', 'N/mm', 'kPa'}
        The unit that pressures of the trial are kept in.
    **factors : float
        For quantities of `Units`, how many of the unit they are kept in are one of the file's.

    Examples
    --------
    >>> units_of_factors("µm", speed=0.3048, volume=1.55, pressure=1.0).names
    ('ft/min', 'BCM', 'µm')
    """
    plain = metric(kind)
    customary = {name: _customary(getattr(plain, name)) for name in factors}
    return replace(
        plain,
        **{name: unit for name, unit in customary.items() if abs(factors[name] * unit.factor - 1.0) < _ALIKE},
    )


def _customary(unit: Unit) -> Unit:
    name, factor = _CUSTOMARY[unit.kept]
    return replace(unit, name=name, factor=factor)


METRIC = Units()
"""Metric units, with pressure as an engagement in µm."""


def metric(kind: str = "µm") -> Units:
    """Metric units, with pressures as a trial keeps them.

    Parameters
    ----------
    kind : {'µm', 'N/mm', 'kPa'}
    """
    return replace(METRIC, pressure=_metric(kind, pressure))


def us_customary(kind: str = "µm") -> Units:
    """Feet a minute, BCM, thousandths of an inch, and pounds for pressures.

    Parameters
    ----------
    kind : {'µm', 'N/mm', 'kPa'}
    """
    plain = metric(kind)
    return Units(*(_customary(one) for one in (plain.speed, plain.volume, plain.length, plain.pressure)))


PERCENT = Unit("1", "%", 100.0)
"""Of a probability between 0 and 1."""
METRIC_NAME, PRESS_NAME, US_NAME = "metric", "metric, ft/min, BCM", "us"
"""Names in addresses and commands: of the two systems, and of the first with speeds and volumes of the second."""


def chosen_units(text: str, of_file: Units) -> Units:
    """The units that a visitor asks for, such as ``"ft/min, BCM"``, ``"us"`` or ``"metric"``.

    Parameters
    ----------
    text : str
        Names of units, which take the place of those of the file, or of a system that is named before them.
    of_file : Units
        The trial file's.

    Raises
    ------
    UnitProblem
        If it names a unit that is not offered for this trial.

    Examples
    --------
    >>> chosen_units("ft/min, BCM", METRIC).names
    ('ft/min', 'BCM', 'µm')
    """
    kind = of_file.pressure.kept
    systems = {METRIC_NAME: metric(kind), US_NAME: us_customary(kind)}
    found = of_file
    for name in filter(None, (part.strip() for part in text.split(","))):
        if name.lower() in systems:
            found = systems[name.lower()]
            continue
        fitting = {
            quantity: unit
            for system in systems.values()
            for quantity, unit in vars(system).items()
            if unit.name.casefold() == name.casefold()
        }
        if not fitting:
            offered = ", ".join(dict.fromkeys(systems[METRIC_NAME].names + systems[US_NAME].names))
            raise UnitProblem(
                f"unit “{shown(name)}” is not offered: choose {METRIC_NAME} or {US_NAME}, or some of {offered}"
            )
        found = replace(found, **fitting)
    return found


def offered_units(of_file: Units) -> dict[str, Units]:
    """The units that a page offers, each once: as in the trial file, metric, those of the United States, and speeds and
    volumes alone in these, since few presses are set to thousandths of an inch.

    Returns
    -------
    dict of str to Units
        By the name that `chosen_units` reads; "" is the trial file's.
    """
    kind = of_file.pressure.kept
    us = us_customary(kind)
    press = replace(metric(kind), speed=us.speed, volume=us.volume)
    offered = {"": of_file}
    for name, units in ((METRIC_NAME, metric(kind)), (PRESS_NAME, press), (US_NAME, us)):
        if units not in offered.values():
            offered[name] = units
    return offered
