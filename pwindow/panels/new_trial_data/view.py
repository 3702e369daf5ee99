"""What the page of new trial data says; its markup is in ``templates/view.html.j2``."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import partial

import pandas as pd
from markupsafe import Markup

from pwindow.markup import part
from pwindow.panels.new_trial_data.model import Listed
from pwindow.panels.shared.words import table
from pwindow.product import REQUIREMENT_KINDS
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.surfaces.checks.verdict import Verdict
from pwindow.trials.trial import Trial
from pwindow.wording import percent, pressure, speed, volume
from pwindow.workflows.adding import NewTrial
from pwindow.workflows.confirm import Confirmation
from pwindow.workflows.desk import Compared, Decided, Standing
from pwindow.workflows.kept import KeptFit

_part = partial(part, __package__, "view")
_BIG = {Verdict.AGREES: "Agrees", Verdict.UNUSUAL: "Unusual", Verdict.DIFFERS: "Differs"}
TEMPORARY = "temporary, deleted when the server stops"


def temporary_note() -> Markup:
    """That this archive does not last, and how to have one that does."""
    return _part("temporary")


def loaded_elsewhere() -> Markup:
    """That what a visitor loaded on another page is not in the archive."""
    return _part("loaded_elsewhere")


def no_product() -> Markup:
    """That there is none to choose."""
    return _part("no_product")


def archive_line(address: str, listed: Listed) -> Markup:
    """Which archive, how many trials, which fit is the last and for which products, and when that was read."""
    trials, fits = listed.trials, listed.fits
    return _part(
        "archive",
        address=address,
        trials=len(trials),
        used=int(trials["used"].sum()),
        last=None if fits.empty else _last_fit(fits),
        products=[] if fits.empty else list(json.loads(fits.iloc[-1]["answer"])["products"]),
        read=datetime.now(UTC),
    )


def _last_fit(fits: pd.DataFrame) -> dict:
    fit = fits.iloc[-1]
    return {
        "number": fits.index[-1],
        "fingerprint": fit["fingerprint"],
        "surfaces": json.loads(fit["recipe"]).get("fit", ""),
        "made": fit["made"],
    }


def trial_table(trials: pd.DataFrame) -> Markup:
    """The trials of an archive and what was decided about them."""
    if trials.empty:
        return _part("no_trial")
    rows = [
        (
            number,
            row["name"],
            Standing(row["standing"]).status,
            row["reason"],
            row["prints"],
            row["features"],
            f"{row['added']:%Y-%m-%d %H:%M}",
        )
        for number, row in trials.iterrows()
    ]
    names = ("trial", "file", "status", "reason", "prints", "features", "added, UTC")
    return _part("trials", table=table(names, rows))


def history_card(name: str, history: pd.DataFrame) -> Markup:
    """All that was found and decided about a trial."""
    return _part("history", name=name, events=[_event(event) for _, event in history.iterrows()])


def _event(event: pd.Series) -> dict:
    """A decision; or, without a standing, what was found when the trial was compared with a fit."""
    if pd.isna(event["standing"]):
        found = {"verdict": event["verdict"], "against": event["against"], "told": event["told"].splitlines()}
        return {"made": event["made"], "standing": None, **found}
    return {"made": event["made"], "standing": Standing(event["standing"]).status, "reason": event["reason"]}


def product_card(name: str) -> Markup:
    """That a product was kept."""
    return _part("product_kept", name=name)


def added_card(new: NewTrial, standing: str) -> Markup:
    """What came of adding a trial."""
    added, agreement = new.added, new.agreement
    said = {
        "trial": added.trial,
        "name": added.name,
        "known": added.known,
        "standing": Standing(standing).status,
    }
    card = _part("added", **said, decided=agreement is None)
    return card if added.known or agreement is None else card + agreement_card(agreement)


def read_notes(notes: Sequence[str]) -> Markup:
    """What was noticed when a trial was read; nothing where nothing was."""
    return _part("read_notes", notes=list(dict.fromkeys(notes)))


def agreement_card(found: Agreement) -> Markup:
    """Whether a trial agrees with the fit of the others."""
    return _part(
        "agreement",
        big=_BIG[found.degree] if found.compared else "Not comparable",
        files=found.trial.files,
        against=found.against,
        verdict=found.verdict,
        told=found.sentences_and_rule,
    )


def confirmed_card(fit: KeptFit, found: Confirmation) -> Markup:
    """Prints of a run beside the predictions of a fit."""
    return _part(
        "confirmed",
        trial=found.added.trial,
        name=found.added.name,
        fit=fit.number,
        agreement=agreement_card(found.agreement),
        met=[_met(str(product), members) for product, members in found.met.groupby("product", sort=False)],
        not_judged=found.not_judged,
        promises=_promises(found.promises, found.agreement.trial),
    )


def _met(product: str, members: pd.DataFrame) -> tuple[str, int, int, Markup | None]:
    """A product, how many of how many prints met what it requires, and a table of what was missed."""
    prints = members.groupby("print", sort=False)["met"].all()
    rows = [
        (
            one["print"],
            REQUIREMENT_KINDS[one["requirement"]].label,
            " … ".join(f"{value:.4g}" for value in dict.fromkeys((one["low"], one["high"]))) + f" {one['unit']}",
            one["bridged"] or "–",
        )
        for _, one in members[~members["met"].astype(bool)].iterrows()
    ]  # fmt: skip
    missed = table(("print", "missed", "measured", "bridged gaps"), rows) if rows else None
    return product, prints.sum(), len(prints), missed


def _promises(found: pd.DataFrame, trial: Trial) -> Markup | None:
    """The joint conformance probability as stated before, and with these prints included."""
    if found.empty:
        return None
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
    names = ("product", "set-up", "stated before", "now, if same process", "now, if changed process")
    return table(names, rows)


def decision_card(decided: Decided) -> Markup:
    """What was decided."""
    return _part("decided", decided=decided)


def compared_card(found: Compared) -> Markup:
    """What a fit recommends, and what an earlier one did."""
    before, after = found.before, found.after
    rows = [(name, _run(before, name), _run(after, name)) for name in after.answer["products"]]
    was = "before" if before is None else f"fit {before.number}"
    return _part(
        "compared",
        number=after.number,
        fingerprint=after.fingerprint,
        table=table(("product", was, f"fit {after.number}"), rows) if rows else None,
        changes=found.tables.get("changes", ()),
    )


def compared_tables(found: Compared) -> str:
    """Why it moved: what each trial does to it, speed bands, standard deviations, coefficients."""
    if found.before is None:
        return ""
    tables, was, now = found.tables, f"fit {found.before.number}", f"fit {found.after.number}"
    titles = {
        "influence": ("Recommended speed with and without each trial, m/min", ["trial", "file", "product", "with it", "without it", "why no fit"]),
        "bands": ("Fastest assured speed, m/min", ["product", "roll", "plate", "pressure", was, now]),
        "standard_deviations": ("What varies (standard deviations; of logarithms, or µm of closure)", ["response", "between", was, now]),
        "coefficients": ("Coefficients", ["response", "term", was, now, "change, standard errors"]),
    }  # fmt: skip
    return "".join(_folded(title, names, tables[key]) for key, (title, names) in titles.items())


def _folded(title: str, names: Sequence[str], found: pd.DataFrame) -> Markup | str:
    if found.empty:
        return ""
    rows = ([_cell(value) for value in row] for row in found.iloc[:, : len(names)].to_numpy(object))
    return _part("folded", title=title, table=table(names, rows))


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and pd.isna(value)):
        return "–"
    return f"{value:.4g}" if isinstance(value, float) else str(value).replace("_", " ")


def _run(kept: KeptFit | None, name: str) -> str:
    if kept is None:
        return "–"
    product = kept.answer["products"].get(name)
    if product is None:
        return "not judged"
    best = product["recommended"]
    if best is None:
        return "no assured speed"
    plate = f", {best['plate']}" if best["plate"] else ""
    nip = f"{pressure(best['pressure'])} {kept.answer.get('pressure_unit', '')}".rstrip()
    return f"{speed(best['speed_m_min'])} m/min, roll {best['roll']}, {nip}{plate}\n{percent(best['conformance'])}"
