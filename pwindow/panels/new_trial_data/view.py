"""What the page of new trial data says; its markup is in ``templates/view.html.j2``."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial

import pandas as pd
from markupsafe import Markup

from pwindow.markup import part
from pwindow.panels.new_trial_data.model import Listed, Situation, Step
from pwindow.panels.shared.words import table
from pwindow.product import REQUIREMENT_KINDS
from pwindow.surfaces.agreement.new_trial import Agreement
from pwindow.surfaces.checks.verdict import RULE, Verdict
from pwindow.trials.trial import Trial
from pwindow.window.run.requirements_met import Counted
from pwindow.wording import Unit, Units, amount, bound, percent, term_words
from pwindow.workflows.adding import NewTrial, comparison_of
from pwindow.workflows.confirm import Confirmation
from pwindow.workflows.desk import Compared, Comparison, Decided, Standing
from pwindow.workflows.kept import KeptFit

_part = partial(part, __package__, "view")
_BIG: dict[str, str] = {
    Verdict.AGREES: "Agrees",
    Verdict.UNUSUAL: "Unusual",
    Verdict.DIFFERS: "Does not agree",
}
_TITLES = {
    Step.ADD: "Add a trial",
    Step.AGREE: "Compare trial",
    Step.DECIDE: "Decide",
    Step.REFIT: "Refit",
    Step.COMPARE: "Compare fits",
    Step.CONFIRM: "Confirm",
}
_NOTHING = ("", "–")
"""What a cell without content holds."""
_NAMED = ("response", "term", "between")
"""Columns of names that are ours and not a file's."""
TEMPORARY = "temporary, deleted when the server stops"


def step_heading(step: Step, *, here: bool, is_next: bool) -> Markup:
    """The number and title of a step; marked in words where it is the one that can be taken.

    Parameters
    ----------
    step : Step
    here : bool
        Whether it is the one.
    is_next : bool
        Whether it is so because it is next, and not because it was chosen.
    """
    return _part("step_heading", number=int(step), title=_TITLES[step], here=here, next=is_next)


def step_guide(sentence: str) -> Markup:
    """What to do in the step that can be taken."""
    return _part("step_guide", sentence=sentence)


def what_it_does(said: str) -> Markup:
    """What a button does, below it."""
    return _part("step_note", said=said)


def step_note(step: Step, missing: str, now: Situation) -> Markup | str:
    """Why a step cannot be taken, or what to know before it is; nothing where there is nothing to say.

    Parameters
    ----------
    step : Step
    missing : str
        What it needs that is not there, "" where nothing is missing.
    now : Situation
    """
    said = missing
    if step is Step.REFIT and not missing:
        if now.awaits:
            said = "the trial that awaits a decision is not included"
        elif now.fit is not None:
            said = f"fit {now.fit} is up to date"
    return _part("step_note", said=said) if said else ""


def guide(step: Step, now: Situation, listed: Listed, about: int | None) -> str:
    """What to do in a step, in a sentence.

    Parameters
    ----------
    step : Step
    now : Situation
    listed : Listed
    about : int or None
        Number of the trial looked at.
    """
    trial = "" if about is None else f"trial {about}, {listed.trials['name'][about]}"
    if step is Step.ADD:
        if now.trials and not now.products:
            return "Add a product file, which says what the part must do: refits judge it."
        first = "The first trial is used in fits at once." if not now.trials else "It is stored unchanged."
        return f"Add a trial file, or a product to judge. {first}"
    if step is Step.AGREE:
        return f"See whether {trial}, agrees with the fit of the other trials in use."
    if step is Step.DECIDE:
        again = "" if now.awaits else " again"
        return f"Give a reason, then choose{again} how {trial}, is used."
    if step is Step.REFIT:
        return _refit_guide(now)
    last = listed.last_fits[1]
    if step is Step.COMPARE:
        return "See what changed between two fits, and which trial changed it."
    return (
        f"When the run is printed, load its prints to compare them with the predictions of fit {last}. For another trial, "
        "go to step 1."
    )


def _refit_guide(now: Situation) -> str:
    if now.fit is not None:
        return f"Fit {now.fit} is up to date; select other products to judge them."
    if not now.fits:
        return "Fit the trials in use, and judge the selected products."
    return "Fit again: trials, decisions, products or rolls have changed since the last fit."


def temporary_note() -> Markup:
    """That this archive does not last, and how to have one that does."""
    return _part("temporary")


def what_is_kept() -> Markup:
    """Where results live."""
    return _part("what_is_kept")


def shown_elsewhere(names: Sequence[str]) -> Markup:
    """That the other pages show files that the server was started with, and not the archive."""
    return _part("shown_elsewhere", names=list(names))


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
    names = ("trial", "file", "status", "reason", "prints", "measured features", "added, UTC")
    return _part("trials", table=_filled(names, rows))


def _filled(names: Sequence[str], rows: Iterable[Sequence[object]]) -> Markup:
    """A table of the columns that have something in them."""
    rows = [list(row) for row in rows]
    kept = [at for at in range(len(names)) if any(row[at] not in _NOTHING for row in rows)]
    return table([names[at] for at in kept], [[row[at] for at in kept] for row in rows])


