"""What a limit 10 % tighter or looser would give: the fastest assured speed of a roll, and of any."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.product import Product, Requirement, check_product
from pwindow.window.bands import SPEED_STEP, Row, SpeedBand, bands_of
from pwindow.window.confidence import reached
from pwindow.window.search.starting import QUICK_ERROR, Candidates, candidates
from pwindow.window.setup import Setup
from pwindow.window.trade_offs.sensitivities import Change, window_with, with_limit
from pwindow.window.window import Window, find_window
from pwindow.wording import METRIC, Units

SHARE = 0.1
"""By which a limit is moved."""


@dataclass(frozen=True, kw_only=True)
class Moved:
    """A limit moved by a tenth, and the set-up that would be recommended then.

    Attributes
    ----------
    requirement : Requirement
        As declared.
    end : str
        'least', 'most', or 'count' for the gaps on one part.
    before, after : float
        The limit, in the unit of its requirement; a whole number of gaps for a count.
    window : Window or None
        With the moved limit; None where the product cannot have it.
    best : Setup or None
        The fastest assured set-up of all rolls; None where none is assured.
    reason : str
        Why the product cannot have the limit, else "".
    """

    requirement: Requirement
    end: str
    before: float
    after: float
    window: Window | None = None
    best: Setup | None = None
    reason: str = ""

    def words(self, units: Units = METRIC) -> str:
        """The limit as declared, in words, such as "gap at least 16 µm"."""
        before = units.of(self.unit).limit(self.before)
        if self.end == "count":
            return f"{before} gaps on one part"
        return f"{self.requirement.kind.label} at {self.end} {before}"

    def after_words(self, units: Units = METRIC) -> str:
        """The moved limit with its unit."""
        return units.of(self.unit).limit(self.after)

    @property
    def unit(self) -> str:
        """Of the limit; "" for a count."""
        return "" if self.end == "count" else self.requirement.kind.unit


@dataclass(frozen=True, kw_only=True)
class MovedLimits:
    """Every limit of a product moved.

    Attributes
    ----------
    best : Setup or None
        Recommended with the limits as declared; None where none is assured.
    limits : tuple of (Moved, Moved)
        Each limit 10 % tighter and 10 % looser.
    """

    best: Setup | None
    limits: tuple[tuple[Moved, Moved], ...]


@dataclass(frozen=True, kw_only=True)
class Then:
    """What a moved limit gives at a set-up.

    Attributes
    ----------
    moved : Moved
    conformance : float or None
        Joint, at the set-up itself; None where it cannot be judged.
    held : float or None
        What of it is held against the level; see `reached`.
    fastest : float or None
        Fastest assured speed with the set-up's roll, plate and pressure, m/min; None where none is assured.
    """

    moved: Moved
    conformance: float | None
    held: float | None
    fastest: float | None


@dataclass(frozen=True, kw_only=True)
class LimitTrades:
    """What limits 10 % tighter or looser give, with the roll of a set-up and with any.

    Attributes
    ----------
    setup : Setup
        Whose roll, plate and pressure are kept.
    pressure_key : str
        What the trial's pressures are called in tables.
    fastest : float or None
        Fastest assured speed with these and the limits as declared, m/min; None where none is assured.
    best : Setup or None
        Recommended with the limits as declared; None where none is assured.
    limits : tuple of (Then, Then)
        Each limit tighter and looser.
    """

    setup: Setup
    pressure_key: str
    fastest: float | None
    best: Setup | None
    limits: tuple[tuple[Then, Then], ...]

    def change(self, then: Then) -> float:
        """What the fastest assured speed gains with the set-up's roll, plate and pressure, m/min; NaN without one."""
        return _difference(self.fastest, then.fastest)

    def best_change(self, then: Then) -> float:
        """What the fastest assured speed of all rolls gains, m/min; NaN without one."""
        return _difference(*(None if one is None else one.speed for one in (self.best, then.moved.best)))

    def to_frame(self) -> pd.DataFrame:
        """One row for each limit, tighter and looser.

        Returns
        -------
        DataFrame
            ``limit`` (``least``, ``most`` or ``count``) of ``requirement`` is ``moved`` from ``before`` to
            ``after`` in ``unit``. ``conformance_after`` is joint, at the set-up. ``fastest_speed_m_min`` is
            with the set-up's roll, plate and pressure, ``best_…`` is the fastest assured set-up of all, and
            ``…change_m_min`` the difference to the limits as declared. NaN or "" where there is none;
            ``reason`` says why the product cannot have a limit, and is "" otherwise.
        """
        rows = [
            self._row(moved, then) for pair in self.limits for moved, then in zip(("tighter", "looser"), pair)
        ]
        return pd.DataFrame(rows, columns=[*self._columns()])

    def _columns(self) -> tuple[str, ...]:
        return (
            *("requirement", "limit", "unit", "moved", "before", "after", "conformance_after"),
            *("fastest_speed_m_min", "change_m_min", "best_roll", "best_plate", f"best_{self.pressure_key}"),
            *("best_speed_m_min", "best_change_m_min", "reason"),
        )

    def _row(self, moved: str, then: Then) -> tuple:
        limit, best = then.moved, then.moved.best
        chosen = (
            ("", "", np.nan, np.nan)
            if best is None
            else (best.roll.id, best.plate, best.pressure, best.speed)
        )
        return (
            *(limit.requirement.name, limit.end, limit.unit, moved, limit.before, limit.after),
            *(_or_nan(then.conformance), _or_nan(then.fastest), self.change(then)),
            *(*chosen, self.best_change(then), limit.reason),
        )


