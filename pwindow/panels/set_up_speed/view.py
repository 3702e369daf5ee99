"""What the page says, as HTML; every name that comes from a file is escaped here."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import pandas as pd

from pwindow.outputs import csv_of
from pwindow.panels.shared.question import Question
from pwindow.panels.shared.words import cell, link, together
from pwindow.product import KINDS
from pwindow.surfaces.findings import Finding
from pwindow.window.bands import limited_by
from pwindow.window.setup import Setup
from pwindow.window.shortfall.words import conflicts, promise, remedies
from pwindow.window.trade_offs import INTERVALS, predict_shown, shown_quantities
from pwindow.wording import asked, percent, pressure, setup_words, speed, volume, with_interval


def passed_over(wanted: str, why: str, shown: str) -> str:
    """Why another product is shown than the one before.

    Parameters
    ----------
    wanted : str
        Name of the product that cannot be judged.
    why : str
        A sentence.
    shown : str
        Name of the product that is shown.
    """
    return (
        f"<p class='pw-note' role='status'>Shown is <b>{escape(shown)}</b>: the trial cannot judge <b>{escape(wanted)}</b>. "
        f"{escape(why)}</p>"
    )


def answer_card(question: Question) -> str:
    """The set-up to run, first thing on the page."""
    best = question.recommended
    if best is None:
        return _no_answer(question)
    trial = question.evidence.surfaces.trial
    plate = f" · plate {escape(best.setup.plate)}" if best.setup.plate else ""
    return (
        "<section class='pw-answer'>"
        f"<div class='pw-big'>{speed(best.setup.speed)} m/min</div>"
        f"<div><b>Roll {escape(best.setup.roll.id)}</b> ({volume(best.setup.roll.cell_volume)} cm³/m²) · pressure "
        f"{pressure(best.setup.pressure)} {trial.pressure_unit}{plate}<br>"
        f"All requirements of <b>{escape(question.product.name)}</b> hold together in the next run with a "
        f"probability of <b>{percent(best.conformance, question.window.level)}</b>; safest at {speed(best.band.safest)} m/min "
        f"({percent(best.band.conformance_at_safest, question.window.level)}).<br>"
        f"{escape(together(best.why))}{_assumed(question)}</div></section>"
    )


def window_notes(question: Question) -> str:
    """What the reader of the probabilities must know."""
    return "".join(f"<p class='pw-note'>{escape(note)}</p>" for note in question.window.notes)


def finding_list(findings: Sequence[Finding]) -> str:
    """What speaks against the surfaces; nothing where nothing does."""
    if not findings:
        return ""
    items = "".join(f"<li>{escape(finding.sentence)}</li>" for finding in findings)
    return f"<p class='pw-note'>What to mind:</p><ul class='pw-findings'>{items}</ul>"


def _assumed(question: Question) -> str:
    """What the promise stands on where the trial does not tell how far make-readies differ."""
    found = question.evidence.surfaces.mountings
    if found.told:
        return ""
    return f"<p class='pw-warn'>{escape(found.brief[:1].upper() + found.brief[1:])}.</p>"


def _no_answer(question: Question) -> str:
    """The set-up that comes closest, and how close for each requirement."""
    found = question.shortfall
    if found is None:
        return (
            "<section class='pw-answer'><div class='pw-big'>No set-up</div><div>No roll of the inventory lies in "
            "the trial region: nothing can be said about this product.</div></section>"
        )
    rows = "".join(
        f"<li>{escape(one.requirement.wording())}: predicted {_interval((one.mean, one.low, one.high), one.requirement.kind.unit)}, "
        f"{together(percent(one.conformance, found.level))} probability of meeting it</li>"
        for one in found.missed
    )
    return (
        "<section class='pw-answer'><div class='pw-big'>No speed is assured</div>"
        f"<div><b>{escape(question.product.name)}</b>: {escape(together(promise(found)))}<ul>{rows}</ul>{_assumed(question)}</div></section>"
    )


def shortfall_list(question: Question) -> str:
    """Where nothing is assured, what conflicts and what would do; nothing elsewhere."""
    found = question.shortfall
    if found is None:
        return ""
    return "".join(
        f"<h3>{heading}</h3><ul class='pw-findings'>{''.join(f'<li>{escape(together(one))}</li>' for one in sentences)}</ul>"
        for heading, sentences in (("What conflicts", conflicts(found)), ("What would do", remedies(found)))
        if sentences
    )


def setup_card(question: Question, setup: Setup) -> str:
    """Predicted responses and conformance of the set-up looked at."""
    window, frame = question.window, question.frame(setup)
    trial = question.evidence.surfaces.trial
    name = setup_words(setup.roll.id, setup.pressure, trial.pressure_unit, setup.speed)
    title = f"<h3>Looked at: {escape(name)}</h3>"
    if not window.in_trial_region(frame)[0]:
        return f"{title}<p class='pw-warn'>Outside the trial region: nothing was tried there, so nothing is promised.</p>"
    table = window.conformance(frame).iloc[0]
    lead = f"<p>All requirements together: <b>{percent(table['joint'], window.level)}</b></p>"
    return f"{title}{lead}{_requirement_table(question, frame, table)}{_response_table(question, frame)}"


def _requirement_table(question: Question, frame: pd.DataFrame, conformance: pd.Series) -> str:
    found = question.window.quantities(frame)
    rows = "".join(
        f"<tr><th scope='row'>{requirement.wording()}{_count(requirement)}</th>"
        f"<td>{'mean gap ' * bool(_count(requirement))}{_value(found[requirement.name].iloc[0], requirement.kind.unit)}</td>"
        f"<td>{percent(conformance[requirement.name], question.window.level)}</td></tr>"
        for requirement in question.product.requirements
    )
    return (
        "<table><thead><tr><th scope='col'>requirement</th><th scope='col'>next print, 95 % interval</th>"
        f"<th scope='col'>met with</th></tr></thead><tbody>{rows}</tbody></table>"
    )


def _count(requirement) -> str:
    count = requirement.parameters.get("count", 1)
    return f", every one of {count}" if count > 1 else ""


def _value(row: pd.Series, unit: str) -> str:
    return _interval((row["mean"], row["obs_ci_low"], row["obs_ci_high"]), unit)


def _interval(ends: tuple[float, float, float], unit: str) -> str:
    """A prediction with its interval."""
    if pd.isna(ends[0]):
        return "counted, not measured"
    value, low, high = with_interval(*ends)
    return f"<b>{value}</b> {unit} ({low} … {high})"


def _response_table(question: Question, frame: pd.DataFrame) -> str:
    shown = shown_quantities(question.window, str(frame["plate"].iloc[0] or ""))
    shown = {name: one for name, one in shown.items() if one.requirement is None}
    predicted = predict_shown(question.window, frame, shown)
    rows = []
    for one in shown.values():
        told = predicted[list(one.columns)].set_axis(INTERVALS, axis=1).iloc[0]
        rows.append(f"<tr><th scope='row'>{one.label}</th><td>{_value(told, one.unit)}</td></tr>")
    if not rows:
        return ""
    return (
        "<table><thead><tr><th scope='col'>also predicted</th><th scope='col'>next print, 95 % interval</th></tr>"
        f"</thead><tbody>{''.join(rows)}</tbody></table>"
    )


def neighbour_card(question: Question, setup: Setup) -> str:
    """What slower and faster speeds would do, and why one would fail."""
    table = question.neighbours(setup)
    title = "<h3>Slower and faster with this roll and pressure</h3>"
    if table.empty:
        return ""
    names = list(question.window.limits[setup.plate].requirements)
    head = "".join(f"<th scope='col'>{KINDS[name].label}</th>" for name in names)
    rows = "".join(
        f"<tr{' class=pw-here' if abs(row['speed_m_min'] - setup.speed) < 1e-6 else ''}>"
        f"<th scope='row'>{speed(row['speed_m_min'])} m/min</th><td><b>{percent(row['joint'], question.window.level)}</b></td>"
        + "".join(f"<td>{percent(row[name], question.window.level)}</td>" for name in names)
        + "</tr>"
        for _, row in table.iterrows()
    )
    return (
        f"{title}<p>{escape(_why_not(question, table))}</p><table><thead><tr><th scope='col'>speed</th>"
        f"<th scope='col'>all together</th>{head}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _why_not(question: Question, table: pd.DataFrame) -> str:
    level = question.window.level
    failing = table[table["joint"] < level]
    if failing.empty:
        return f"All these speeds stay at or above {asked(level)}."
    parts = [
        f"at {speed(row['speed_m_min'])} m/min {KINDS[row['limiting']].label} holds with only {percent(row[row['limiting']], level)}"
        for _, row in failing.iterrows()
    ]
    return f"Below {asked(level)}: " + "; ".join(parts) + "."


def band_table(question: Question) -> str:
    """All speed bands, with the ends that are only the end of what was tried marked."""
    bands, trial = question.bands, question.evidence.surfaces.trial
    if bands.empty:
        return ""
    best = question.recommended
    several = bands["plate"].nunique() > 1
    rows = []
    for _, band in bands.iterrows():
        chosen = (
            band["roll"] == best.setup.roll.id
            and band["plate"] == best.setup.plate
            and (band[trial.pressure_key] == best.setup.pressure)
        )
        rows.append(
            f"<tr{' class=pw-here' if chosen else ''}><th scope='row'>{escape(str(band['roll']))}</th>"
            f"<td>{volume(band['cell_volume_cm3_m2'])}</td>{cell(escape(band['plate'])) if several else ''}"
            f"<td>{pressure(band[trial.pressure_key])}</td>"
            f"<td>{speed(band['speed_low_m_min'])} – <b>{speed(band['speed_high_m_min'])}</b></td>"
            f"<td>{speed(band['safest_speed_m_min'])} ({percent(band['conformance_at_safest'], question.window.level)})</td>"
            f"<td>{limited_by(band, 'low')} / {limited_by(band, 'high')}</td></tr>"
        )
    heads = [
        "roll",
        "cell volume, cm³/m²",
        f"pressure, {trial.pressure_unit}",
        "speed band, m/min",
        "safest speed, m/min",
        "what ends it, slow / fast",
    ]
    if several:
        heads.insert(2, "plate")
    head = "".join(f"<th scope='col'>{name}</th>" for name in heads)
    return (
        f"<h3>Speed bands at {asked(question.window.level)} or more, at the pressures that were tried</h3>"
        f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )


def downloads(question: Question) -> str:
    """What saves the table of speed bands."""
    return link("Save the table (CSV)", "speed-bands.csv", csv_of(question.bands))
