"""What the trade-offs show of a set-up: the limited quantities, the line, the gap and the silver."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pwindow.conductors.silver import line_length
from pwindow.product import REQUIREMENT_KINDS, Requirement
from pwindow.study import DENSE_SILVER
from pwindow.window.requirements.quantities import Quantity, quantity, silver_per_line
from pwindow.window.window import Window

INTERVALS = ("mean", "mean_ci_low", "mean_ci_high", "obs_ci_low", "obs_ci_high")
"""Ends of the columns of a quantity: predicted, 95 % interval of the mean, 95 % interval of the next print."""
SILVER, SILVER_OF_AREA = "silver", "silver_of_area"
CONFORMANCE = "conformance"
_MEAN_GAP = "average gap on a print"
_COARSE_POINTS, _COARSE_ERROR, _COARSE_LINES = 499, 2e-4, 4
_DIGIT = 1e-3  # conformances are printed to a tenth of a per cent


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A quantity that is shown, with its name, its words, its unit, and its key in tables."""

    name: str
    label: str
    unit: str
    key: str
    quantity: Quantity
    requirement: Requirement | None = None

    @property
    def columns(self) -> tuple[str, ...]:
        """Its columns in tables, ends as of `INTERVALS`."""
        return tuple(f"{self.key}_{end}" for end in INTERVALS)


def shown_quantities(window: Window, plate: str) -> dict[str, Shown]:
    """Every quantity that can be shown of a set-up on a plate process, by name.

    What the product limits comes first; then line height and width, the gap where its plate gap is
    known, the resistance of a millimetre of line, and silver as far as the trial gives them.
    """
    limited = {requirement.name: requirement for requirement in window.product.requirements}
    found = {name: _shown(window, plate, requirement) for name, requirement in limited.items()}
    for requirement in _beside(window, plate):
        if requirement.name not in found:
            found[requirement.name] = replace(_shown(window, plate, requirement), requirement=None)
    if "line_resistance" in found and "line_resistance" not in limited:
        found["line_resistance"] = replace(
            found["line_resistance"],
            key="resistance_ohm_mm",
            label="resistance per length of line",
            unit="Ω/mm",
        )
    return found | _silver(window)


def _beside(window: Window, plate: str) -> list[Requirement]:
    """Requirements without limits on what the product need not limit."""
    responses = window.surfaces.by_name
    names = [name for name in ("line_height", "line_width") if name in responses]
    if "gap_closure" in responses and not window.surfaces.counts_only and _gap_known(window, plate):
        names.append("gap")
    found = [Requirement(name) for name in names]
    resistivity = "resistivity" in responses or window.study.ink.resistivity is not None
    if resistivity and {"line_height", "line_width"} <= set(responses):
        found.append(Requirement("line_resistance", parameters={"length": 1.0}))
    return found


def _gap_known(window: Window, plate: str) -> bool:
    low, high = window.surfaces.region.covariates[plate].get("plate_gap", (np.nan, np.nan))
    return window.product.pattern.plate_gap is not None or low == high


def _shown(window: Window, plate: str, requirement: Requirement) -> Shown:
    gap = window.patterns[plate]["plate_gap"]
    found = quantity(requirement, window.product, window.surfaces, window.study.ink, gap)
    kind = REQUIREMENT_KINDS[requirement.name]
    label = _MEAN_GAP if requirement.name == "gap" else kind.label
    return Shown(
        name=requirement.name,
        label=label,
        unit=kind.unit,
        key=kind.key,
        quantity=found,
        requirement=requirement,
    )


def limits_of_mean(window: Window, plate: str, requirement: str) -> dict[str, float]:
    """Where a print's mean must lie for a requirement, in its unit: by ``least`` and ``most``.

    None for a limit that every mean meets, nor for gaps that were counted and not measured. A limit that
    each of N gaps must meet is a tighter one for their mean: by what the worst of N is expected to be off
    it, as `worst_of` has it.

    Parameters
    ----------
    window : Window
    plate : str
    requirement : str
        Name of a requirement of the product.
    """
    limits = window.limits[plate]
    base = limits.quantities[requirement]
    found: dict[str, float] = {}
    if requirement == "gap" and window.surfaces.counts_only:
        return found
    for limit in limits.limits:
        if limit.requirement == requirement:
            off = limit.quantity.constant - base.constant
            ends = {"least": limit.lower - off, "most": limit.upper - off}
            if base.falling:
                ends = {"least": limit.upper - off, "most": limit.lower - off}
            found |= {side: float(base.natural(end)) for side, end in ends.items() if np.isfinite(end)}
    return found


