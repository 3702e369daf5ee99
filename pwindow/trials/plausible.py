"""What a printed line can be: beyond one pair of bounds it is impossible, beyond the other it is doubted.

What is impossible is a problem of a row. What could be true is a warning of the trial: it is found from the
prints and the cells, so that trials of an archive, which keep no more than these, have it too.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pwindow.errors import Problem, at_rows, first_few, shown
from pwindow.trials.cells import TypedCells
from pwindow.trials.columns import DOME_SECTION_FACTOR
from pwindow.wording import Unit, Units, counted, listed

BULK_RESISTIVITY = 1.587e-8
"""Silver without pores, Ω·m at 293 K (handbook value, from memory)."""

SECTION_FACTOR = (0.3, 1.6)
"""A dome has 0.67 by peak and foot and 1.4 by mean height and half-height width (computed); a double ridge less."""

_NO_SECTION = (0.1, 3.0)  # no drawn section comes near: a triangle by mean height and half-height width has 2
_HEIGHT = (0.05, 5.0)
"""µm. Published flexographic films are 0.1 to 2.5 µm (npj Flexible Electronics 2025, s41528-025-00421-8, table 1);
half and double that are accepted."""

_WIDTH = (10.0, 500.0)
"""µm. Published flexographic lines are 20 to 100 µm wide (same table); bus bars are wider (from memory)."""

_LINE_GAIN = (0.5, 6.0)
"""A line prints 2 to 2¼ times as wide as on the plate (common practice, no source)."""

_NO_LINE_GAIN = (0.05, 50.0)
_GAP_RATIO = (0.0, 4.0)
"""A gap cut into a solid can print two to three times wider (common practice, no source)."""

_NO_GAP_RATIO = 20.0
_RESISTIVITY = (1.0, 200.0)
"""Over that of bulk silver: 2 to 6 where particles are sintered well, 13 to 128 in polymer thick films (data sheets)."""

_NO_RESISTIVITY = (0.5, 1e6)  # below, measured sections would have to be twice too small
_DRY_SHARE = 0.4
"""Mean dry height over cell volume: an ink of 77 wt % silver is 23.3 % silver by volume, and packs to at least 60 %
(computed), so that more would need more than all the ink in the cells."""

_SPEED = (1.0, 600.0)
"""m/min. Published: 8 to 180 in flexography, 5 to 600 in gravure (npj Flexible Electronics 2025, table 1)."""

_CELL_VOLUME = (0.5, 30.0)  # cm³/m²: 1.6 to 5.6 in a published trial; coatings take up to 30 (from memory)
_PRESSURE = {"µm": 500.0, "N/mm": 100.0, "kPa": 10_000.0}
"""25 to 100 µm past first contact is customary (from memory); five times that is accepted, likewise for loads."""


# impossible -------------------------------------------------------------------------------------


def impossible_sections(typed: TypedCells) -> list[Problem]:
    """Rows whose measured values contradict one another beyond what any printed line has."""
    height, width, area = (typed.column(name) for name in ("line_height", "line_width", "section_area"))
    section = area.fillna(DOME_SECTION_FACTOR * height * width)
    resistivity = typed.column("resistance") * section / typed.column("line_length") * 1e-9
    return [
        *_outside(
            typed,
            area / (height * width),
            _NO_SECTION,
            "line_height",
            "section_area over line_height times line_width is {:.2g}; a printed line has 0.3 to 1.6",
        ),
        *_outside(
            typed,
            width / typed.column("plate_width"),
            _NO_LINE_GAIN,
            "line_width",
            "the line is {:.3g} times as wide as on the plate; about 2 times is typical",
        ),
        *_outside(
            typed,
            typed.column("gap") / typed.column("plate_gap"),
            (0.0, _NO_GAP_RATIO),
            "gap",
            "the gap is {:.3g} times as wide as on the plate; up to 3 times occurs",
        ),
        *_outside(
            typed,
            resistivity / BULK_RESISTIVITY,
            _NO_RESISTIVITY,
            "resistance",
            "the line has {:.2g} times the resistivity of bulk silver; printed lines have 2 to 130 times",
        ),
    ]


_PARTNERS = {
    "line_height": "check the units of line_height, line_width and section_area",
    "line_width": "check the units of line_width and plate_width",
    "gap": "check the units of gap and plate_gap",
    "resistance": "check the units of resistance, line_length, line_height and line_width",
}


def _outside(
    typed: TypedCells, ratio: pd.Series, bounds: tuple[float, float], column: str, what: str
) -> list[Problem]:
    rows = ratio.index[(ratio < bounds[0]) | (ratio > bounds[1])]
    return at_rows(
        rows.tolist(),
        lambda row: Problem(
            file=typed.file,
            what=what.format(ratio[row]),
            mend=_PARTNERS[column],
            row=row,
            column=column,
            value=typed.as_typed(column, row),
            kind=what.replace("{:.2g}", "impossible").replace("{:.3g}", "impossibly many"),
        ),
    )


# doubtful ---------------------------------------------------------------------------------------


def doubts(prints: pd.DataFrame, cells: pd.DataFrame, units: Units) -> tuple[str, ...]:
    """What is possible but so unusual that a wrong unit is likelier, one sentence each.

    Parameters
    ----------
    prints, cells : DataFrame
        As `Trial.prints` and `Trial.cells`.
    units : Units
        Of the trial file, in which a wrong unit is seen best.
    """
    measured = {name: group.set_index("print")["mean"] for name, group in cells.groupby("quantity")}
    none = pd.Series(dtype=float)
    height, width = (np.exp(measured.get(name, none)) for name in ("line_height", "line_width"))
    factor = measured.get("section_ratio", none)
    typical = DOME_SECTION_FACTOR if factor.empty else float(factor.median())
    resistivity = np.exp(measured.get("per_section", none).dropna()) * typical * 1e-12
    volume = prints["cell_volume"]
    found = [
        _doubt(factor, SECTION_FACTOR, "section factor (area over height times width)"),
        _doubt(height, _HEIGHT, "line height", units.length),
        _doubt(typical * height / volume.reindex(height.index), (0.0, _DRY_SHARE), _SHARE),
        _doubt(width, _WIDTH, "line width", units.length),
        _doubt(_gain(cells), _LINE_GAIN, "line width over its width on the plate"),
        _doubt(_gap_ratio(cells), _GAP_RATIO, "gap over its width on the plate"),
        _doubt(resistivity / BULK_RESISTIVITY, _RESISTIVITY, "resistivity over that of bulk silver"),
        _doubt(prints["speed"], _SPEED, "speed", units.speed),
        _doubt(volume, _CELL_VOLUME, "cell volume", units.volume),
        _doubt(prints["pressure"], (0.0, _PRESSURE[units.pressure.kept]), "pressure", units.pressure),
    ]
    return tuple(sentence for sentence in (*found, _foot_rules(prints)) if sentence)


def _foot_rules(prints: pd.DataFrame) -> str | None:
    """That lines were measured down to different feet, where it is said."""
    counts = prints["foot_rule"].value_counts()
    if len(counts) < 2:
        return None
    rules = [f"“{shown(rule)}” ({counted(int(count), 'print', 'prints')})" for rule, count in counts.items()]
    return (
        f"widths and gaps were measured by different foot rules: {listed(rules)}; they are not alike: measure all scans "
        "by one rule"
    )


_SHARE = "dry height (µm) over cell volume (cm³/m²)"
_PLAIN = Unit("", "")


def _gain(cells: pd.DataFrame) -> pd.Series:
    lines = cells[cells["quantity"] == "line_width"].set_index("print")
    return lines["mean"].astype(float).apply(np.exp) / lines["plate_width"].astype(float)


def _gap_ratio(cells: pd.DataFrame) -> pd.Series:
    gaps = cells[(cells["quantity"] == "gap_closure") & (cells["count"] > 0)].set_index("print")
    return 1.0 - gaps["mean"].astype(float) / gaps["plate_gap"].astype(float)


def _doubt(values: pd.Series, usual: tuple[float, float], what: str, unit: Unit = _PLAIN) -> str | None:
    out = values[(values < usual[0]) | (values > usual[1])]
    if out.empty:
        return None
    low, high = (f"{unit.of(bound):.3g}" for bound in (out.min(), out.max()))
    span = low if low == high else f"{low} to {high}"
    least, most = (f"{unit.of(bound):.4g}" for bound in usual)
    limits = f"{least} to {most}" if usual[0] else f"at most {most}"
    name = f" {unit.name}" if unit.name else ""
    names = list(dict.fromkeys(out.index))
    of = f"print {first_few(names)}" if len(names) == 1 else f"{len(names)} prints ({first_few(names, 3)})"
    return (
        f"{what} of {of} is {span}{name}, but {limits}{name} is typical: "
        "check the units in the file before relying on any result"
    )
