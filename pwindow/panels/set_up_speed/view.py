"""What the set-up speed page says; its markup is in ``templates/view.html.j2``."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd
from markupsafe import Markup

from pwindow.markup import part
from pwindow.outputs import csv_of
from pwindow.panels.shared.question import Question
from pwindow.panels.shared.words import link
from pwindow.product import REQUIREMENT_KINDS, Assurance, Requirement
from pwindow.review.evidence import gathered, not_tried
from pwindow.review.settings import settings_of
from pwindow.surfaces.findings import Finding
from pwindow.window.bands import limited_by
from pwindow.window.confidence import conformance_interval
from pwindow.window.search.between import between_pressures
from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import Missed
from pwindow.window.shortfall.words import promise
from pwindow.window.tails import tail_range
from pwindow.window.trade_offs import INTERVALS, predict_shown, shown_quantities
from pwindow.wording import Unit, Units, listed, percent, setup_words, with_interval

_part = partial(part, __package__, "view")


def answer_card(question: Question, units: Units) -> Markup:
    """The set-up to run, first thing on the page; where there is none, the one that comes closest."""
    said = {"product": question.product.name, "assumption": _assumption(question), "units": units}
    if question.recommended is not None:
        best = question.recommended
        return _part(
            "recommended",
            best=best,
            between=between_pressures(question.window, best),
            level=question.window.level,
            **said,
        )
    found = question.shortfall
    if found is None:
        return _part("nothing_to_say")
    missed = [_missed(one, units) for one in found.missed]
    return _part(
        "closest",
        promise=promise(found, units),
        missed=missed,
        level=found.level,
        **said,
    )


def _missed(one: Missed, units: Units) -> tuple:
    """Of a requirement its words, what the prediction is of, the prediction, its unit, and the conformance."""
    kind = one.requirement.kind
    predicted = _ends(one.mean, one.low, one.high, units.of(kind.unit))
    return one.requirement.wording(units), kind.predicted, *predicted, one.conformance


def _assumption(question: Question) -> str:
    """What the promise stands on where the trial does not tell how far make-readies differ; "" where it does."""
    found = question.window.surfaces.mountings
    return "" if found.measured else found.brief


def window_notes(question: Question) -> Markup:
    """What the reader of the probabilities must know."""
    return _part("notes", sentences=question.window.notes)


def finding_list(findings: Sequence[Finding]) -> Markup:
    """What speaks against the surfaces; nothing where nothing does."""
    return _part("findings", sentences=[finding.sentence for finding in findings])


def untried_list(question: Question, setup: Setup, units: Units) -> Markup | str:
    """What the probabilities of a set-up assume, though it was not tried or could not be checked.

    Parameters
    ----------
    question : Question
    setup : Setup
    units : Units
        To write it in.
    """
    window = question.window
    if not window.in_trial_region(question.frame(setup))[0]:
        return ""
    assumed = not_tried(window, setup, settings_of(window, setup), units)
    return _part(
        "untried_list",
        name=setup_words(setup.roll.label, setup.pressure, units, setup.speed),
        sentences=[*assumed, *gathered(window.surfaces.notes_in(units))],
    )


def setup_card(question: Question, setup: Setup, units: Units, documents: str = "") -> Markup:
    """Predicted responses and conformance of the selected set-up.

    Parameters
    ----------
    question : Question
    setup : Setup
    units : Units
        To write them in, as in `neighbour_card`.
    documents : str
        Address of the page that makes its documents; "" where there is none.
    """
    window, frame = question.window, question.frame(setup)
    name = setup_words(setup.roll.label, setup.pressure, units, setup.speed)
    if not window.in_trial_region(frame)[0]:
        return _part("untried", name=name)
    conformance = window.conformance(frame).iloc[0]
    return _part(
        "predicted",
        name=name,
        joint=conformance["joint"],
        sure=conformance_interval(window, frame),
        tails=tail_range(window, frame),
        level=window.level,
        requirements=_requirements(question, frame, conformance, units),
        others=_others(question, frame, units),
        documents=documents,
    )


def _requirements(
    question: Question, frame: pd.DataFrame, conformance: pd.Series, units: Units
) -> list[tuple]:
    """For each requirement its words, what the prediction is of, the prediction, its unit, and the conformance."""
    found = question.window.quantities(frame)
    return [
        (
            f"{one.wording(units)}{_count(one)}",
            one.kind.predicted,
            *_predicted(found[one.name].iloc[0], units.of(one.kind.unit)),
            conformance[one.name],
        )
        for one in question.product.requirements
    ]


def _count(requirement: Requirement) -> str:
    count = requirement.parameters.get("count", 1)
    return f", every one of {count}" if count > 1 else ""


def _others(question: Question, frame: pd.DataFrame, units: Units) -> list[tuple]:
    """What is predicted and not required: words, prediction, unit."""
    shown = shown_quantities(question.window, str(frame["plate"].iloc[0] or ""))
    shown = {name: one for name, one in shown.items() if one.requirement is None}
    predicted = predict_shown(question.window, frame, shown)
    return [
        (
            one.label,
            *_predicted(predicted[list(one.columns)].set_axis(INTERVALS, axis=1).iloc[0], units.of(one.unit)),
        )
        for one in shown.values()
    ]


def _predicted(row: pd.Series, unit: Unit) -> tuple[tuple[str, str, str] | None, str]:
    return _ends(row["mean"], row["obs_ci_low"], row["obs_ci_high"], unit)


def _ends(mean: float, low: float, high: float, unit: Unit) -> tuple[tuple[str, str, str] | None, str]:
    """A prediction and the ends of its interval, None of what is counted; and their unit."""
    ends = None if pd.isna(mean) else with_interval(unit.of(mean), unit.of(low), unit.of(high))
    return ends, unit.name


def neighbour_card(question: Question, setup: Setup, units: Units) -> Markup | str:
    """What slower and faster speeds would do, and why one would fail; nothing outside the trial region.

    Parameters
    ----------
    question : Question
    setup : Setup
    units : Units
    """
    table = question.neighbours(setup)
    if table.empty:
        return ""
    names = list(question.window.limits[setup.plate].requirements)
    rows = [
        (
            abs(row["speed_m_min"] - setup.speed) < 1e-6,
            speed,
            row["joint"],
            row.get("at_least"),
            row[names].tolist(),
        )
        for speed, (_, row) in zip(units.speed.column(table["speed_m_min"]), table.iterrows())
    ]
    labels, assurance = [REQUIREMENT_KINDS[name].label for name in names], question.product.assurance
    return _part(
        "neighbours",
        why=_why_not(assurance, table, units),
        unit=units.speed.name,
        labels=labels,
        rows=rows,
        level=assurance.level,
        bound=assurance.bound,
    )


def _why_not(assurance: Assurance, table: pd.DataFrame, units: Units) -> str:
    level = assurance.level
    failing = table[table.get("at_least", table["joint"]) < level]
    if failing.empty:
        return f"All these speeds stay at or above {assurance.words}."
    if len(failing) == len(table):
        return f"All these speeds are below {assurance.words}."
    parts = [
        f"at {units.speed.words(row['speed_m_min'])}, limited by {REQUIREMENT_KINDS[row['limiting']].label} "
        f"({percent(row[row['limiting']], level)})"
        for _, row in failing.iterrows()
    ]
    return f"Below {assurance.words}: " + "; ".join(parts) + "."


def band_table(question: Question, units: Units) -> Markup | str:
    """All speed bands, with the ends that are only the end of what was tried marked."""
    bands, best = question.bands, question.recommended
    if bands.empty or best is None:
        return ""
    several = bands["plate"].nunique() > 1
    names = [
        f"roll ({units.volume.name})",
        *["plate"] * several,
        f"pressure, {units.pressure.name}",
        f"speed band, {units.speed.name}",
        f"most reliable speed, {units.speed.name}",
        "limited by (low end / high end)",
    ]
    numbers = _band_numbers(bands, question.window.surfaces.trial.pressure_key, units)
    rows = [
        _band(question, band, best.setup, units, several=several) | dict(zip(numbers, texts))
        for (_, band), texts in zip(bands.iterrows(), zip(*numbers.values()))
    ]
    asked_for = question.product.assurance
    without = _without(question, units)
    return _part("bands", level=asked_for.level, sure=asked_for.sure, names=names, rows=rows, without=without)


def _without(question: Question, units: Units) -> list[str]:
    """Rolls that have no speed band at any pressure, and pressures that have none with any roll."""
    bands, trial = question.bands, question.window.surfaces.trial
    rolls = [roll.label for roll in question.window.rolls if roll.id not in set(bands["roll"])]
    apart = np.subtract.outer(np.asarray(trial.pressures, float), bands[trial.pressure_key].to_numpy(float))
    pressures = [at for at, near in zip(trial.pressures, np.isclose(apart, 0.0).any(axis=1)) if not near]
    return [
        *([f"with {'roll' if len(rolls) == 1 else 'rolls'} {listed(rolls)}"] if rolls else []),
        *([f"at {listed([units.pressure.words(at) for at in pressures])}"] if pressures else []),
    ]


def _band_numbers(bands: pd.DataFrame, key: str, units: Units) -> dict[str, list[str]]:
    """The columns of the table of bands that are numbers, as texts."""
    columns = {
        "pressure": (units.pressure, key),
        "low": (units.speed, "speed_low_m_min"),
        "high": (units.speed, "speed_high_m_min"),
        "safest": (units.speed, "safest_speed_m_min"),
    }
    return {name: unit.column(bands[column]) for name, (unit, column) in columns.items()}


def _band(question: Question, band: pd.Series, at: Setup, units: Units, *, several: bool) -> dict:
    """A row of the table of bands; the plate is told where there are several."""
    key = question.window.surfaces.trial.pressure_key
    return {
        "here": (band["roll"], band["plate"], band[key]) == (at.roll.id, at.plate, at.pressure),
        "roll": f"{question.roll(band['roll']).label} ({units.volume.number(band['cell_volume_cm3_m2'])})",
        "plate": band["plate"] if several else None,
        "at_safest": band["conformance_at_safest"],
        "limited_low": limited_by(band, "low"),
        "limited_high": limited_by(band, "high"),
    }


def downloads(question: Question) -> Markup:
    """What saves the table of speed bands, in which planned rolls are marked, and what a click in the picture does."""
    labels = [question.roll(roll).label for roll in question.bands["roll"]]
    table = link("Save the speed bands (CSV)", "speed-bands.csv", csv_of(question.bands.assign(roll=labels)))
    return _part("downloads", table=table)