def history_card(number: int, name: str, history: pd.DataFrame) -> Markup:
    """All that was found and decided about a trial, folded.

    Parameters
    ----------
    number : int
    name : str
    history : DataFrame
        As of `Desk.history`.
    """
    return _part(
        "history", number=number, name=name, events=[_event(event) for _, event in history.iterrows()]
    )


def _event(event: pd.Series) -> dict:
    """A decision; or, without a standing, what was found when the trial was compared with a fit."""
    if pd.isna(event["standing"]):
        found = {"verdict": event["verdict"], "against": event["against"], "told": event["told"].splitlines()}
        return {"made": event["made"], "standing": None, **found}
    return {"made": event["made"], "standing": Standing(event["standing"]).status, "reason": event["reason"]}


def product_card(name: str) -> Markup:
    """That a product was kept."""
    return _part("product_kept", name=name)


def added_card(new: NewTrial, standing: str, units: Units) -> Markup:
    """What came of adding a trial.

    Parameters
    ----------
    new : NewTrial
    standing : str
        What was decided about it.
    units : Units
    """
    added, agreement = new.added, new.agreement
    said = {
        "trial": added.trial,
        "name": added.name,
        "known": added.known,
        "standing": Standing(standing).status,
    }
    card = _part("added", **said, decided=agreement is None)
    return card if added.known or agreement is None else card + agreement_card(agreement, units)


def read_notes(notes: Sequence[str]) -> Markup:
    """What was noticed when a trial was read; nothing where nothing was."""
    return _part("read_notes", notes=list(dict.fromkeys(notes)))


def agreement_card(found: Agreement, units: Units) -> Markup:
    """Whether a trial agrees with the fit of the others."""
    return _agreement(found.trial.files, comparison_of(found, units))


def kept_agreement(name: str, history: pd.DataFrame) -> Markup | str:
    """What was found when a trial was compared last; nothing where it never was."""
    found = history[history["standing"].isna()]
    if found.empty:
        return ""
    last = found.iloc[-1]
    return _agreement([name], Comparison(last["against"], last["verdict"], tuple(last["told"].splitlines())))


def _agreement(files: Sequence[str], found: Comparison) -> Markup:
    """The rule stands behind the sentences, where anything was compared."""
    told = list(found.sentences)
    rule = told.pop() if told and told[-1] == RULE else ""
    return _part(
        "agreement",
        big=_BIG.get(found.verdict.partition(",")[0], "Not comparable"),
        files=files,
        against=found.against,
        judged=found.verdict.partition(", ")[2],
        told=told,
        rule=rule.removeprefix("How this is judged: "),
    )


def confirmed_card(fit: KeptFit, found: Confirmation, units: Units) -> Markup:
    """Prints of a run beside the predictions of a fit.

    Parameters
    ----------
    fit : KeptFit
    found : Confirmation
    units : Units
    """
    return _part(
        "confirmed",
        trial=found.added.trial,
        name=found.added.name,
        fit=fit.number,
        agreement=agreement_card(found.agreement, units),
        met=[
            _met(found.counts[str(product)], str(product), members, units)
            for product, members in found.met.groupby("product", sort=False)
        ],
        not_judged=found.not_judged,
        promises=_promises(found.promises, found.agreement.trial, units),
    )


def _met(
    counts: Counted, product: str, members: pd.DataFrame, units: Units
) -> tuple[str, str, Markup | None]:
    """A product, how many prints met what it requires and what that shows, and a table of what was missed.

    Parameters
    ----------
    counts : Counted
    product : str
    members : DataFrame
        The rows of the product, as of `requirements_met`.
    units : Units
    """
    rows = [
        (
            one["print"],
            REQUIREMENT_KINDS[one["requirement"]].label,
            _measured(one, units.of(one["unit"])),
            one["bridged"] or "–",
        )
        for _, one in members[~members["met"].astype(bool)].iterrows()
    ]  # fmt: skip
    missed = _filled(("print", "missed", "measured", "bridged gaps"), rows) if rows else None
    return product, counts.sentence, missed


def _measured(one: pd.Series, unit: Unit) -> str:
    ends = (amount(unit.of(value)) for value in dict.fromkeys((one["low"], one["high"])))
    return f"{' … '.join(ends)} {unit.name}"


def _promises(found: pd.DataFrame, trial: Trial, units: Units) -> Markup | None:
    """The joint conformance probability as stated before, and with these prints included."""
    if found.empty:
        return None
    chances = ("promised", "if_same_process", "if_changed_process")
    rows = [
        (
            row["product"],
            f"{units.speed.words(row['speed_m_min'])}, {units.volume.words(row['cell_volume_cm3_m2'])}, "
            f"{units.pressure.words(row[trial.pressure_key])}",
            *("not tried" if pd.isna(row[name]) else percent(row[name]) for name in chances),
        )
        for _, row in found.iterrows()
    ]
    names = ("product", "set-up", "stated before", "now, if same process", "now, if changed process")
    return table(names, rows)