def _silver(window: Window) -> dict[str, Shown]:
    if not {"line_height", "line_width"} <= set(window.surfaces.by_name):
        return {}
    per_line = silver_per_line(window.surfaces, window.study.ink)
    found = {
        SILVER: Shown(
            name=SILVER, label="silver per length of line", unit="mg/m", key="silver_mg_m", quantity=per_line
        )
    }
    pattern = window.product.pattern
    if pattern.pitch is not None:
        grams = np.log(line_length(pattern.pitch, pattern.layout) * 1e-3)
        of_area = replace(per_line, constant=per_line.constant + float(grams))
        found[SILVER_OF_AREA] = Shown(
            name=SILVER_OF_AREA,
            label="silver per printed area",
            unit="g/m²",
            key="silver_g_m2",
            quantity=of_area,
        )
    return found


def silver_notes(window: Window) -> tuple[str, ...]:
    """What readers of silver use must know."""
    notes = []
    if window.study.ink.silver_density is None:
        notes.append(
            f"the study does not state the silver density of the dry line: dense silver, {DENSE_SILVER} g/cm³, is assumed, "
            'which is the upper limit; add, for example, [ink] silver_density = "7.4 g/cm3" to the study'
        )
    pattern = window.product.pattern
    if pattern.pitch is None:
        notes.append(
            "the product states no pitch, so silver is given per length of line, not per area: one measured line and "
            "gap need not be the whole pattern"
        )
    elif pattern.layout == "square mesh":
        notes.append("the crossings of the mesh are counted twice, which overstates silver by a few per cent")
    return tuple(notes)


def predict_shown(window: Window, setups: pd.DataFrame, shown: Mapping[str, Shown]) -> pd.DataFrame:
    """Quantities of the next print at set-ups of one plate process; columns as `Shown.columns` names them.

    Parameters
    ----------
    window : Window
    setups : DataFrame
        As `Window.setups` makes them.
    shown : mapping of str to Shown
        As `shown_quantities` gives it for the plate process.
    """
    found = window.predict({name: one.quantity for name, one in shown.items()}, setups, most=False)
    columns = {
        column: found[name][end].to_numpy()
        for name, one in shown.items()
        for column, end in zip(one.columns, INTERVALS)
    }
    return pd.DataFrame(columns, index=range(len(setups)))


def conformances(window: Window, setups: pd.DataFrame) -> pd.DataFrame:
    """Conformances at many set-ups of one plate process, to the digits that are printed.

    Those of `Window.conformance` at a quarter of its points, and at all of them where the difference
    could change the last printed digit or on which side of the assurance level a set-up is; at all of
    them for products with more than four limited lines, where few points err more.

    Returns
    -------
    DataFrame
        ``conformance`` (joint), ``conformance_…`` of each requirement, ``limiting``.
    """
    plate = str(setups["plate"].iloc[0] or "")
    if len(window.limits[plate].forms) > _COARSE_LINES:
        return named_conformances(window.conformance(setups))
    table = window.conformance(setups, _COARSE_POINTS)
    values = table.to_numpy()
    from_edge = np.abs(values / _DIGIT % 1.0 - 0.5) * _DIGIT
    near = (from_edge < _COARSE_ERROR) | (np.abs(values - window.level) < _COARSE_ERROR)
    again = np.flatnonzero(near.any(axis=1))
    if len(again):
        table.iloc[again] = window.conformance(setups.iloc[again]).to_numpy()
    return named_conformances(table)


def named_conformances(table: pd.DataFrame) -> pd.DataFrame:
    """A table of `Window.conformance` with columns named for tables of other numbers, and what limits."""
    requirements = table.drop(columns="joint")
    named = requirements.add_prefix(f"{CONFORMANCE}_")
    named.insert(0, CONFORMANCE, table["joint"])
    return named.assign(limiting=requirements.idxmin(axis=1))
