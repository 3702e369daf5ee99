"""Where no set-up is assured: how close it comes, what conflicts, and what would do."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.product import Assurance, Product, Requirement
from pwindow.study import Roll
from pwindow.window.bands import Row, SpeedBand, bands_of
from pwindow.window.confidence import reached
from pwindow.window.conformance import conformance_probability
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.requirements.limits import Limits
from pwindow.window.search.maps import predictive_on_grid
from pwindow.window.search.starting import QUICK_ERROR, Candidates, StartingSetup, candidates, closest_setup
from pwindow.window.setup import Setup
from pwindow.window.trade_offs.sensitivities import Change, window_with, with_limit
from pwindow.window.window import Window, find_window
from pwindow.wording import METRIC, Units

_DIGITS = 3  # of a limit or a volume that would do
_FARTHEST = 30  # doublings of an upper limit
_FINE = 1e-3  # of the loosening that is searched for
_FURTHER = 12  # last digits that a rounded limit is loosened by until it is really enough
_SUREST, _COARSE_POINTS = 30, 499  # set-ups that are looked at closely, and how closely
_MOST_PERCENT = 99.9
_VOLUMES, _SPEEDS = 41, 61
_THINNED = 3  # of the set-ups one in so many tells what pairs of limits can reach


@dataclass(frozen=True)
class Side:
    """One limit of a requirement; `end` is 'least' or 'most'."""

    requirement: Requirement
    end: str

    @property
    def value(self) -> float:
        return getattr(self.requirement, self.end)

    def words(self, units: Units = METRIC) -> str:
        """The limit in words, such as "gap at least 16 µm"."""
        return self.at(self.value, units)

    def at(self, value: float, units: Units = METRIC) -> str:
        """The limit in words with another value."""
        kind = self.requirement.kind
        return f"{kind.label} at {self.end} {units.of(kind.unit).limit(value)}"


@dataclass(frozen=True)
class Missed:
    """One requirement at the closest set-up: 95 % prediction interval, and the probability of meeting it."""

    requirement: Requirement
    mean: float
    low: float
    high: float
    conformance: float


@dataclass(frozen=True)
class Reach:
    """The highest probability of meeting some limits in one print, at any set-up; `sides` are one or two."""

    sides: tuple[Side, ...]
    joint: float


@dataclass(frozen=True)
class Remedy:
    """A change with which a set-up is assured.

    Attributes
    ----------
    setup : Setup
        The fastest assured one; its roll is planned where there is none of that volume.
    joint : float
    """

    setup: Setup
    joint: float


@dataclass(frozen=True)
class Loosening:
    """The smallest loosening of one limit, all else unchanged, with which a set-up is assured.

    Attributes
    ----------
    side : Side
    value : float or None
        The limit, in the unit of its requirement; None where no value of it alone would do.
    remedy : Remedy or None
    """

    side: Side
    value: float | None = None
    remedy: Remedy | None = None


@dataclass(frozen=True)
class OtherPlate:
    """A plate process that was tried and that the product does not name; `why_not` where it cannot be judged."""

    plate: str
    remedy: Remedy | None = None
    why_not: str = ""


@dataclass(frozen=True, kw_only=True)
class Shortfall:
    """What there is to say where no set-up of the inventory is assured.

    Attributes
    ----------
    assurance : Assurance
        Asked for.
    pressure_unit : str
    closest : StartingSetup
    missed : tuple of Missed
    alone : tuple of Reach
        For each limit the most that is reached on its own.
    pairs : tuple of Reach
        For each two limits the most that is reached together, the lowest first.
    loosenings : tuple of Loosening
    volumes_tried : (float, float), cm³/m²
    volume : Remedy or None
        A roll that is not in the inventory, of a volume inside the tried range.
    plates : tuple of OtherPlate
    """

    assurance: Assurance
    pressure_unit: str
    closest: StartingSetup
    missed: tuple[Missed, ...]
    alone: tuple[Reach, ...]
    pairs: tuple[Reach, ...]
    loosenings: tuple[Loosening, ...]
    volumes_tried: tuple[float, float]
    volume: Remedy | None
    plates: tuple[OtherPlate, ...]

    @property
    def level(self) -> float:
        """Joint conformance probability asked for."""
        return self.assurance.level

    @property
    def out_of_reach(self) -> tuple[Reach, ...]:
        """Limits that no set-up meets with the assurance asked for, even alone."""
        return tuple(one for one in self.alone if one.joint < self.level)

    @property
    def conflict(self) -> Reach | None:
        """The two limits that can each be met alone, and together least; None where every two can be met."""
        beyond = [one.sides[0] for one in self.out_of_reach]
        able = (one for one in self.pairs if not any(side in beyond for side in one.sides))
        return next((one for one in able if one.joint < self.level), None)

    def to_frame(self) -> pd.DataFrame:
        """One row for each result: ``what``, ``of``, ``value`` in ``unit``, ``joint_conformance``, set-up."""
        rows: list[tuple[str, str, float, str, float, Setup | None]] = [
            ("closest set-up", "", np.nan, "", self.closest.joint, self.closest.setup)
        ]
        for reach in (*self.alone, *self.pairs):
            what = "limit alone" if len(reach.sides) == 1 else "two limits together"
            rows.append(
                (what, "; ".join(side.words() for side in reach.sides), np.nan, "", reach.joint, None)
            )
        for one in self.loosenings:
            value = math.nan if one.value is None else one.value
            unit = one.side.requirement.kind.unit
            rows.append(("limit that would do", one.side.words(), value, unit, *_of(one.remedy)))
        volume = math.nan if self.volume is None else self.volume.setup.roll.cell_volume
        rows.append(("cell volume that would do", "", volume, "cm³/m²", *_of(self.volume)))
        rows += [("plate that would do", one.plate, np.nan, "", *_of(one.remedy)) for one in self.plates]
        return pd.DataFrame(
            [(*head, *_settings(setup)) for *head, setup in rows],
            columns=[
                *("what", "of", "value", "unit", "joint_conformance"),
                *("roll", "plate", "cell_volume_cm3_m2", f"pressure_{self.pressure_unit}", "speed_m_min"),
            ],
        )


def _of(remedy: Remedy | None) -> tuple[float, Setup | None]:
    return (math.nan, None) if remedy is None else (remedy.joint, remedy.setup)


def _settings(setup: Setup | None) -> tuple:
    if setup is None:
        return "", "", np.nan, np.nan, np.nan
    return setup.roll.id, setup.plate, setup.roll.cell_volume, setup.pressure, setup.speed


def shortfall(
    window: Window, pressures: Sequence[float] | None = None, closest: StartingSetup | None = None
) -> Shortfall | None:
    """Work out what there is to say where no set-up is assured.

    Parameters
    ----------
    window : Window
        Without speed bands at these pressures.
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.
    closest : StartingSetup, optional
        As `closest_setup` finds it, where it is known already.

    Returns
    -------
    Shortfall or None
        None where no roll of the inventory lies in the trial region.
    """
    closest = closest or closest_setup(window, pressures)
    if closest is None:
        return None
    looked_at = candidates(window, pressures)
    sides = _sides(window.product)
    reached = {
        count: [_reach(window, looked_at, subset, closest.joint) for subset in combinations(sides, count)]
        for count in (1, 2)
    }
    volumes = window.surfaces.trial.prints["cell_volume"]
    return Shortfall(
        assurance=window.product.assurance,
        pressure_unit=window.surfaces.trial.pressure_unit,
        closest=closest,
        missed=_missed(window, closest.setup),
        alone=tuple(reached[1]),
        pairs=tuple(sorted(reached[2], key=lambda one: one.joint)),
        loosenings=tuple(_loosening(window, looked_at, side) for side in sides),
        volumes_tried=(float(volumes.min()), float(volumes.max())),
        volume=_other_volume(window, pressures),
        plates=tuple(_other_plates(window, pressures)),
    )


def _sides(product: Product) -> tuple[Side, ...]:
    return tuple(
        Side(requirement, end)
        for requirement in product.requirements
        for end in ("least", "most")
        if getattr(requirement, end) is not None
    )


def _missed(window: Window, setup: Setup) -> tuple[Missed, ...]:
    frame = setup.frame(window)
    conformance, found = window.conformance(frame).iloc[0], window.quantities(frame)
    return tuple(
        _missed_by(one, found[one.name].iloc[0], float(conformance[one.name]))
        for one in window.product.requirements
    )


def _missed_by(requirement: Requirement, predicted: pd.Series, conformance: float) -> Missed:
    mean, low, high = (float(predicted[end]) for end in ("mean", "obs_ci_low", "obs_ci_high"))
    return Missed(requirement, mean, low, high, conformance)


def _reach(window: Window, looked_at: Sequence[Candidates], sides: tuple[Side, ...], least: float) -> Reach:
    """The highest joint probability of some limits, whatever the others do; it is `least` or more."""
    found = (
        each.chosen(slice(None, None, _THINNED)).quick(*_bounds(window.limits[each.plate], sides)).max()
        for each in looked_at
    )
    return Reach(sides, float(max(least, *found)))


def _bounds(limits: Limits, sides: Sequence[Side]) -> tuple[np.ndarray, np.ndarray]:
    """Bounds on every line by some limits alone."""
    lower, upper = np.full(len(limits.forms), -np.inf), np.full(len(limits.forms), np.inf)
    wanted = {(side.requirement.name, side.end) for side in sides}
    for row, limit in zip(limits.rows, limits.limits):
        below, above = (
            ("most", "least") if limits.quantities[limit.requirement].falling else ("least", "most")
        )
        if (limit.requirement, below) in wanted:
            lower[row] = max(lower[row], limit.lower - limit.quantity.constant)
        if (limit.requirement, above) in wanted:
            upper[row] = min(upper[row], limit.upper - limit.quantity.constant)
    return lower, upper


def _loosening(window: Window, looked_at: Sequence[Candidates], side: Side) -> Loosening:
    """Search for the limit from where no set-up is assured towards where one is."""
    others = [one for one in _sides(window.product) if one != side]
    able = []
    for each in looked_at:
        without = each.quick(*_bounds(window.limits[each.plate], others)) >= window.least_stated - QUICK_ERROR
        able += [each.chosen(without)] if without.any() else []
    if not able or side.value == 0.0:
        return Loosening(side)
    reached = _reached(window, able, side)
    if reached is None:
        return Loosening(side)
    for value in _rounded_outward(reached, side.end):
        changed = _with_limit(window, side, value)
        remedy = None if changed is None else _remedy(changed, able)
        if remedy is not None:
            return Loosening(side, value, remedy)
    return Loosening(side)


def _reached(window: Window, able: list[Candidates], side: Side) -> float | None:
    """The limit at which a set-up is about assured; None where no value of it does."""
    short, enough = side.value, _enough(window, able, side)
    if enough is None:
        return None
    while abs(enough - short) > _FINE * abs(enough - side.value):
        middle = (short + enough) / 2
        able_there, assured = _assured_at(window, able, side, middle)
        if assured:
            enough, able = middle, able_there
        else:
            short = middle
    return enough


def _enough(window: Window, able: list[Candidates], side: Side) -> float | None:
    """A limit that is loose enough for some set-up."""
    tried = [0.0] if side.end == "least" else [side.value * 2.0**at for at in range(1, _FARTHEST)]
    if side.requirement.kind.unit == "%" and side.end == "most":
        tried = [_MOST_PERCENT]
    return next((value for value in tried if _assured_at(window, able, side, value)[1]), None)


def _assured_at(
    window: Window, able: list[Candidates], side: Side, value: float
) -> tuple[list[Candidates], bool]:
    """The set-ups that may be assured with another limit, and whether one of them is."""
    changed = _with_limit(window, side, value)
    if changed is None:
        return [], False
    found, assured = [], False
    for each in able:
        limits = changed.limits[each.plate]
        quick = each.quick(*_all_bounds(limits))
        surest = np.argsort(-quick, kind="stable")[:_SUREST]
        few = each.chosen(surest)
        joint = conformance_probability(few.predictive, limits, points=_COARSE_POINTS)
        held = reached(changed, few.setups(changed), stated=joint)
        assured |= bool((held >= window.level).any())
        near = quick >= window.least_stated - QUICK_ERROR
        found += [each.chosen(near)] if near.any() else []
    return found, assured


def _all_bounds(limits: Limits) -> tuple[np.ndarray, np.ndarray]:
    """Bounds on every line, as `Limits.bounds` gives them: it leaves none out."""
    return limits.bounds()[1:]


def _with_limit(window: Window, side: Side, value: float) -> Window | None:
    """The window of the product with another limit; None where limits then contradict one another."""
    one = side.requirement
    try:
        product = with_limit(
            window.product,
            Change(
                what=one.kind.label,
                unit=one.kind.unit,
                before=side.value,
                after=value,
                requirement=one.name,
                limit=side.end,
            ),
        )
    except UnusableInput:
        return None
    return window_with(window, product)


def _rounded_outward(value: float, end: str) -> Iterator[float]:
    """The value with few digits, towards looser limits, and then looser digit by digit."""
    digits = _DIGITS - 1 - math.floor(math.log10(abs(value))) if value else 0
    step, outward = 10.0**-digits, -1 if end == "least" else 1
    start = math.floor(value / step) if end == "least" else math.ceil(value / step)
    for further in range(_FURTHER):
        yield max(round((start + outward * further) * step, max(digits, 0)), 0.0)


def _remedy(window: Window, looked_at: Sequence[Candidates]) -> Remedy | None:
    """An assured set-up among the rows of some set-ups, the fastest of the most promising row."""
    found = []
    for each in looked_at:
        joint = each.quick(*_all_bounds(window.limits[each.plate]))
        found += [(joint[each.at == at].max(), each.rows[at]) for at in np.unique(each.at)]
    for joint, row in sorted(found, key=lambda one: -one[0]):
        if joint < window.least_stated - QUICK_ERROR:
            return None
        bands = bands_of(window, row)
        if bands:
            return _of_band(bands[-1])
    return None


def _of_band(band: SpeedBand) -> Remedy:
    return Remedy(Setup(band.plate, band.roll, band.pressure, band.high), band.conformance_at_fastest)


def _other_volume(window: Window, pressures: Sequence[float] | None) -> Remedy | None:
    """A cell volume inside the tried range at which a set-up is assured, the surest of a grid."""
    trial = window.surfaces.trial
    tried = trial.prints["cell_volume"]
    if tried.min() == tried.max():
        return None
    volumes = np.linspace(tried.min(), tried.max(), _VOLUMES)
    places = [
        (*_surest_volume(window, plate, pressure, volumes), plate, pressure)
        for plate in window.plates
        for pressure in (trial.pressures if pressures is None else pressures)
    ]
    for joint, volume, plate, pressure in sorted(places, key=lambda one: -one[0]):
        ends = window.surfaces.region.speed_range(plate, volume, pressure)
        if joint < window.least_stated - QUICK_ERROR or ends is None:
            continue
        row = Row(Roll("to buy", volume, planned=True), plate, float(pressure), *ends)
        bands = bands_of(window, row)
        if bands:
            return _of_band(bands[-1])
    return None


def _surest_volume(window: Window, plate: str, pressure: float, volumes: np.ndarray) -> tuple[float, float]:
    """The highest joint conformance over volumes and speeds, and the volume, to its digits, where it is."""
    tried = window.surfaces.trial.prints["speed"]
    speeds = np.unique(np.linspace(tried.min(), tried.max(), _SPEEDS))
    volume, speed = (grid.ravel() for grid in np.meshgrid(volumes, speeds, indexing="ij"))
    inside = window.in_trial_region(window.setups(plate, speed, volume, pressure))
    if not inside.any():
        return 0.0, float(volumes[0])
    found = predictive_on_grid(window, plate, pressure, volumes, speeds)
    bounds = _all_bounds(window.limits[plate])
    joint = quick_probability(*bounds, found.mean[inside], found.scale[inside], found.df)
    best = float(volume[inside][np.argmax(joint)])
    return float(joint.max()), float(f"{best:.{_DIGITS}g}")


def _other_plates(window: Window, pressures: Sequence[float] | None) -> Iterator[OtherPlate]:
    """The plates that were tried and that the product does not name."""
    for plate in window.surfaces.region.plates:
        if plate in window.plates or window.product.pattern.plate is None:
            continue
        pattern = replace(window.product.pattern, plate=plate)
        try:
            other = find_window(window.surfaces, replace(window.product, pattern=pattern), window.study)
        except UnusableInput as problem:
            yield OtherPlate(plate, why_not=str(problem))
        else:
            yield OtherPlate(plate, _remedy(other, candidates(other, pressures)))