def _difference(before: float | None, after: float | None) -> float:
    return round(_or_nan(after) - _or_nan(before), 9)


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value


def move_limits(window: Window, pressures: Sequence[float] | None = None) -> MovedLimits:
    """Every limit of a product 10 % tighter and looser, with the set-up that would be recommended then.

    A moved limit leaves the predictive distribution at every set-up as it is, so that set-ups are worked out
    once; another count of gaps does not.

    Parameters
    ----------
    window : Window
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.
    """
    looked_at = candidates(window, pressures)

    def moved(requirement: Requirement, end: str, before: float, after: float) -> Moved:
        limit = Moved(requirement=requirement, end=end, before=before, after=after)
        try:
            other = _window(window, limit)
        except UnusableInput as problem:
            return replace(limit, reason=str(problem))
        places = candidates(other, pressures) if end == "count" else looked_at
        return replace(limit, window=other, best=_fastest(other, places))

    limits = tuple(
        (moved(*limit, _tighter(*limit[1:])), moved(*limit, _looser(*limit[1:])))
        for limit in _limits(window.product)
    )
    return MovedLimits(best=_fastest(window, looked_at), limits=limits)


def _limits(product: Product) -> Iterator[tuple[Requirement, str, float]]:
    """Every limit of a product, a count of gaps after the limits of its gap; limits of 0 cannot be moved by a share."""
    for requirement in product.requirements:
        for end in ("least", "most"):
            value = getattr(requirement, end)
            if value:
                yield requirement, end, value
        if requirement.parameters.get("count", 1) > 1:
            yield requirement, "count", requirement.parameters["count"]


def _tighter(end: str, value: float) -> float:
    if end == "count":
        return max(round(value * (1 + SHARE)), value + 1)
    return round(value * (1 + SHARE if end == "least" else 1 - SHARE), 9)


def _looser(end: str, value: float) -> float:
    if end == "count":
        return min(round(value * (1 - SHARE)), value - 1)
    return round(value * (1 - SHARE if end == "least" else 1 + SHARE), 9)


def _window(window: Window, moved: Moved) -> Window:
    """The window with the moved limit; raises UnusableInput where limits then contradict one another."""
    if moved.end == "count":
        return find_window(window.surfaces, _with_count(window.product, int(moved.after)), window.study)
    change = Change(
        what=moved.requirement.kind.label,
        unit=moved.unit,
        before=moved.before,
        after=moved.after,
        requirement=moved.requirement.name,
        limit=moved.end,
    )
    return window_with(window, with_limit(window.product, change))