def decision_card(decided: Decided) -> Markup:
    """What was decided."""
    return _part("decided", decided=decided)


def compared_card(found: Compared, units: Units) -> Markup:
    """What a fit recommends, and what an earlier one did."""
    before, after = found.before, found.after
    moves = [(name, *_moved(before, after, name, units)) for name in after.answer["products"]]
    rows = [(name, _run(before, name, units), _run(after, name, units)) for name in after.answer["products"]]
    was = "before" if before is None else f"fit {before.number}"
    return _part(
        "compared",
        number=after.number,
        was=None if before is None else before.number,
        moves=moves,
        table=_filled(("product", was, f"fit {after.number}"), rows) if rows else None,
        changes=found.tables.get("changes", ()),
    )


def compared_tables(found: Compared, units: Units) -> str:
    """Why it moved: what each trial does to it, speed bands, standard deviations, coefficients."""
    if found.before is None or not found.tables:
        return ""
    tables, was, now = (
        _in_units(found.tables, units),
        f"fit {found.before.number}",
        f"fit {found.after.number}",
    )
    titles = {
        "influence": (f"Recommended speed with and without each trial, {units.speed.name}", ["trial", "file", "product", "with it", "without it", "why no fit"]),
        "bands": (f"Fastest assured speed, {units.speed.name}", ["product", "roll", "plate", f"pressure, {units.pressure.name}", was, now]),
        "standard_deviations": ("What varies (standard deviations; of logarithms, or µm of closure)", ["response", "between", was, now]),
        "coefficients": ("Coefficients", ["response", "term", was, now, "change, standard errors"]),
    }  # fmt: skip
    return "".join(_folded(title, names, tables[key]) for key, (title, names) in titles.items())


def _in_units(tables: Mapping, units: Units) -> dict:
    """The tables of two fits with speeds and pressures as they are written."""
    columns = {
        "influence": {"speed_with": units.speed, "speed_without": units.speed},
        "bands": {"pressure": units.pressure, "fastest_before": units.speed, "fastest_after": units.speed},
    }
    shown = dict(tables)
    for name, converted in columns.items():
        own = tables[name]
        shown[name] = own.assign(**{column: _column(unit, own[column]) for column, unit in converted.items()})
    return shown


def _column(unit: Unit, values: pd.Series) -> list[str]:
    return ["–" if pd.isna(value) else unit.number(float(value)) for value in values]


def _folded(title: str, names: Sequence[str], found: pd.DataFrame) -> Markup | str:
    if found.empty:
        return ""
    rows = (
        [term_words(value) if name in _NAMED else _cell(value) for name, value in zip(names, row)]
        for row in found.iloc[:, : len(names)].to_numpy(object)
    )
    return _part("folded", title=title, content=_filled(names, rows))


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and pd.isna(value)):
        return "–"
    return amount(value, 4) if isinstance(value, float) else str(value)


def _moved(before: KeptFit | None, after: KeptFit, name: str, units: Units) -> tuple[str, str]:
    """What a fit changes of the recommended speed, and of the set-up beside it, in words."""
    best = after.answer["products"][name]["recommended"]
    if before is None or name not in before.answer["products"]:
        return "No assured speed" if best is None else units.speed.words(best["speed_m_min"]), ""
    was = before.answer["products"][name]["recommended"]
    if best is None:
        return (
            ("No assured speed", "there was none before")
            if was is None
            else ("No assured speed any more", "")
        )
    if was is None:
        return f"Assured now, at {units.speed.words(best['speed_m_min'])}", ""
    return _faster(was, best, units), _other_settings(was, best, units)


def _faster(was: Mapping, best: Mapping, units: Units) -> str:
    """How much faster or slower a recommended set-up is, in words."""
    gain = float(best["speed_m_min"] - was["speed_m_min"])
    if float(units.speed.number(abs(gain))) == 0.0:
        return "No change of speed" if _other_settings(was, best, units) else "No change"
    return f"{units.speed.words(abs(gain))} {'faster' if gain > 0 else 'slower'}"


def _other_settings(was: Mapping, best: Mapping, units: Units) -> str:
    """The settings of a recommended set-up that differ from those before, in words."""
    changed = [
        f"{words} {write(best[key])} instead of {write(was[key])}"
        for key, words, write in (
            ("roll", "roll", str),
            ("plate", "plate", str),
            ("pressure", "pressure", units.pressure.words),
        )
        if best[key] != was[key]
    ]
    return ", ".join(changed)


def _run(kept: KeptFit | None, name: str, units: Units) -> str:
    if kept is None:
        return "–"
    product = kept.answer["products"].get(name)
    if product is None:
        return "not judged"
    best = product["recommended"]
    if best is None:
        return "no assured speed"
    plate = f", {best['plate']}" if best["plate"] else ""
    nip = units.pressure.words(best["pressure"])
    return f"{units.speed.words(best['speed_m_min'])}, roll {best['roll']}, {nip}{plate}\n{percent(best['conformance'])} probability{bound(best.get('conformance_interval'))}"
