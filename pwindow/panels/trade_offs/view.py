"""What the trade-offs page says; its markup is in ``templates/view.html.j2``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from math import isnan, nan

import pandas as pd
from markupsafe import Markup

from pwindow.markup import part
from pwindow.outputs import csv_of
from pwindow.panels.shared.words import link, note, table
from pwindow.product import REQUIREMENT_KINDS, Assurance
from pwindow.study import Roll
from pwindow.window.confidence import conformance_interval
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import (
    AS_PRINTED,
    COMMON_WIDTH,
    CONFORMANCE,
    LimitTrades,
    PlatesCompared,
    Then,
)
from pwindow.window.window import Window
from pwindow.wording import (
    Unit,
    Units,
    at_least,
    mounting_words,
    percent,
    points,
    setup_words,
    speed_change,
    with_interval,
)

_part = partial(part, __package__, "view")
_SETTINGS = {"speed": "press speed", "pressure": "pressure", "cell_volume": "cell volume"}
_UNITS = {"um": "µm", "ohm": "Ω"}
_BASES = {AS_PRINTED: "as tried", COMMON_WIDTH: "same width"}
_DIRECTIONS = {"least": "at least", "most": "at most"}


def setup_name(setup: Setup, units: Units) -> str:
    """A set-up in a few words."""
    return setup_words(setup.roll.label, setup.pressure, units, setup.speed, setup.plate)


def chosen_card(window: Window, setup: Setup, steps: pd.DataFrame, units: Units) -> Markup:
    """How sure the selected set-up is, what limits it, and what more speed costs.

    Parameters
    ----------
    window : Window
    setup : Setup
    steps : DataFrame
        As `sensitivities` gives it at the set-up.
    units : Units
    """
    name, frame = setup_name(setup, units), setup.frame(window)
    if not window.in_trial_region(frame)[0]:
        return _part("untried", name=name)
    chances = window.conformance(frame).iloc[0]
    each = chances.drop("joint")
    limiting = str(each.idxmin())
    return _part(
        "chosen",
        name=name,
        product=window.product.name,
        joint=chances["joint"],
        sure=conformance_interval(window, frame).sentence(chances["joint"]),
        limiting=REQUIREMENT_KINDS[limiting].label,
        conformance=each[limiting],
        level=window.level,
        faster=_faster(steps[(steps["what"] == "speed") & (steps["step"] > 0)].iloc[0], units.speed),
    )


def _faster(step: pd.Series, unit: Unit) -> str:
    gain = unit.kept_of(float(step["gain_percentage_points"] / step["step"]))
    if isnan(gain):
        return f"One {unit.name} more is {step['reason']}."
    size = points(abs(gain)).lstrip("+±")
    if float(size) == 0.0:
        return f"One {unit.name} more hardly changes it."
    return f"The next {unit.name} {'costs' if gain < 0 else 'gains'} about {size} percentage points."


def step_table(steps: pd.DataFrame, assurance: Assurance, units: Units) -> Markup:
    """What one step of each setting and each limit costs or gains.

    Parameters
    ----------
    steps : DataFrame
        As `sensitivities` gives it.
    assurance : Assurance
        What is asked for.
    units : Units
    """
    gains = steps["gain_percentage_points"]
    largest = float(gains.abs().max(skipna=True)) or 1.0
    rows = [
        (
            _stepped(step),
            f"{_setting(step, 'before', units)} → {_setting(step, 'after', units)}",
            None if pd.isna(gain) else (points(gain), 100.0 * gain / largest),
            *_then(step, assurance),
        )
        for (_, step), gain in zip(steps.iterrows(), gains)
    ]
    return _part("steps", rows=rows, bound=assurance.bound)


def _stepped(step: pd.Series) -> str:
    if step["limit"]:
        return f"limit: {step['what']} {_DIRECTIONS[step['limit']]}"
    return _SETTINGS[step["what"]]


def _setting(step: pd.Series, end: str, units: Units) -> str:
    """A setting or a limit with its unit."""
    if step["limit"]:
        return units.of(step["unit"]).limit(step[end])
    return units.of_column(step["what"], step["unit"]).words(step[end])


def _then(step: pd.Series, assurance: Assurance) -> tuple[list[str], str]:
    """The probability after a step, its lower bound where one is asked for, and what limits; or why there is none."""
    bounded = assurance.confidence is not None
    if pd.isna(step["gain_percentage_points"]):
        return ["–", *["–"] * bounded], step["reason"]
    sure = [at_least(step["at_least_after"], assurance.level)] if bounded else []
    chances = [percent(step["conformance_after"], assurance.level), *sure]
    return chances, REQUIREMENT_KINDS[step["limiting_after"]].label


def limit_table(trades: LimitTrades, window: Window, units: Units) -> Markup:
    """The fastest assured speed with each limit as declared, tighter and looser.

    Parameters
    ----------
    trades : LimitTrades
        At the selected set-up.
    window : Window
        With the limits as declared.
    units : Units
    """
    at, best = trades.setup, trades.best
    held = percent if window.confidence is None else _bounded

    def fastest(then: Then) -> str:
        if then.fastest is None and then.held is not None:
            return f"none\n{held(then.held, window.level)}\nat {units.speed.words(at.speed)}"
        return _speed_or_none(then.fastest, units)

    def chosen_again(then: Then) -> str:
        return _chosen_again(then.moved.best, best, units)

    return _part(
        "limits",
        unit=units.speed.name,
        at=mounting_words(at.roll.label, at.pressure, units, at.plate),
        declared=None if trades.fastest is None else units.speed.words(trades.fastest),
        kept=_limit_rows(trades, fastest, trades.change, units),
        recommended=None if best is None else setup_name(best, units),
        best=_limit_rows(trades, chosen_again, trades.best_change, units),
    )


def _limit_rows(
    trades: LimitTrades, told: Callable[[Then], str], change: Callable[[Then], float], units: Units
) -> list[tuple]:
    """For each limit its words, and what it gives tighter and looser.

    Parameters
    ----------
    trades : LimitTrades
    told : callable
        The fastest assured speed of a moved limit, in words.
    change : callable
        What it has more than the one as declared, m/min; NaN where there is none.
    units : Units
    """
    changes = [change(then) for pair in trades.limits for then in pair]
    largest = max((abs(one) for one in changes if not isnan(one)), default=0.0) or 1.0

    def moved(then: Then) -> tuple:
        if then.moved.reason:
            return (then.moved.reason,)
        gain = change(then)
        if isnan(gain):
            return then.moved.after_words(units), told(then), "–", 0.0
        words = speed_change(units.speed.of(gain))
        return then.moved.after_words(units), told(then), words, 100.0 * abs(gain) / largest

    return [(tighter.moved.words(units), moved(tighter), moved(looser)) for tighter, looser in trades.limits]


def _bounded(share: float, level: float) -> str:
    return f"at least {at_least(share, level)}"


def _speed_or_none(fastest: float | None, units: Units) -> str:
    return "none" if fastest is None else units.speed.number(fastest)


def _chosen_again(best: Setup | None, declared: Setup | None, units: Units) -> str:
    """The speed of a set-up; below it the others of its settings, where they are not those as declared."""
    if best is None:
        return "none"
    if declared is not None and replace(declared, speed=best.speed) == best:
        return units.speed.number(best.speed)
    plate = "" if declared is not None and declared.plate == best.plate else best.plate
    return f"{units.speed.number(best.speed)}\n{mounting_words(best.roll.label, best.pressure, units, plate)}"


def beside_table(
    window: Window, setups: Sequence[Setup], side: pd.DataFrame, units: Units, pins: int = 0
) -> Markup:
    """Set-ups beside each other, with their differences to the first.

    Parameters
    ----------
    window : Window
    setups : sequence of Setup
    side : DataFrame
        As `side_by_side` gives it for them.
    units : Units
    pins : int, default 0
        How many of them are pinned, which are the first.
    """
    named = [f"pin {at}" if at <= pins else "selected" for at in range(1, len(setups) + 1)]
    names = ("", *(f"{name}: {setup_name(setup, units)}" for name, setup in zip(named, setups)))
    rows = [
        (
            _label(row, units),
            *(_value_words(row, at, window.level, units) for at in range(1, len(setups) + 1)),
        )
        for _, row in side.iterrows()
        if row["what"] not in ("plate", "roll", "cell_volume", "pressure", "speed")
    ]
    return _part("beside", table=table(names, rows))


def _label(row: pd.Series, units: Units) -> str:
    unit = "" if row["unit"] in ("", "1") else f", {units.of(row['unit']).name}"
    return f"{row['label']}{unit}"


def _value_words(row: pd.Series, at: int, level: float, units: Units) -> str:
    value = row[f"setup_{at}"]
    if isinstance(value, bool):
        return "yes" if value else "no: not tried"
    if isinstance(value, str):
        return REQUIREMENT_KINDS[value].label if value in REQUIREMENT_KINDS else value
    if pd.isna(value):
        return "–"
    if row["what"].startswith(CONFORMANCE):
        return percent(value, level) + _points(row, at)
    unit = units.of(row["unit"])
    ends = (unit.of(row[f"setup_{at}{end}"]) for end in ("", "_obs_ci_low", "_obs_ci_high"))
    return _with_interval(*ends) + _difference(row, at, unit)


def _points(row: pd.Series, at: int) -> str:
    moved = row[f"setup_{at}_difference"] if at > 1 else nan
    return "" if pd.isna(moved) else f"\n{points(moved)} points"


def _difference(row: pd.Series, at: int, unit: Unit) -> str:
    if at == 1 or pd.isna(row[f"setup_{at}_difference"]):
        return ""
    value, low, high = (unit.of(row[f"setup_{at}_difference{end}"]) for end in ("", "_low", "_high"))
    return f"\n{_with_interval(value, low, high, '+', '[]')}"


def _with_interval(value: float, low: float, high: float, sign: str = "", brackets: str = "()") -> str:
    """A value and its interval; what is in brackets keeps together."""
    one, first, last = with_interval(value, low, high, sign)
    return f"{one} {brackets[0]}{first}\u00a0…\u00a0{last}{brackets[1]}"


def plate_table(found: PlatesCompared, level: float, units: Units) -> Markup:
    """Plate processes at the same settings, as printed and at one plate width.

    Parameters
    ----------
    found : PlatesCompared
    level : float
        Assurance level.
    units : Units
    """
    quantities = (
        ("line_gain", "line gain"),
        ("line_resistance_ohm", "line resistance"),
        ("sheet_resistance_ohm", "sheet resistance"),
        ("line_width_um", "line width"),
        ("line_height_um", "line height"),
        ("gap_um", "average gap on a print"),
    )
    there = [
        (key, words, units.of(_UNITS.get(key.rpartition("_")[2], "")))
        for key, words in quantities
        if f"{key}_mean" in found.table
    ]
    shown = [row for _, row in found.table.iterrows()]
    names = (
        "",
        *(
            f"{row['plate']}, {units.length.words(row['plate_width_um'])}\n{_BASES[row['basis']]}"
            for row in shown
        ),
    )
    rows = [
        *(
            (", ".join(filter(None, (words, unit.name))), *(_interval(row, key, unit) for row in shown))
            for key, words, unit in there
        ),
        (
            "all requirements",
            *("–" if pd.isna(row[CONFORMANCE]) else percent(row[CONFORMANCE], level) for row in shown),
        ),
        (
            "limiting requirement",
            *(
                REQUIREMENT_KINDS[row["limiting"]].label if row["limiting"] in REQUIREMENT_KINDS else "–"
                for row in shown
            ),
        ),
    ]
    return _part(
        "plates",
        common=units.length.words(found.common_width),
        assumed=found.assumed(units),
        table=table(names, rows),
        notes=found.notes,
    )


def _interval(row: pd.Series, key: str, unit: Unit) -> str:
    mean, low, high = (unit.of(row[f"{key}_{end}"]) for end in ("mean", "obs_ci_low", "obs_ci_high"))
    return "–" if pd.isna(mean) else _with_interval(mean, low, high)


def document_link(title: str, name: str, html: str) -> Markup:
    """What saves a document that was made.

    Parameters
    ----------
    title : str
        What the document is.
    name : str
        Of the file.
    html : str
        Its content.
    """
    return _part("document", link=link(f"Save {title} (HTML)", name, html, "text/html"))


def pins_lost(count: int) -> Markup:
    """Why pins are gone."""
    what = "1 pinned set-up was" if count == 1 else f"{count} pinned set-ups were"
    return note(f"{what} removed: this product is not printed with {'its' if count == 1 else 'their'} plate")


def limiting_table(along: pd.DataFrame, units: Units) -> Markup:
    """Which requirement has the lowest probability, along the speed of each roll."""
    rows = []
    for roll, members in along.groupby("roll", sort=False):
        named = members["limiting"]
        parts = [part for _, part in members.groupby((named != named.shift()).cumsum())]
        ends = [_between(one, after) for one, after in pairwise(parts)]
        told = ", ".join(
            REQUIREMENT_KINDS[part["limiting"].iloc[0]].label + _stretch(*span, units.speed)
            for part, span in zip(parts, pairwise([None, *ends, None]))
        )
        rows.append((f"{roll} (planned)" if members["planned"].iloc[0] else roll, told))
    return _part("limiting", table=table(("roll", "limiting requirement"), rows))


def _between(one: pd.DataFrame, after: pd.DataFrame) -> float:
    """Speed between two stretches, m/min."""
    return float(one["speed_m_min"].iloc[-1] + after["speed_m_min"].iloc[0]) / 2


def _stretch(low: float | None, high: float | None, unit: Unit) -> str:
    if low is None:
        return " at all speeds" if high is None else f" below {unit.of(high):.0f} {unit.name}"
    if high is None:
        return f" above {unit.of(low):.0f} {unit.name}"
    return f" from {unit.of(low):.0f} to {unit.of(high):.0f} {unit.name}"


def numbers(name: str, drawn: pd.DataFrame) -> Markup:
    """What saves the numbers of a picture."""
    return link("Save the data (CSV)", f"{name}.csv", csv_of(drawn))


def added(roll: Roll, bands: pd.DataFrame, window: Window, units: Units) -> Markup:
    """That a planned roll is there now, and at which speeds it would meet all requirements.

    Parameters
    ----------
    roll : Roll
    bands : DataFrame
        Its speed bands, as `Window.speed_bands`.
    window : Window
    units : Units
    """
    trial = window.surfaces.trial
    found = [
        (band["speed_low_m_min"], band["speed_high_m_min"], band[trial.pressure_key], band["plate"])
        for _, band in bands.iterrows()
    ]
    return _part("added", roll=roll, bands=found, units=units, level=window.level)
