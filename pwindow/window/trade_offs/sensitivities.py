"""What one step of a setting or of a limit changes, worked out at the changed set-up or product."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.product import Product, Requirement, check_product
from pwindow.window.confidence import conformance_at_least
from pwindow.window.conformance import LimitPredictive, conformance_probability
from pwindow.window.requirements.limits import Limits, product_limits
from pwindow.window.setup import Setup
from pwindow.window.window import Window

STEPS = {
    "line_resistance": 10.0,
    "sheet_resistance": 0.1,
    "voltage_drop": 1.0,
    "open_area": 1.0,
    "line_width": 1.0,
    "line_height": 0.05,
    "inner_radius": 1.0,
    "outer_radius": 1.0,
    "gap": 1.0,
}
"""One step of a limit, in the unit of its kind; a power of ten below where it exceeds a tenth of the limit."""
COLUMNS = (
    "what", "limit", "requirement", "unit", "step", "before", "after",
    "conformance_before", "conformance_after", "gain_percentage_points", "limiting_after", "reason",
    "at_least_after",
)  # fmt: skip
_OUTSIDE = "outside the trial region: not tried"


@dataclass(frozen=True, kw_only=True)
class Change:
    """A setting or a limit that is moved by one step, in its own unit."""

    what: str
    unit: str
    before: float
    after: float
    requirement: str = ""
    limit: str = ""

    def row(
        self,
        conformance: float,
        after: float,
        limiting: str = "",
        reason: str = "",
        at_least: float = np.nan,
    ) -> tuple:
        """The change as a row of `sensitivities`, in the order of `COLUMNS`.

        Parameters
        ----------
        conformance, after : float
            Joint conformance before and after the change, between 0 and 1; NaN where it cannot be judged.
        limiting : str, optional
            The requirement with the lowest conformance after it.
        reason : str, optional
            Why it cannot be judged.
        at_least : float, optional
            What the joint conformance after it is at least, with the confidence asked for.
        """
        step, gain = self.after - self.before, 100.0 * (after - conformance)
        names = (self.what, self.limit, self.requirement, self.unit)
        return *names, step, self.before, self.after, conformance, after, gain, limiting, reason, at_least


def sensitivities(window: Window, setup: Setup) -> pd.DataFrame:
    """What one step costs or gains in joint conformance, each setting and each limit on its own.

    Parameters
    ----------
    window : Window
    setup : Setup

    Returns
    -------
    DataFrame
        One row per step, up and down: ``what`` is moved by ``step`` in ``unit`` from ``before`` to
        ``after``; ``limit`` is ``least`` or ``most`` of ``requirement``, or "" for a setting. Conformances
        are joint, between 0 and 1; ``gain_percentage_points`` is their difference; ``at_least_after`` is
        what the joint conformance is then at least with the confidence that the product asks for, NaN where it
        asks for none. NaN where the set-up or product cannot be judged; ``reason`` says why, and is ""
        otherwise.
    """
    now = setup.frame(window)
    if not window.in_trial_region(now)[0]:
        reason = f"the set-up itself is {_OUTSIDE}"
        changes = [*_setting_changes(window, setup), *_limit_changes(window.product)]
        return _table([change.row(np.nan, np.nan, reason=reason) for change in changes])
    predictive, limits = window.predictive(now), window.limits[setup.plate]
    before = float(conformance_probability(predictive, limits)[0])
    rows = [*_moved_settings(window, setup, before)]
    rows += [_moved_limit(window, setup, predictive, before, one) for one in _limit_changes(window.product)]
    return _table(rows)


def _table(rows: list[tuple]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _moved_settings(window: Window, setup: Setup, before: float) -> Iterator[tuple]:
    changes = _setting_changes(window, setup)
    settings = {"speed": setup.speed, "cell_volume": setup.roll.cell_volume, "pressure": setup.pressure}
    moved = [settings | {change.what: change.after} for change in changes]
    setups = window.setups(setup.plate, **{name: [one[name] for one in moved] for name in settings})
    inside = (setups[["speed", "cell_volume"]] > 0).all(axis=1).to_numpy(copy=True)
    inside[inside] = window.in_trial_region(setups[inside])
    table = iter(_judged(window, setups[inside]) if inside.any() else [])
    for change, reachable in zip(changes, inside):
        if reachable:
            found = next(table)
            joint, at_least = found.pop("joint"), found.pop("at_least")
            yield change.row(before, joint, str(min(found, key=found.__getitem__)), at_least=at_least)
        else:
            yield change.row(before, np.nan, reason=_OUTSIDE)


def _judged(window: Window, setups: pd.DataFrame) -> list[dict]:
    """By name the conformances of each set-up, and what the joint one is at least."""
    return window.conformance(setups).assign(at_least=_at_least(window, setups)).to_dict("records")


def _at_least(window: Window, setups: pd.DataFrame) -> np.ndarray:
    """What the joint conformance is at least with the confidence asked for, shape (m,); NaN where none is."""
    if window.confidence is None:
        return np.full(len(setups), np.nan)
    return conformance_at_least(window, setups, window.confidence)


def _setting_changes(window: Window, setup: Setup) -> list[Change]:
    trial = window.surfaces.trial
    steps = (
        ("speed", "m/min", setup.speed, 1.0),
        ("pressure", trial.pressure_unit, setup.pressure, pressure_step(trial.pressures)),
        ("cell_volume", "cm³/m²", setup.roll.cell_volume, 1.0),
    )
    return [
        Change(what=what, unit=unit, before=at, after=at + sign * step)
        for what, unit, at, step in steps
        for sign in (1.0, -1.0)
    ]


def pressure_step(tried: tuple[float, ...]) -> float:
    """One step of pressure: the power of ten at or below a tenth of what was tried; 1 µm from 20 to 80 µm."""
    span = tried[-1] - tried[0]
    return _power_of_ten(span / 10.0) if span > 0 else 1.0


def limit_step(requirement: str, limit: float) -> float:
    """One step of a limit, in the unit of its requirement."""
    step = STEPS[requirement]
    return step if limit == 0.0 or step <= limit / 10.0 else _power_of_ten(limit / 10.0)


def _power_of_ten(most: float) -> float:
    return 10.0 ** math.floor(math.log10(most) + 1e-9)


def _limit_changes(product: Product) -> list[Change]:
    """Each limit relaxed by a step and tightened by one."""
    return [
        Change(
            what=requirement.kind.label,
            unit=requirement.kind.unit,
            before=limit,
            after=round(limit + sign * limit_step(requirement.name, limit), 9),
            requirement=requirement.name,
            limit=end,
        )
        for requirement in product.requirements
        for end, limit in (("least", requirement.least), ("most", requirement.most))
        if limit is not None
        for sign in ((-1.0, 1.0) if end == "least" else (1.0, -1.0))
    ]


def _moved_limit(
    window: Window, setup: Setup, predictive: LimitPredictive, before: float, change: Change
) -> tuple:
    try:
        moved = _window_at(window, setup.plate, with_limit(window.product, change))
    except UnusableInput as problem:
        return change.row(before, np.nan, reason=str(problem))
    limits, sure = moved.limits[setup.plate], float(_at_least(moved, setup.frame(window))[0])
    each = {name: float(conformance_probability(predictive, limits, name)[0]) for name in limits.requirements}
    joint = float(conformance_probability(predictive, limits)[0])
    return change.row(before, joint, min(each, key=each.__getitem__), at_least=sure)


def _window_at(window: Window, plate: str, product: Product) -> Window:
    """The window of a product with other numbers as limits, on one plate."""
    return replace(window, product=product, limits={plate: limits_of(window, plate, product)})


def with_limit(product: Product, change: Change) -> Product:
    """The product with one limit moved; refused where limits then contradict one another."""

    def moved(requirement: Requirement) -> Requirement:
        if requirement.name != change.requirement:
            return requirement
        least = change.limit == "least"
        return replace(requirement, least=change.after) if least else replace(requirement, most=change.after)

    changed = replace(product, requirements=tuple(map(moved, product.requirements)))
    check_product(changed, product.name)
    return changed


def window_with(window: Window, product: Product) -> Window:
    """The window of a product with other numbers as limits: its lines, and so the predictive, stay as they are.

    Parameters
    ----------
    window : Window
    product : Product
        The window's own, with other numbers as limits; as many gaps on one part.
    """
    return replace(
        window,
        product=product,
        limits={plate: limits_of(window, plate, product) for plate in window.plates},
    )


def limits_of(window: Window, plate: str, product: Product) -> Limits:
    """Limits of a product with other numbers: its lines, and so the predictive, are the window's.

    Parameters
    ----------
    window : Window
    plate : str
    product : Product
        The window's own, with other numbers as limits.
    """
    gap = window.patterns[plate]["plate_gap"]
    return product_limits(product, window.surfaces, window.joint, window.study.ink, gap)
