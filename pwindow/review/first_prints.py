"""What to measure on the first prints of a run, and between which limits it must lie.

The mean of n features of a new print differs from its surface by what is not known of the surface, by a
make-ready, a print and n features of its own, and by what the settings drift within their tolerances:

    variance = a'(C + M + P)a + Σ a² F / n + drift²,

the quantity being a'Y + c as in `pwindow.window.quantities`. The limits of all measures together are kept
by 95 of 100 first prints or more (Bonferroni), as far as the process is as it was in the trial.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd
from scipy import stats

from pwindow.conductors.line import log_resistance_constant
from pwindow.product import Requirement
from pwindow.window.quantities import Quantity
from pwindow.window.window import Window

LEVEL = 0.95
MAKE_READIES = 3
"""Make-readies to confirm with: common practice, no source; what they notice is told beside them."""
NOTICED = 0.8
_LONG = ("line_resistance", "sheet_resistance")  # the mean of a whole print: features average out
_LABELS = {"line_height": ("line height", "µm"), "line_width": ("line width", "µm"), "gap": ("gap", "µm")}


@dataclass(frozen=True)
class FirstPrint:
    """One thing to measure on first prints.

    Attributes
    ----------
    name, label, unit : str
    features : int
        How many are measured on a print and averaged.
    of : str
        Of what, such as "80 mm of line"; "" where the label says it.
    expected, low, high : float
        Of the first print, in `unit`.
    several_low, several_high : float
        Of the mean over `MAKE_READIES` make-readies with one print each.
    noticed : float
        Lasting change that those notice with a probability of `NOTICED`, in `noticed_unit`.
    noticed_unit : str
        "%" where the logarithm is modelled.
    least, most : float or None
        What the product requires.
    """

    name: str
    label: str
    unit: str
    features: int
    of: str
    expected: float
    low: float
    high: float
    several_low: float
    several_high: float
    noticed: float
    noticed_unit: str
    least: float | None
    most: float | None

    def to_dict(self) -> dict:
        """The same as plain values."""
        return asdict(self)


@dataclass(frozen=True)
class _Measure:
    """A quantity of which `features` on a print are measured."""

    name: str
    label: str
    unit: str
    quantity: Quantity
    features: int
    of: str = ""
    requirement: Requirement | None = None


def first_prints(window: Window, setup: pd.DataFrame, level: float = LEVEL) -> tuple[FirstPrint, ...]:
    """What to measure at a set-up and where it must lie.

    Parameters
    ----------
    window : Window
    setup : DataFrame
        One row, as `Window.setups` makes it.
    level : float
        Probability that all measures of a first print lie within their limits.
    """
    measures = _measures(window, setup)
    return tuple(_limits(window, setup, one, 1.0 - (1.0 - level) / len(measures)) for one in measures)


def _measures(window: Window, setup: pd.DataFrame) -> list[_Measure]:
    """What the product requires and can be measured on a print, then what else the trial measured."""
    plate = str(setup["plate"].iloc[0] or "")
    quantities = window.limits[plate].quantities
    counts_only = window.surfaces.counts_only
    found = [
        _Measure(
            requirement.name,
            requirement.kind.label,
            requirement.kind.unit,
            quantities[requirement.name],
            _features(window, requirement.name),
            _of(requirement),
            requirement,
        )
        for requirement in window.product.requirements
        if requirement.name in (*_LONG, *_LABELS) and not (requirement.name == "gap" and counts_only)
    ]
    known = {one.name for one in found}
    return found + [one for one in _also_measured(window, setup) if one.name not in known]


def _of(requirement: Requirement) -> str:
    length = requirement.parameters.get("length")
    return f"over {length:g} mm" if length is not None and requirement.name in _LONG else ""


def _also_measured(window: Window, setup: pd.DataFrame) -> list[_Measure]:
    surfaces, found = window.surfaces, []
    for name in ("line_height", "line_width"):
        if name in surfaces.by_name:
            line = Quantity({name: 1.0}, 0.0, np.exp, np.log)
            found.append(_Measure(name, *_LABELS[name], line, _features(window, name)))
    gap = float(setup["plate_gap"].iloc[0])
    if "gap_closure" in surfaces.by_name and not surfaces.counts_only and np.isfinite(gap):
        closure = Quantity({"gap_closure": 1.0}, 0.0, lambda c: gap - c, lambda g: gap - g, falling=True)
        found.append(_Measure("gap", *_LABELS["gap"], closure, _features(window, "gap")))
    if not {one.name for one in window.product.requirements} & set(_LONG):
        found += _resistance(window)
    return found


def _resistance(window: Window) -> list[_Measure]:
    """Resistance of the length of line that the trial measured, where it was one length."""
    surfaces = window.surfaces
    if not {"line_height", "line_width", "resistivity"} <= set(surfaces.by_name):
        return []
    lengths = surfaces.trial.features["line_length"].dropna().unique()
    if len(lengths) != 1:
        return []
    length = float(lengths[0])
    line = Quantity(
        {"line_height": -1.0, "line_width": -1.0, "resistivity": 1.0},
        log_resistance_constant(length, surfaces.section_factor),
        np.exp,
        np.log,
    )
    features = _features(window, "resistivity")
    return [_Measure("resistance", "resistance", "Ω", line, features, f"of {length:g} mm of line")]


def _features(window: Window, name: str) -> int:
    """As many as the trial measured on a print, as a rule; one long line."""
    if name in _LONG:
        return 1
    response = "gap_closure" if name == "gap" else name
    return max(1, round(window.surfaces.by_name[response].components.typical_count))


def _limits(window: Window, setup: pd.DataFrame, one: _Measure, level: float) -> FirstPrint:
    line, joint = one.quantity, window.surfaces.joint
    weights = np.array([line.weights.get(name, 0.0) for name in joint.names])
    found = joint.predict(setup)
    mean = float(found.mean[0] @ weights + line.constant)
    shared, own = _variances(window, setup, one, weights, found.scale[0])
    wide, several = (np.sqrt(shared + own / count) for count in (1, MAKE_READIES))
    reach = stats.t.ppf(0.5 + level / 2, joint.df)
    ends = [_ends(line, mean, reach * deviation) for deviation in (wide, several)]
    logs = "gap_closure" not in line.weights
    shift = float((reach + stats.t.ppf(NOTICED, joint.df)) * several)
    requirement = one.requirement
    return FirstPrint(
        one.name,
        one.label,
        one.unit,
        one.features,
        one.of,
        float(line.natural(mean)),
        *ends[0],
        *ends[1],
        100.0 * float(np.expm1(shift)) if logs else shift,
        "%" if logs else one.unit,
        None if requirement is None else requirement.least,
        None if requirement is None else requirement.most,
    )


def _variances(
    window: Window, setup: pd.DataFrame, one: _Measure, weights: np.ndarray, scale: np.ndarray
) -> tuple[float, float]:
    """What all prints of a set-up share, and what each make-ready with one print adds."""
    joint = window.surfaces.joint
    own = float(weights @ joint.spread @ weights)
    shared = max(float(weights @ scale @ weights) - own, 0.0)
    if one.quantity.error == "ink":
        shared += window.study.ink.resistivity_spread**2
    for tolerance in window.tolerances:
        shared += float(tolerance.drift(joint, setup)[0] @ weights) ** 2 / 3.0
    if one.name not in _LONG:
        own += float((weights**2) @ np.square(joint.between)) / one.features
    return shared, own


def _ends(line: Quantity, mean: float, reach: float) -> tuple[float, float]:
    ends = float(line.natural(mean - reach)), float(line.natural(mean + reach))
    return min(ends), max(ends)


def gaps_to_inspect(window: Window) -> int | None:
    """Gaps of one part, none of which may be bridged; None where no gap need stay open."""
    for one in window.product.requirements:
        if one.name == "gap" and one.least is not None:
            return int(one.parameters.get("count", 1))
    return None