def _with_count(product: Product, count: int) -> Product:
    """The product with another number of gaps on one part."""
    requirements = tuple(
        replace(one, parameters={**one.parameters, "count": count}) if one.name == "gap" else one
        for one in product.requirements
    )
    changed = replace(product, requirements=requirements)
    check_product(changed, product.name)
    return changed


def _fastest(window: Window, looked_at: Sequence[Candidates]) -> Setup | None:
    """The set-up that `recommend` would recommend of all speed bands, found without those that are slower.

    Rows are searched from the one that may be fastest on, until none that is left can be as fast.
    """
    reach = [one for each in looked_at for one in _reach(window, each)]
    found: SpeedBand | None = None
    for most, row in sorted(reach, key=lambda one: one[0], reverse=True):
        if found is not None and most < found.high - SPEED_STEP / 2:
            break
        for band in bands_of(window, row):
            if found is None or _rank(band) >= _rank(found):
                found = band
    return None if found is None else Setup(found.plate, found.roll, found.pressure, found.high)


def _rank(band: SpeedBand) -> tuple[float, float]:
    return band.high, band.conformance_at_fastest


def _reach(window: Window, each: Candidates) -> Iterator[tuple[float, Row]]:
    """For each row that may be assured somewhere a speed, m/min, that it is not assured beyond."""
    _, lower, upper = window.limits[each.plate].bounds()
    able = each.quick(lower, upper) >= window.least_stated - QUICK_ERROR
    for at, row in enumerate(each.rows):
        own = np.flatnonzero(each.at == at)
        if able[own].any():
            last = own[np.flatnonzero(able[own])[-1]]
            yield float(each.speeds[min(last + 1, own[-1])]), row


def limit_trades(window: Window, setup: Setup, moved: MovedLimits | None = None) -> LimitTrades:
    """What limits 10 % tighter or looser would give: with the roll, plate and pressure of a set-up, and with any.

    Parameters
    ----------
    window : Window
    setup : Setup
    moved : MovedLimits, optional
        As `move_limits` finds them for the window, where they are known already.

    Examples
    --------
    >>> import pwindow as pw
    >>> surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    >>> window = pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml")))
    >>> found = limit_trades(window, window.recommended().setup)
    >>> _, looser = found.limits[0]
    >>> looser.moved.words(), looser.moved.after_words(), found.change(looser) > 0
    ('line resistance at most 330 Ω', '363 Ω', True)
    """
    moved = moved or move_limits(window)
    return LimitTrades(
        setup=setup,
        pressure_key=window.surfaces.trial.pressure_key,
        fastest=_fastest_kept(window, setup),
        best=moved.best,
        limits=tuple((_then(tighter, setup), _then(looser, setup)) for tighter, looser in moved.limits),
    )


def _then(moved: Moved, setup: Setup) -> Then:
    if moved.window is None:
        return Then(moved=moved, conformance=None, held=None, fastest=None)
    conformance, held = _conformance(moved.window, setup)
    return Then(
        moved=moved,
        conformance=conformance,
        held=held,
        fastest=_fastest_kept(moved.window, setup),
    )


def _conformance(window: Window, setup: Setup) -> tuple[float | None, float | None]:
    """The joint conformance at a set-up, and what of it is held against the level."""
    frame = setup.frame(window)
    if not window.in_trial_region(frame)[0]:
        return None, None
    stated = window.joint_conformance(frame)
    return float(stated[0]), float(reached(window, frame, stated=stated)[0])


def _fastest_kept(window: Window, setup: Setup) -> float | None:
    """Fastest assured speed of the roll at plate and pressure of a set-up."""
    ends = window.surfaces.region.speed_range(setup.plate, setup.roll.cell_volume, setup.pressure)
    if ends is None:
        return None
    bands = bands_of(window, Row(setup.roll, setup.plate, setup.pressure, *ends))
    return bands[-1].high if bands else None
