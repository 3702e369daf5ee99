"""Two or more set-ups beside each other, with what sets them apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from pwindow.product import REQUIREMENT_KINDS
from pwindow.window.setup import Setup
from pwindow.window.trade_offs.shown import (
    CONFORMANCE,
    INTERVALS,
    Shown,
    named_conformances,
    predict_shown,
    shown_quantities,
)
from pwindow.window.window import Window

_STEP = 1e-6  # on the modelled scale, for the slope of a quantity in its own unit
_PARTS = ("value", *INTERVALS[1:])


def side_by_side(window: Window, setups: Sequence[Setup], level: float = 0.95) -> pd.DataFrame:
    """Set-ups in columns: settings, predictions, conformances, what limits, silver.

    Parameters
    ----------
    window : Window
    setups : sequence of Setup
        In the trial region or not: row ``in_trial_region`` says which, and outside nothing is predicted.
    level : float
        Of the intervals.

    Returns
    -------
    DataFrame
        One row per result: ``what`` (its name), ``label``, ``unit``. For each set-up, counted from 1:
        ``setup_1`` (number, text or truth), and for predictions ``setup_1_mean_ci_low``, …,
        ``setup_1_obs_ci_high``. From the second on ``setup_2_difference`` to the first and, for
        predictions, ``setup_2_difference_low`` and ``…_high``: the interval of the difference of the means
        over many prints, which know of one another through the surfaces. Differences of conformance
        probabilities are in percentage points. NaN where there is no number.
    """
    members = [_Member(window, setup) for setup in setups]
    first = members[0]
    table = pd.DataFrame(first.labels)
    for at, member in enumerate(members, 1):
        quantities = [member.quantities.get(name, {}) for name in first.quantities]
        table[f"setup_{at}"] = pd.Series([one.get("value", np.nan) for one in quantities], dtype=object)
        for part in _PARTS[1:]:
            table[f"setup_{at}_{part}"] = [one.get(part, np.nan) for one in quantities]
        if member is not first:
            for end, values in zip(("", "_low", "_high"), _differences(first, member, level)):
                table[f"setup_{at}_difference{end}"] = values
    return table


class _Member:
    """One set-up: what is stated of it, by name, as ``{"value": …, "mean_ci_low": …}``."""

    def __init__(self, window: Window, setup: Setup):
        self.window, self.setup, self.frame = window, setup, setup.frame(window)
        self.shown = shown_quantities(window, setup.plate)
        self.inside = bool(window.in_trial_region(self.frame)[0])
        self.quantities = self._settings() | self._predicted() | self._conformances()

    @property
    def labels(self) -> list[dict[str, str]]:
        """Names, words and units of the rows."""
        trial, found = self.window.surfaces.trial, []
        units = {
            "speed": "m/min", "cell_volume": "cm³/m²", "pressure": trial.pressure_unit,
        }  # fmt: skip
        for name in self.quantities:
            if name in self.shown:
                label, unit = self.shown[name].label, self.shown[name].unit
            elif name == CONFORMANCE:
                label, unit = "all requirements met", "1"
            elif name.startswith(CONFORMANCE):
                label = f"{REQUIREMENT_KINDS[name.removeprefix(f'{CONFORMANCE}_')].label} met"
                unit = "1"
            else:
                label, unit = _WORDS.get(name, name.replace("_", " ")), units.get(name, "")
            found.append({"what": name, "label": label, "unit": unit})
        return found

    def _settings(self) -> dict[str, dict]:
        one = self.setup
        settings = {
            "plate": one.plate, "roll": one.roll.label, "cell_volume": one.roll.cell_volume,
            "pressure": one.pressure, "speed": one.speed, "in_trial_region": self.inside,
        }  # fmt: skip
        return {name: {"value": value} for name, value in settings.items()}

    def _predicted(self) -> dict[str, dict]:
        if not self.inside:
            return {name: {} for name in self.shown}
        row = predict_shown(self.window, self.frame, self.shown).iloc[0]
        return {name: dict(zip(_PARTS, row[list(one.columns)])) for name, one in self.shown.items()}

    def _conformances(self) -> dict[str, dict]:
        requirements = [f"{CONFORMANCE}_{one.name}" for one in self.window.product.requirements]
        names = [CONFORMANCE, *requirements, "limiting"]
        if not self.inside:
            return {name: {} for name in names}
        row = named_conformances(self.window.conformance(self.frame)).iloc[0]
        return {name: {"value": row[name]} for name in names}


_WORDS = {
    "roll": "anilox roll",
    "plate": "plate process",
    "limiting": "limiting requirement",
    "speed": "press speed",
}


def _differences(
    first: _Member, other: _Member, level: float
) -> tuple[list[float], list[float], list[float]]:
    """Differences to the first set-up, and their interval where they are predicted."""
    found: list[tuple[float, float, float]] = []
    for name in first.quantities:
        one, two = (member.quantities.get(name, {}).get("value", np.nan) for member in (first, other))
        number = all(isinstance(value, (int, float)) and not isinstance(value, bool) for value in (one, two))
        if not number:
            found.append((np.nan,) * 3)
            continue
        difference = (two - one) * (100.0 if name.startswith(CONFORMANCE) else 1.0)
        reach = np.nan
        if name in first.shown and first.inside and other.inside:
            reach = _reach(first, other, first.shown[name], other.shown[name], level)
        found.append((difference, difference - reach, difference + reach))
    differences, lows, highs = zip(*found)
    return list(differences), list(lows), list(highs)


def _reach(first: _Member, other: _Member, one: Shown, two: Shown, level: float) -> float:
    """Half-width of the interval of a difference of means: the delta method on the joint coefficients.

    What a surface's form is found to miss is one departure, of one size at both set-ups.
    """
    joint = first.window.joint
    slopes, frames = (_slope(first, one), _slope(other, two)), (first.frame, other.frame)
    missed = [joint.missed(frame)[0] for frame in frames]
    gradients, variance = [], 0.0
    for at, (name, design) in enumerate(zip(joint.names, joint.designs)):
        weight = one.quantity.weights.get(name, 0.0)
        before, after = (slope * design.matrix(frame)[0] for slope, frame in zip(slopes, frames))
        gradients.append(weight * (after - before))
        variance += (weight * (slopes[1] * missed[1][at] - slopes[0] * missed[0][at])) ** 2
    for (i, j), block in joint.coupling.items():
        variance += (1.0 if i == j else 2.0) * float(gradients[i] @ block @ gradients[j])
    return float(stdtrit(joint.df, 0.5 + level / 2.0) * np.sqrt(max(variance, 0.0)))


def _slope(member: _Member, shown: Shown) -> float:
    """How fast a quantity moves in its own unit with its modelled scale, at a set-up's mean."""
    quantity, joint = shown.quantity, member.window.joint
    weights = np.array([quantity.weights.get(name, 0.0) for name in joint.names])
    at = float(joint.means(member.frame)[0] @ weights) + quantity.constant
    return float(quantity.natural(at + _STEP) - quantity.natural(at - _STEP)) / (2.0 * _STEP)
