"""The columns of a trial file: name, unit, type, and whether they belong to a print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from pwindow.product import PRESSURE_UNITS


@dataclass(frozen=True)
class Column:
    """A known column.

    Attributes
    ----------
    name : str
    kind : {'text', 'number', 'count'}
    unit : str or None
        Unit the values are kept in, and the unit assumed where the header names none.
    of : {'print', 'feature'}
        Whether all rows of a print must agree on it.
    least : float or None
        Smallest value that is physically possible.
    strict : bool
        Whether `least` itself is impossible too.
    """

    name: str
    kind: Literal["text", "number", "count"]
    unit: str | None = None
    of: Literal["print", "feature"] = "feature"
    least: float | None = None
    strict: bool = False

    @property
    def units(self) -> tuple[str, ...]:
        """Units of every dimension the column may have."""
        if self.name == "pressure":
            return PRESSURE_UNITS
        return () if self.unit is None else (self.unit,)


def _number(name: str, unit: str, of: str = "feature", strict: bool = True) -> Column:
    return Column(name, "number", unit, of, least=0.0, strict=strict)


COLUMNS: Mapping[str, Column] = MappingProxyType(
    {
        column.name: column
        for column in (
            Column("print", "text", of="print"),
            Column("make_ready", "text", of="print"),
            _number("speed", "m/min", "print"),
            Column("roll", "text", of="print"),
            _number("cell_volume", "cm³/m²", "print"),
            _number("pressure", "µm", "print", strict=False),
            Column("plate", "text", of="print"),
            Column("direction", "number", "deg"),
            _number("plate_width", "µm"),
            _number("plate_gap", "µm"),
            _number("line_height", "µm"),
            _number("line_width", "µm"),
            _number("section_area", "µm²"),
            _number("gap", "µm"),
            _number("gap_length", "mm"),
            Column("gaps_inspected", "count", least=0.0),
            Column("gaps_bridged", "count", least=0.0),
            _number("resistance", "Ω"),
            _number("line_length", "mm"),
        )
    }
)
DOME_SECTION_FACTOR = 2.0 / 3.0
"""Area of a parabolic dome over its height times its width: taken where no area was measured."""

NEEDED = ("print", "speed", "cell_volume", "pressure")
RESPONSES = (
    "line_height",
    "line_width",
    "section_area",
    "gap",
    "gaps_inspected",
    "gaps_bridged",
    "resistance",
)
PRINT_COLUMNS = tuple(name for name, column in COLUMNS.items() if column.of == "print")
FEATURE_COLUMNS = tuple(name for name, column in COLUMNS.items() if column.of == "feature")
