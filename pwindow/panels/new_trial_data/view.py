"""What the page of new trial data says, as HTML; every name that comes from a file is escaped here."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape

import pandas as pd

from pwindow.panels.new_trial_data.model import Compared
from pwindow.panels.shared.frame import clock, facts
from pwindow.panels.shared.words import table
from pwindow.product import KINDS
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.surfaces.checks.verdict import Verdict
from pwindow.trials.archive import STANDINGS, USED
from pwindow.trials.trial import Trial
from pwindow.wording import percent, pressure, speed, volume
from pwindow.workflows.adding import NewTrial
from pwindow.workflows.confirm import Confirmation
from pwindow.workflows.kept import KeptFit

_BIG = {Verdict.AGREES: "Agrees", Verdict.UNUSUAL: "Unusual", Verdict.DIFFERS: "Differs"}
TEMPORARY = "temporary, lost when the server stops"
TEMPORARY_NOTE = (
    "<p class='pw-note'>This archive is temporary, and lost when the server stops: try things out here. To keep trials, start the server with "
    "<code>pwindow serve --archive trials.db</code>.</p>"
)
LOADED_ELSEWHERE = (
    "<p class='pw-note' role='status'>What you loaded on another page is yours alone and is not in this archive; add it here "
    "to keep it.</p>"
)
NO_PRODUCT = "<p class='pw-note'>No product yet: add a product file, and fits judge it.</p>"


def archive_line(address: str, trials: pd.DataFrame, fits: pd.DataFrame) -> str:
    """Which archive, how many trials, which fit is the last and for which products, and when that was read.

    Parameters
    ----------
    address : str
    trials, fits : DataFrame
        As `Archive.trials` and `Archive.fits` give them.
    """
    used = int(trials["standing"].isin(USED).sum())
    last, judged = "no fit yet", ()
    if not fits.empty:
        fit = fits.iloc[-1]
        surfaces = json.loads(fit["recipe"]).get("fit", "")
        last = (
            f"{fits.index[-1]}, <code>{fit['fingerprint']}</code>, of surfaces <code>{surfaces}</code>, "
            f"{_moment(fit['made'])} UTC"
        )
        judged = tuple(json.loads(fit["answer"])["products"])
    return facts(
        ("Archive", f"<b>{escape(address)}</b>"),
        ("Trials", f"{len(trials)} trial{'s' * (len(trials) != 1)}, {used} used in fits"),
        ("Last fit", last),
        ("Product" if len(judged) < 2 else "Products", escape(", ".join(judged)) or "none judged yet"),
        ("Read", clock(datetime.now(UTC))),
    )


def trial_table(trials: pd.DataFrame) -> str:
    """The trials of an archive and what was decided about them."""
    if trials.empty:
        return "<p class='pw-note'>No trial yet: add the first, and fits use it at once.</p>"
    rows = [
        (
            number,
            row["name"],
            row["standing"],
            row["reason"],
            row["prints"],
            row["features"],
            _moment(row["added"]),
        )
        for number, row in trials.iterrows()
    ]
    names = ("trial", "file", "standing", "reason", "prints", "features", "added, UTC")
    return f"<h3>Trials of the archive</h3><div class='pw-snug'>{table(names, rows)}</div>"


def history_card(name: str, history: pd.DataFrame) -> str:
    """All that was found and decided about a trial."""
    items = "".join(
        f"<li>{_moment(event['made'])} UTC: {_event(event)}</li>" for _, event in history.iterrows()
    )
    return f"<h3>{escape(name)}, from then to now</h3><ul class='pw-findings'>{items}</ul>"


def _event(event: pd.Series) -> str:
    if pd.isna(event["standing"]):
        told = "".join(f"<li>{escape(sentence)}</li>" for sentence in event["told"].splitlines())
        return f"<b>{escape(event['verdict'])}</b> when held against fit <code>{event['against']}</code><ul>{told}</ul>"
    reason = f", “{escape(event['reason'])}”" if event["reason"] else ""
    return f"<b>{event['standing']}</b>{reason}"


def _moment(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"


def product_card(name: str) -> str:
    """That a product was kept."""
    return f"<p class='pw-note'>Product <b>{escape(name)}</b> is kept; fit anew to judge it.</p>"


def added_card(new: NewTrial, standing: str) -> str:
    """What came of adding a trial."""
    added = new.added
    start = f"Trial {added.trial}, <b>{escape(added.name)}</b>"
    if added.known:
        return f"<p class='pw-note'>{start}, is in the archive already; it stays as it is: {escape(standing)}.</p>"
    if new.agreement is None:
        return f"<p class='pw-note'>{start}, is kept: {escape(standing)}.</p>"
    return f"<p class='pw-note'>{start}, is kept and waits for your decision.</p>" + agreement_card(
        new.agreement
    )


def read_notes(notes: Sequence[str]) -> str:
    """What was noticed when a trial was read; nothing where nothing was."""
    items = "".join(f"<li>{escape(note)}</li>" for note in dict.fromkeys(notes))
    return items and f"<p class='pw-note'>On reading the file:</p><ul class='pw-findings'>{items}</ul>"


def agreement_card(found: Agreement) -> str:
    """Whether a trial agrees with the fit of the others."""
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in found.told)
    return (
        f"<section class='pw-answer'><div class='pw-big'>{_BIG[found.degree] if found.compared else 'Cannot tell'}</div><div>"
        f"{escape(', '.join(found.trial.files))}, held against fit <code>{found.against}</code>: "
        f"{found.verdict}.</div></section>"
        f"<ul class='pw-findings'>{items}</ul>"
    )


def confirmed_card(fit: KeptFit, found: Confirmation) -> str:
    """Prints of a run beside what a fit promised of them."""
    return (
        f"<p class='pw-note'>Trial {found.added.trial}, <b>{escape(found.added.name)}</b>, is kept and waits for your "
        f"decision; held against what fit {fit.number} promised:</p>"
        f"{agreement_card(found.agreement)}{_met(found.met)}"
        f"{''.join(f'<p>{escape(one)}</p>' for one in found.not_judged)}{_promises(found.promises, found.agreement.trial)}"
    )


def _met(found: pd.DataFrame) -> str:
    """How many prints met what a product requires, and which did not."""
    parts = []
    for product, members in found.groupby("product", sort=False):
        prints = members.groupby("print", sort=False)["met"].all()
        title = f"<h3>{escape(str(product))}: {prints.sum()} of {len(prints)} prints meet all that was measured of it</h3>"
        missed = members[~members["met"].astype(bool)]
        rows = [
            (
                one["print"],
                KINDS[one["requirement"]].label,
                " … ".join(f"{value:.4g}" for value in dict.fromkeys((one["low"], one["high"])))
                + f" {one['unit']}",
                one["bridged"] or "–",
            )
            for _, one in missed.iterrows()
        ]
        parts.append(title + (table(("print", "missed", "measured", "bridged gaps"), rows) if rows else ""))
    return "".join(parts)


def _promises(found: pd.DataFrame, trial: Trial) -> str:
    """The joint conformance that was promised, and with these prints counted."""
    if found.empty:
        return ""
    chances = ("promised", "if_same_process", "if_changed_process")
    rows = [
        (
            row["product"],
            f"{speed(row['speed_m_min'])} m/min, {volume(row['cell_volume_cm3_m2'])} cm³/m², "
            f"{pressure(row[trial.pressure_key])} {trial.pressure_unit}",
            *("not tried" if pd.isna(row[name]) else percent(row[name]) for name in chances),
        )
        for _, row in found.iterrows()
    ]
    names = ("product", "set-up", "was promised", "now, same process", "now, changed process")
    return f"<h3>All requirements together, next run</h3>{table(names, rows)}"


def decision_card(trial: pd.Series) -> str:
    """What was decided."""
    meaning = STANDINGS[trial["standing"]]
    return f"<p class='pw-note'><b>{escape(trial['name'])}</b> is now “{trial['standing']}”: {meaning}. Fit anew.</p>"


def compared_card(found: Compared) -> str:
    """What a fit recommends, and what an earlier one did."""
    before, after = found.before, found.after
    rows = [(name, _run(before, name), _run(after, name)) for name in after.answer["products"]]
    notes = "".join(
        f"<p class='pw-note'>{escape(change[:1].upper() + change[1:])}.</p>"
        for change in found.tables.get("changes", ())
    )
    was = "before" if before is None else f"fit {before.number}"
    title = f"<h3>Fit {after.number}, <code>{after.fingerprint}</code></h3>"
    asked = "" if rows else "<p class='pw-note'>No product was judged; add one and choose it.</p>"
    return f"{title}{asked}{table(('product', was, f'fit {after.number}'), rows) if rows else ''}{notes}"


def compared_tables(found: Compared) -> str:
    """Why it moved: what each trial does to it, speed bands, standard deviations, coefficients."""
    if found.before is None:
        return ""
    tables, was, now = found.tables, f"fit {found.before.number}", f"fit {found.after.number}"
    titles = {
        "influence": ("What each trial does to the recommended speed, m/min", ["trial", "file", "product", "with it", "without it", "why none"]),
        "bands": ("Fastest assured speed, m/min", ["product", "roll", "plate", "pressure", was, now]),
        "standard_deviations": ("What varies (standard deviations; of logarithms, or µm of closure)", ["response", "between", was, now]),
        "coefficients": ("Coefficients", ["response", "term", was, now, "moved, standard errors"]),
    }  # fmt: skip
    return "".join(_folded(title, names, tables[key]) for key, (title, names) in titles.items())


def _folded(title: str, names: Sequence[str], found: pd.DataFrame) -> str:
    if found.empty:
        return ""
    rows = ([_cell(value) for value in row] for row in found.iloc[:, : len(names)].to_numpy(object))
    return f"<details class='pw-more'><summary>{title}</summary>{table(names, rows)}</details>"


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and pd.isna(value)):
        return "–"
    return f"{value:.4g}" if isinstance(value, float) else str(value).replace("_", " ")


def _run(kept: KeptFit | None, name: str) -> str:
    product = None if kept is None else kept.answer["products"].get(name)
    if product is None:
        return "–" if kept is None else "not judged"
    best = product["recommended"]
    if best is None:
        return "no assured speed"
    plate = f", {best['plate']}" if best["plate"] else ""
    nip = f"{pressure(best['pressure'])} {kept.answer.get('pressure_unit', '')}".rstrip()
    return f"{speed(best['speed_m_min'])} m/min, roll {best['roll']}, {nip}{plate}\n{percent(best['conformance'])}"
