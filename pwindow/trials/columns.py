"""The columns of a trial file: name, unit, type, and whether they belong to a print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from pwindow.product import PRESSURE_UNITS

_Of = Literal["print", "feature"]


@dataclass(frozen=True, kw_only=True)
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
    least, most : float or None
        What is physically possible, in `unit`; of a pressure `most` depends on its kind.
    """

    name: str
    kind: Literal["text", "number", "count"]
    unit: str | None = None
    of: _Of = "feature"
    least: float | None = None
    most: float | None = None

    @property
    def units(self) -> tuple[str, ...]:
        """Units of every dimension the column may have."""
        if self.name == "pressure":
            return PRESSURE_UNITS
        return () if self.unit is None else (self.unit,)

    def bounds_in(self, unit: str) -> tuple[float, float] | None:
        """The smallest and largest possible value in the unit that the column is kept in; None of text."""
        most = _MOST_PRESSURE[unit] if self.name == "pressure" else self.most
        return None if self.least is None or most is None else (self.least, most)


def _number(name: str, unit: str, least: float, most: float | None, of: _Of = "feature") -> Column:
    return Column(name=name, kind="number", unit=unit, of=of, least=least, most=most)


_MOST_PRESSURE: Mapping[str, float] = MappingProxyType({"µm": 5_000.0, "N/mm": 1_000.0, "kPa": 100_000.0})
"""An engagement is less than the plate is thick (1.14 or 1.70 mm in packaging, a vendor's article; up to 6 mm for
corrugated board, from memory); narrow webs are printed at a few N/mm, and rubber yields at some ten MPa (from memory)."""


COLUMNS: Mapping[str, Column] = MappingProxyType(
    {
        column.name: column
        for column in (
            Column(name="print", kind="text", of="print"),
            Column(name="make_ready", kind="text", of="print"),
            _number("speed", "m/min", 0.01, 2_000.0, "print"),
            Column(name="roll", kind="text", of="print"),
            _number("cell_volume", "cm³/m²", 0.05, 200.0, "print"),
            _number("pressure", "µm", 0.0, None, "print"),
            Column(name="plate", kind="text", of="print"),
            Column(name="plate_id", kind="text", of="print"),
            Column(name="order", kind="number", of="print", least=0.0, most=1e7),
            _number("time", "min", 0.0, 1e7, "print"),
            Column(name="foot_rule", kind="text", of="print"),
            Column(name="direction", kind="number", unit="deg", least=-360.0, most=360.0),
            Column(name="plate_feature", kind="text"),
            _number("plate_width", "µm", 1.0, 1e5),
            _number("plate_gap", "µm", 1.0, 1e5),
            _number("lip_width", "µm", 1.0, 1e5),
            _number("gap_depth", "µm", 0.01, 5e3),
            Column(name="corner", kind="text"),
            _number("corner_radius", "µm", 0.01, 1e5),
            _number("line_height", "µm", 0.005, 200.0),
            _number("line_width", "µm", 1.0, 1e5),
            _number("section_area", "µm²", 0.005, 2e7),
            _number("gap", "µm", 1e-3, 1e5),
            _number("gap_length", "mm", 1e-3, 1e6),
            _number("gap_raggedness", "µm", 0.0, 1e5),
            _number("gap_correlation", "µm", 0.0, 1e6),
            Column(name="gaps_inspected", kind="count", least=0.0, most=1e7),
            Column(name="gaps_bridged", kind="count", least=0.0, most=1e7),
            _number("printed_radius", "µm", 0.01, 1e5),
            Column(name="ridges", kind="count", least=1.0, most=100.0),
            _number("resistance", "Ω", 1e-6, 1e12),
            _number("line_length", "mm", 1e-3, 1e6),
            _number("u_line_height", "µm", 0.0, 200.0),
            _number("u_line_width", "µm", 0.0, 1e5),
            _number("u_section_area", "µm²", 0.0, 2e7),
            _number("u_gap", "µm", 0.0, 1e5),
        )
    }
)
"""The bounds keep out what no printing process makes, and with it a wrong unit; from memory unless a source stands here.
The fastest presses of any kind run at some 1,000 m/min, a proofing press at 1. Cells hold 1 to 60 cm³/m². Published
flexographic lines are 20 to 100 µm wide and 0.1 to 2.5 µm high, screen-printed ones up to 20 µm (npj Flexible
Electronics 2025, s41528-025-00421-8, table 1); a dry film is no thinner than one silver particle of 5 nm, and no higher
than the most ink that cells hold. A line or a gap is not wider than 10 cm, a gap that is seen at all not under 1 nm."""


@dataclass(frozen=True, kw_only=True)
class TableKind:
    """A kind of table.

    Attributes
    ----------
    name : str
        What messages call such a file.
    columns : mapping of str to Column
        That it may have.
    needed : tuple of str
        That every row needs.
    measured : tuple of str
        Of which it has at least one.
    carried : tuple of str
        Other columns that are kept without a word.
    """

    name: str
    columns: Mapping[str, Column]
    needed: tuple[str, ...]
    measured: tuple[str, ...]
    carried: tuple[str, ...]


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
    "printed_radius",
)
CORNERS = ("inner", "outer")
"""Kinds of corner: `inner` where bare film runs into the corner of the ink, `outer` where ink runs into that of bare film."""
UNCERTAINTIES = ("u_line_height", "u_line_width", "u_section_area", "u_gap")
"""Standard uncertainties of what was measured on a feature."""
RAGGEDNESS = ("gap_raggedness", "gap_correlation")
"""Standard deviation of a gap's width along it, and the distance at which widths are alike to 1/e."""
CARRIED = ("source_file", "source_sha256", "source_line")
"""Columns that are kept with a trial's file and take no part in fits: the scans that features were measured on."""
TRIAL_TABLE = TableKind(name="trial", columns=COLUMNS, needed=NEEDED, measured=RESPONSES, carried=CARRIED)
OF_PLATE = ("plate_feature", "lip_width", "gap_depth", "corner", "corner_radius")
"""What a row of a trial may tell of the plate beside `plate_width` and `plate_gap`."""
PRINT_COLUMNS = tuple(name for name, column in COLUMNS.items() if column.of == "print")
FEATURE_COLUMNS = tuple(name for name, column in COLUMNS.items() if column.of == "feature")
