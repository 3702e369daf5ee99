"""What the trade-offs page says; its markup is in ``templates/view.html.j2``."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import pandas as pd
from markupsafe import Markup

from pwindow.markup import part
from pwindow.outputs import csv_of
from pwindow.panels.shared.words import link, note, table
from pwindow.product import REQUIREMENT_KINDS
from pwindow.study import Roll
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import CONFORMANCE, PlatesCompared
from pwindow.window.window import Window
from pwindow.wording import (
    amount,
    metric,
    percent,
    points,
    pressure,
    setup_words,
    speed,
    volume,
    with_interval,
)

_part = partial(part, __package__, "view")
_SETTINGS = {"speed": "press speed", "pressure": "printing pressure", "cell_volume": "cell volume"}
_DIRECTIONS = {"least": "at least", "most": "at most"}


def setup_name(window: Window, setup: Setup) -> str:
    """A set-up in a few words."""
    units = metric(window.surfaces.trial.pressure_unit)
    return setup_words(setup.roll.label, setup.pressure, units, setup.speed, setup.plate)


def chosen_card(window: Window, setup: Setup, steps: pd.DataFrame) -> Markup:
    """How sure the selected set-up is, what limits it, and what more speed costs.

    Parameters
    ----------
    window : Window
    setup : Setup
    steps : DataFrame
        As `sensitivities` gives it at the set-up.
    """
    name, frame = setup_name(window, setup), setup.frame(window)
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
        limiting=REQUIREMENT_KINDS[limiting].label,
        conformance=each[limiting],
        level=window.level,
        faster=_faster(steps[(steps["what"] == "speed") & (steps["step"] > 0)].iloc[0]),
    )


def _faster(step: pd.Series) -> str:
    gain = step["gain_percentage_points"]
    if pd.isna(gain):
        return f"One m/min more is {step['reason']}."
    size = points(abs(gain)).lstrip("+±")
    return f"Each extra m/min {'costs' if gain < 0 else 'gains'} {size} percentage points."


def step_table(steps: pd.DataFrame, level: float) -> Markup:
    """What one step of each setting and each limit costs or gains."""
    gains = steps["gain_percentage_points"]
    largest = float(gains.abs().max(skipna=True)) or 1.0
    rows = [
        (
            _stepped(step),
            f"{_setting(step, 'before')} → {_setting(step, 'after')}",
            None if pd.isna(gain) else (points(gain), 100.0 * gain / largest),
            *_then(step, level),
        )
        for (_, step), gain in zip(steps.iterrows(), gains)
    ]
    return _part("steps", rows=rows)


def _stepped(step: pd.Series) -> str:
    if step["limit"]:
        return f"limit: {step['what']} {_DIRECTIONS[step['limit']]}"
    return _SETTINGS[step["what"]]


def _setting(step: pd.Series, end: str) -> str:
    """A setting or a limit with its unit."""
    spelt = {"speed": speed, "cell_volume": volume, "pressure": pressure}.get(step["what"], _limit)
    return f"{spelt(step[end])} {step['unit']}"


def _limit(value: float) -> str:
    return amount(value, 4)


def _then(step: pd.Series, level: float) -> tuple[str, str]:
    """The probability after a step and what limits then, or why there is none."""
    if pd.isna(step["gain_percentage_points"]):
        return "–", step["reason"]
    return percent(step["conformance_after"], level), REQUIREMENT_KINDS[step["limiting_after"]].label


def beside_table(window: Window, setups: Sequence[Setup], side: pd.DataFrame) -> Markup:
    """Set-ups beside each other, with their differences to the first.

    Parameters
    ----------
    window : Window
    setups : sequence of Setup
    side : DataFrame
        As `side_by_side` gives it for them.
    """
    names = ("", *(f"{'first: ' * (at == 0)}{setup_name(window, setup)}" for at, setup in enumerate(setups)))
    rows = [
        (_label(row), *(_value_words(row, at, window.level) for at in range(1, len(setups) + 1)))
        for _, row in side.iterrows()
        if row["what"] not in ("plate", "roll", "cell_volume", "pressure", "speed")
    ]
    return _part("beside", table=table(names, rows))


def _label(row: pd.Series) -> str:
    unit = "" if row["unit"] in ("", "1") else f", {row['unit']}"
    return f"{row['label']}{unit}"


def _value_words(row: pd.Series, at: int, level: float) -> str:
    value = row[f"setup_{at}"]
    if isinstance(value, bool):
        return "yes" if value else "no: not tried"
    if isinstance(value, str):
        return REQUIREMENT_KINDS[value].label if value in REQUIREMENT_KINDS else value
    if pd.isna(value):
        return "–"
    if row["what"].startswith(CONFORMANCE):
        return percent(value, level) + _difference(row, at, " points")
    low, high = (row[f"setup_{at}_obs_ci_{end}"] for end in ("low", "high"))
    return _with_interval(value, low, high) + _difference(row, at, "")


def _difference(row: pd.Series, at: int, unit: str) -> str:
    if at == 1:
        return ""
    moved = row[f"setup_{at}_difference"]
    if pd.isna(moved):
        return ""
    if unit:
        return f"\n{points(moved)}{unit}"
    low, high = (row[f"setup_{at}_difference_{end}"] for end in ("low", "high"))
    return f"\n{_with_interval(moved, low, high, '+', '[]')}"


def _with_interval(value: float, low: float, high: float, sign: str = "", brackets: str = "()") -> str:
    """A value and its interval; what is in brackets keeps together."""
    one, first, last = with_interval(value, low, high, sign)
    return f"{one} {brackets[0]}{first}\u00a0…\u00a0{last}{brackets[1]}"


def plate_table(found: PlatesCompared, level: float) -> Markup:
    """Plate processes at the same settings, as printed and at one plate width."""
    quantities = (
        ("line_gain", "line gain"),
        ("line_width_um", "line width, µm"),
        ("line_height_um", "line height, µm"),
        ("gap_um", "average gap on a print, µm"),
    )
    there = [(key, words) for key, words in quantities if f"{key}_mean" in found.table]
    shown = [row for _, row in found.table.iterrows()]
    names = ("", *(f"{row['plate']}, {amount(row['plate_width_um'])} µm {row['basis']}" for row in shown))
    rows = [
        *((words, *(_interval(row, key) for row in shown)) for key, words in there),
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
    return _part("plates", assumed=found.assumed, table=table(names, rows), notes=found.notes)


def _interval(row: pd.Series, key: str) -> str:
    mean, low, high = (row[f"{key}_{end}"] for end in ("mean", "obs_ci_low", "obs_ci_high"))
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


def limiting_table(along: pd.DataFrame) -> Markup:
    """Which requirement has the lowest probability, along the speed of each roll."""
    rows = []
    for roll, members in along.groupby("roll", sort=False):
        stretch = (members["limiting"] != members["limiting"].shift()).cumsum()
        stretches = [_stretch(part) for _, part in members.groupby(stretch)]
        rows.append((f"{roll} (planned)" if members["planned"].iloc[0] else roll, "; ".join(stretches)))
    return _part("limiting", table=table(("roll", "limiting requirement"), rows))


def _stretch(part: pd.DataFrame) -> str:
    first, last = part["speed_m_min"].iloc[[0, -1]]
    span = speed(first) if len(part) == 1 else f"{speed(first)} to {speed(last)}"
    return f"{REQUIREMENT_KINDS[part['limiting'].iloc[0]].label} at {span} m/min"


def numbers(name: str, drawn: pd.DataFrame) -> Markup:
    """What saves the numbers of a picture."""
    return link("Save its numbers (CSV)", f"{name}.csv", csv_of(drawn))


def added(roll: Roll, bands: pd.DataFrame, window: Window) -> Markup:
    """That a planned roll is there now, and at which speeds it would meet all requirements.

    Parameters
    ----------
    roll : Roll
    bands : DataFrame
        Its speed bands, as `Window.speed_bands`.
    window : Window
    """
    trial = window.surfaces.trial
    found = [
        (band["speed_low_m_min"], band["speed_high_m_min"], band[trial.pressure_key], band["plate"])
        for _, band in bands.iterrows()
    ]
    return _part("added", roll=roll, bands=found, unit=trial.pressure_unit, level=window.level)
