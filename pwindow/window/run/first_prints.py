"""What to measure on the first prints of a run, and between which limits it must lie.

The mean of n features of a new print differs from its surface by what is not known of the surface, by a
make-ready, a print and n features of its own, and by what the settings drift within their tolerances:

    variance = a'(C + M + P)a + Σ a² F / n + drift²,

the quantity being a'Y + c as in `pwindow.window.requirements.quantities`. The limits of all measures together are kept
by 95 of 100 first prints or more (Bonferroni), as far as the process is as it was in the trial.

What the part needs is another thing. A requirement on what is measured, or on what goes up and down with it,
is a limit on the average. A requirement on every one of N gaps is a limit on the average that lies inside by
what the worst of N is off it, so that the worst of N is inside with a probability of `SURE`:

    reach = m σ + t √(v + σ²/n),

m σ and v the mean and variance of the worst of N about the print's mean, as in `pwindow.window.requirements.limits`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtrit

from pwindow.conductors.line import log_resistance_constant
from pwindow.product import Requirement
from pwindow.surfaces.posterior.joint import Predictive
from pwindow.window.requirements.limits import Limits
from pwindow.window.requirements.quantities import Quantity, gap_count
from pwindow.window.requirements.tolerances import drifts
from pwindow.window.window import Window
from pwindow.wording import METRIC, Units, counted, limit_words

LEVEL = 0.95
MAKE_READIES = 3
"""Make-readies to confirm with: common practice, no source; the change they detect is stated beside them."""
NOTICED = 0.8
SURE = 0.95
_DRAWS = 40_000  # a stop rate of 10 % then has a standard error of 0.15 points
_LONG = ("line_resistance", "sheet_resistance")  # the mean of a whole print: features average out
_LABELS = {"line_height": ("line height", "µm"), "line_width": ("line width", "µm"), "gap": ("gap", "µm")}


@dataclass(frozen=True, kw_only=True)
class Need:
    """What one requirement needs of the average of a measure.

    Attributes
    ----------
    requirement : Requirement
    own : bool
        Whether it is of the measure itself, and not of something that the measure enters.
    unit : str
        Of the measure.
    low, high : float
        Ends of the average; infinite where there is none.
    """

    requirement: Requirement
    own: bool
    unit: str
    low: float
    high: float

    def words(self, units: Units = METRIC) -> str:
        """The need as people say it."""
        unit, asked = units.of(self.unit), self.requirement
        average = limit_words(unit.of(self.low), unit.of(self.high), unit.name)
        if not self.own:
            return f"{average}, for {asked.wording(units)}"
        ends = unit.of(_or(asked.least, -np.inf)), unit.of(_or(asked.most, np.inf))
        limits, every = limit_words(*ends, unit.name), _every(asked)
        if every is None:
            return limits
        which = f"every one of {every}" if every > 1 else "the gap"
        return f"{which}: {limits}, so average {average}"


@dataclass(frozen=True, kw_only=True)
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
        Lasting change that those detect with a probability of `NOTICED`, in `noticed_unit`.
    noticed_unit : str
        "%" where the logarithm is modelled.
    least, most : float or None
        What the product requires: of every feature where it requires something of every gap.
    need_low, need_high : float
        What the part needs of the average; infinite where it needs nothing.
    needs : tuple of Need
        What asks for that: the requirements that set an end.
    every : int or None
        How many features of a part each must meet the requirement; None where only the average must.
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
    need_low: float
    need_high: float
    needs: tuple[Need, ...]
    every: int | None

    @property
    def accepted(self) -> tuple[float, float] | None:
        """Averages that are as in the trial and that the part needs; None where no average is both."""
        low, high = max(self.low, self.need_low), min(self.high, self.need_high)
        return (low, high) if low <= high else None

    @property
    def measured(self) -> str:
        """How many features of which kind are measured on a print, such as "4 lines"."""
        of_gaps = self.name == "gap"
        return counted(self.features, *(("gap", "gaps") if of_gaps else ("line", "lines")))

    @property
    def each(self) -> bool:
        """Whether single features must be checked as well as their average."""
        return self.every is not None and self.features > 1

    def shown_in(self, units: Units) -> FirstPrint:
        """The same with its numbers in other units."""
        unit = units.of(self.unit)
        noticed = units.of(self.noticed_unit)
        names = ("expected", "low", "high", "several_low", "several_high", "need_low", "need_high")
        changed: dict[str, Any] = {name: unit.of(getattr(self, name)) for name in names}
        changed |= {
            end: unit.of(limit) for end in ("least", "most") if (limit := getattr(self, end)) is not None
        }
        return replace(
            self,
            unit=unit.name,
            noticed=noticed.of(self.noticed),
            noticed_unit=noticed.name,
            **changed,
        )

    def to_dict(self) -> dict:
        """The same as plain values."""
        return (
            asdict(self)
            | {"needs": tuple(need.words() for need in self.needs)}
            | {
                name: None if np.isinf(value) else value
                for name, value in (("need_low", self.need_low), ("need_high", self.need_high))
            }
            | {"accepted": self.accepted}
        )


@dataclass(frozen=True)
class Stops:
    """How often a first print of a press that prints as in the trial is stopped, as probabilities.

    Attributes
    ----------
    trial : float
        A value lies outside what the trial leads to expect.
    part : float
        A value lies outside what the part needs, or a gap is bridged.
    either : float
        One or the other.
    """

    trial: float
    part: float
    either: float


@dataclass(frozen=True, kw_only=True)
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


def stops(window: Window, setup: pd.DataFrame, first: tuple[FirstPrint, ...]) -> Stops:
    """How often first prints of a new make-ready are stopped though the process has not changed, by simulation.

    Parameters
    ----------
    window : Window
    setup : DataFrame
        One row, as `Window.setups` makes it.
    first : tuple of FirstPrint
        Of that set-up.
    """
    random = np.random.default_rng(20_250)
    joint = window.joint
    prints = _drawn_prints(window, setup, random)
    ink = random.normal(0.0, window.study.ink.resistivity_spread, _DRAWS)
    off_trial, off_part = np.zeros((2, _DRAWS), dtype=bool)
    for measure, one in zip(_measures(window, setup), first):
        weights = np.array([measure.quantity.weights.get(name, 0.0) for name in joint.names])
        own = np.sqrt(np.square(weights) @ np.square(joint.between)) * (measure.name not in _LONG)
        single = random.normal(0.0, own, (_DRAWS, one.features)) if own else np.zeros((_DRAWS, 1))
        single += (prints @ weights + measure.quantity.constant)[:, None]
        if measure.quantity.error == "ink":
            single += ink[:, None]
        average = measure.quantity.natural(single.mean(axis=1))
        off_trial |= (average < one.low) | (average > one.high)
        off_part |= (average < one.need_low) | (average > one.need_high)
        if one.each:
            values = measure.quantity.natural(single)
            off_part |= (_or(one.least, -np.inf) > values).any(axis=1)
            off_part |= (_or(one.most, np.inf) < values).any(axis=1)
    off_part |= _bridged(window, setup, prints, random)
    return Stops(*(float(off.mean()) for off in (off_trial, off_part, off_trial | off_part)))


def _or(limit: float | None, otherwise: float) -> float:
    return otherwise if limit is None else limit


def _drawn_prints(window: Window, setup: pd.DataFrame, random: np.random.Generator) -> np.ndarray:
    """Means of prints of new make-readies, settings drifting within their tolerances, shape (n, q)."""
    joint = window.joint
    found = joint.predict(setup)
    spread = random.multivariate_normal(np.zeros(len(joint.names)), found.scale[0], _DRAWS)
    if np.isfinite(found.df):
        spread /= np.sqrt(random.chisquare(found.df, _DRAWS) / found.df)[:, None]
    for drift in drifts(window.tolerances, joint, setup):
        spread += np.outer(random.uniform(-1.0, 1.0, _DRAWS), drift[0])
    return found.mean[0] + spread


def _bridged(
    window: Window, setup: pd.DataFrame, prints: np.ndarray, random: np.random.Generator
) -> np.ndarray:
    """Whether a gap of each print is bridged."""
    if gaps_to_inspect(window) is None:
        return np.zeros(len(prints), dtype=bool)
    at = window.joint.names.index("gap_closure")
    largest = ndtri(random.random(len(prints)) ** (1.0 / gap_count(window.product, window.surfaces)))
    closed = prints[:, at] + window.joint.between[at] * largest
    return closed >= float(setup["plate_gap"].iloc[0])


def _measures(window: Window, setup: pd.DataFrame) -> list[_Measure]:
    """What the product requires and can be measured on a print, then what else the trial measured."""
    plate = str(setup["plate"].iloc[0] or "")
    quantities = window.limits[plate].quantities
    counts_only = window.surfaces.counts_only
    found = [
        _Measure(
            name=requirement.name,
            label=requirement.kind.label,
            unit=requirement.kind.unit,
            quantity=quantities[requirement.name],
            features=_features(window, requirement.name),
            of=_of(requirement),
            requirement=requirement,
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
            line = Quantity(weights={name: 1.0}, constant=0.0, natural=np.exp, modelled=np.log)
            found.append(_measure(window, name, line))
    gap = float(setup["plate_gap"].iloc[0])
    if "gap_closure" in surfaces.by_name and not surfaces.counts_only and np.isfinite(gap):
        closure = Quantity(
            weights={"gap_closure": 1.0},
            constant=0.0,
            natural=lambda c: gap - c,
            modelled=lambda g: gap - g,
            falling=True,
        )
        found.append(_measure(window, "gap", closure))
    if not {one.name for one in window.product.requirements} & set(_LONG):
        found += _resistance(window)
    return found


def _measure(window: Window, name: str, quantity: Quantity) -> _Measure:
    label, unit = _LABELS[name]
    return _Measure(name=name, label=label, unit=unit, quantity=quantity, features=_features(window, name))


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
        weights={"line_height": -1.0, "line_width": -1.0, "resistivity": 1.0},
        constant=log_resistance_constant(length, surfaces.section_factor),
        natural=np.exp,
        modelled=np.log,
    )
    features = _features(window, "resistivity")
    return [
        _Measure(
            name="resistance",
            label="resistance",
            unit="Ω",
            quantity=line,
            features=features,
            of=f"of {length:g} mm of line",
        )
    ]


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
    shared, own = _variances(window, setup, one, weights, found)
    wide, several = (np.sqrt(shared + own / count) for count in (1, MAKE_READIES))
    reach = stdtrit(joint.df, 0.5 + level / 2)
    low, high = _ends(line, mean, reach * wide)
    several_low, several_high = _ends(line, mean, reach * several)
    logs = "gap_closure" not in line.weights
    shift = (reach + stdtrit(joint.df, NOTICED)) * several
    expected, noticed = float(line.natural(mean)), float(line.natural(mean + shift))
    requirement = one.requirement
    need_low, need_high, needs = _need(window, setup, one)
    return FirstPrint(
        name=one.name,
        label=one.label,
        unit=one.unit,
        features=one.features,
        of=one.of,
        expected=expected,
        low=low,
        high=high,
        several_low=several_low,
        several_high=several_high,
        noticed=100.0 * (noticed / expected - 1.0) if logs else abs(noticed - expected),
        noticed_unit="%" if logs else one.unit,
        least=None if requirement is None else requirement.least,
        most=None if requirement is None else requirement.most,
        need_low=need_low,
        need_high=need_high,
        needs=needs,
        every=_every(requirement),
    )


def _every(requirement: Requirement | None) -> int | None:
    if requirement is None or requirement.name != "gap":
        return None
    return int(requirement.parameters.get("count", 1))


def _need(window: Window, setup: pd.DataFrame, one: _Measure) -> tuple[float, float, tuple[Need, ...]]:
    """What the part needs of the average of a measure: lowest, highest, and what asks for that."""
    limits = window.limits[str(setup["plate"].iloc[0] or "")]
    ends = {
        requirement.name: _average_ends(window, limits, requirement, one)
        for requirement in window.product.requirements
        if limits.quantities[requirement.name].weights == one.quantity.weights
    }
    low = max((each[0] for each in ends.values()), default=-np.inf)
    high = min((each[1] for each in ends.values()), default=np.inf)
    needs = [
        Need(
            requirement=requirement,
            own=one.requirement is requirement,
            unit=one.unit,
            low=ends[requirement.name][0],
            high=ends[requirement.name][1],
        )
        for requirement in window.product.requirements
        if requirement.name in ends and _sets_an_end(ends[requirement.name], low, high)
    ]
    return low, high, tuple(needs)


def _sets_an_end(ends: tuple[float, float], low: float, high: float) -> bool:
    return ends[0] == low > -np.inf or ends[1] == high < np.inf


def _average_ends(
    window: Window, limits: Limits, requirement: Requirement, one: _Measure
) -> tuple[float, float]:
    """Lowest and highest average of a measure with which a requirement is met."""
    lower, upper = -np.inf, np.inf
    for row, limit in zip(limits.rows, limits.limits):
        if limit.requirement == requirement.name:
            apart = one.quantity.constant - limit.quantity.constant
            guard = _guard(window, limits.errors[row, row], one) if requirement.name == "gap" else 0.0
            lower = max(lower, limit.lower + apart + guard)
            upper = min(upper, limit.upper + apart - guard)
    return _natural_ends(one.quantity, lower, upper)


def _natural_ends(line: Quantity, lower: float, upper: float) -> tuple[float, float]:
    """Ends on the modelled scale, which may be infinite, in the unit of the quantity."""
    if line.falling:
        lower, upper = upper, lower
    low = float(line.natural(lower)) if np.isfinite(lower) else -np.inf
    return low, float(line.natural(upper)) if np.isfinite(upper) else np.inf


def _guard(window: Window, error: float, one: _Measure) -> float:
    """How much farther inside the average must be than the worst of N is off it on average."""
    joint = window.joint
    average = joint.between[joint.names.index("gap_closure")] ** 2 / one.features
    return float(stdtrit(joint.df, SURE) * np.sqrt(error + average))


def _variances(
    window: Window, setup: pd.DataFrame, one: _Measure, weights: np.ndarray, found: Predictive
) -> tuple[float, float]:
    """What all prints of a set-up share, and what each make-ready with one print adds."""
    joint = window.surfaces.joint
    own = float(weights @ found.spread[0] @ weights)
    shared = max(float(weights @ found.scale[0] @ weights) - own, 0.0)
    if one.quantity.error == "ink":
        shared += window.study.ink.resistivity_spread**2
    for drift in drifts(window.tolerances, joint, setup):
        shared += float(drift[0] @ weights) ** 2 / 3.0
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
