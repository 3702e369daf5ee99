"""Answers of the commands on an archive, as text."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import pandas as pd

from pwindow.cli.tables import place_words, table
from pwindow.product import REQUIREMENT_KINDS
from pwindow.trials.archive import Standing
from pwindow.wording import METRIC, Unit, Units, amount, bound, counted, metric, percent, term_words


def added_text(answer: Mapping) -> str:
    """What was added, and whether it agrees with what was there before."""
    parts = [_plates_text(answer["plates"])] if "plates" in answer else []
    return "\n\n".join([*parts, *(_added_text(one, answer["archive"]) for one in answer["added"])])


def _plates_text(plates: Mapping) -> str:
    notes = "".join(f"\nnote: {note}" for note in plates["notes"])
    ids = ", ".join(plates["plates"])
    return f"measured plates in the archive: {ids} ({counted(plates['features'], 'feature', 'features')} from {', '.join(plates['files'])}){notes}"


def _added_text(one: Mapping, archive: str) -> str:
    what = (
        f"trial {one['trial']}, {one['name']}: {counted(one['prints'], 'print', 'prints')}, "
        f"{counted(one['features'], 'feature', 'features')} "
        f"(trial {one['fingerprint']})"
    )
    if one["known"]:
        return f"{what} is already in the archive ({_status(one['standing'])}); nothing was changed"
    lines = [*(f"WARNING: {warning}" for warning in one["warnings"]), what]
    if one["agreement"] is not None:
        lines.append(f"compared with the fit of the earlier trials, it {one['agreement']['verdict']}:")
        lines += [f"  {sentence}" for sentence in one["agreement"]["sentences"]]
    if one["standing"] == "undecided":
        lines.append(_to_decide(one["trial"], archive))
    else:
        lines.append(f"{one['standing']}: used in fits from now on")
    return "\n".join(lines)


def _status(standing: str) -> str:
    return Standing(standing).status


def _minute(made: str) -> str:
    return datetime.fromisoformat(made).strftime("%Y-%m-%d %H:%M UTC")


def _to_decide(trial: int, archive: str) -> str:
    """What can be decided about a trial, as commands."""
    rest = f'{trial} --archive {shlex.quote(archive)} --reason "…"'
    return (
        f"not used in fits yet; decide:\n  pwindow accept {rest}         more prints of the same process\n"
        f"  pwindow accept-change {rest}  the process has changed\n  pwindow set-aside {rest}      not to be used"
    )


def trials_text(answer: Mapping) -> str:
    """The trials of an archive and what was decided about them."""
    if not answer["trials"]:
        return f"archive {answer['archive']} has no trials yet; add one with `pwindow add`"
    frame = pd.DataFrame(answer["trials"])
    frame = frame.assign(status=frame["standing"].map(_status), added=frame["added"].map(_minute))
    return table(frame[["trial", "name", "prints", "features", "added", "status", "reason", "fingerprint"]])


def history_text(answer: Mapping) -> str:
    """All that was found and decided about a trial."""
    lines = [f"trial {answer['trial']}, {answer['name']}"]
    for event in answer["history"]:
        made = _minute(event["made"])
        if "told" in event:
            lines.append(f"{made}  compared with fit {event['against']}: {event['verdict']}")
            lines += [f"  {sentence}" for sentence in event["told"]]
        else:
            lines.append(f"{made}  {_status(event['standing'])}: {event['reason']}".rstrip(": "))
    return "\n".join(lines)


def fits_text(answer: Mapping, units: Units = METRIC) -> str:
    """The fits of an archive."""
    if not answer["fits"]:
        return f"archive {answer['archive']} has no fits yet; make one with `pwindow refit`"
    return "\n".join(_kept_text(one, units) for one in answer["fits"])


def _kept_text(one: Mapping, units: Units) -> str:
    trials = ", ".join(f"{trial['number']} ({_status(trial['standing'])})" for trial in one["trials"])
    lines = [
        f"fit {one['number']}, {one['fingerprint']}, {_minute(one['made'])}: trials {trials}; terms {one['terms']}"
    ]
    if "fit" in one:
        lines[0] += f"; surfaces {one['fit']}"
    own = _as_kept(units, one["pressure_unit"])
    lines += [f"  {name}: {_run(product['recommended'], own)}" for name, product in one["products"].items()]
    if not one["products"]:
        lines.append("  no product was judged; name one with --product")
    return "\n".join(lines)


def _as_kept(units: Units, kind: str) -> Units:
    """The units, with pressures as the fit keeps them where they are of another kind."""
    return units if units.pressure.kept == kind else replace(units, pressure=metric(kind).pressure)


def _run(best: Mapping | None, units: Units, *, judged: bool = True) -> str:
    if not judged:
        return "not judged"
    if best is None:
        return "no assured speed"
    return (
        f"{units.speed.words(best['speed_m_min'])} with roll {best['roll']}, pressure {units.pressure.words(best['pressure'])}".rstrip()
        + (f", plate {best['plate']}" if best["plate"] else "")
        + f" ({percent(best['conformance'])} probability of meeting all requirements{bound(best.get('conformance_interval'))})"
    )


def refit_text(answer: Mapping, units: Units = METRIC) -> str:
    """A new fit, and how it differs from the last."""
    parts = [_kept_text(answer["fit"], units)]
    if answer["compared"] is not None:
        before, after = (answer["compared"][side]["number"] for side in ("before", "after"))
        parts += _what_moved(answer["compared"], units)
        parts.append(f"coefficients and standard deviations: `pwindow compare {before} {after}`")
    return "\n\n".join(parts)


def compared_text(answer: Mapping, units: Units = METRIC) -> str:
    """Two fits side by side."""
    parts = _what_moved(answer, units)
    for what in ("coefficients", "standard_deviations"):
        title = f"{what.replace('_', ' ')} (of logarithms of height, width and resistivity; of closure in µm)"
        parts.append(f"{title}\n" + table(_terms(pd.DataFrame(answer[what]))))
    return "\n\n".join(parts)


def _terms(rows: pd.DataFrame) -> pd.DataFrame:
    """Coefficients or standard deviations of two fits, as they are read."""
    named = rows.assign(**{name: rows[name].map(term_words) for name in ("response", "term")})
    if "in_std_errors" in named:
        named["in_std_errors"] = named["in_std_errors"].astype(float)
    return named.rename(columns={"in_std_errors": "change, standard errors"})


def _what_moved(answer: Mapping, units: Units) -> list[str]:
    """What is recommended on two fits, and what moved it."""
    before, after = answer["before"], answer["after"]
    own = _as_kept(units, answer["pressure_unit"])
    parts = [
        f"fit {before['number']} ({before['fingerprint']}) → fit {after['number']} ({after['fingerprint']})"
    ]
    for name, best in answer["recommended"].items():
        words = _run(best["before"], own, judged=best["judged_before"])
        parts.append(f"{name}\n  before: {words}\n  after:  {_run(best['after'], own)}")
    parts += [f"note: {change}" for change in answer["changes"]]
    if answer["influence"]:
        parts.append(
            f"recommended speed with all trials and with one left out, {units.speed.name}\n"
            + table(
                _in_units(
                    _without_empty(pd.DataFrame(answer["influence"]), "why"),
                    ("speed_with", "speed_without"),
                    own,
                ).rename(columns={"speed_with": "with it", "speed_without": "without it"})
            )
        )
    if answer["bands"]:
        moved = _in_units(pd.DataFrame(answer["bands"]), ("fastest_before", "fastest_after"), own)
        heads = {
            "fastest_before": "before",
            "fastest_after": "after",
            "pressure": f"pressure, {own.pressure.name}",
        }
        parts.append(f"fastest assured speed, {units.speed.name}\n" + table(moved.rename(columns=heads)))
    return parts


def _in_units(table: pd.DataFrame, speeds: Sequence[str], units: Units) -> pd.DataFrame:
    """A table of speeds, and pressures where it has them, as they are written."""
    shown = {name: _column(units.speed, table[name]) for name in speeds}
    if "pressure" in table:
        shown["pressure"] = _column(units.pressure, table["pressure"])
    return table.assign(**shown)


def _column(unit: Unit, values: pd.Series) -> list[str]:
    return ["–" if pd.isna(value) else unit.number(float(value)) for value in values]


def _without_empty(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    return frame if frame[column].any() else frame.drop(columns=column)


def again_text(answer: Mapping) -> str:
    """Whether a fit is reproduced as it was stored."""
    start = f"fit {answer['number']} ({answer['fingerprint']}), reproduced from the archive"
    if answer["same_as_printed"]:
        return f"{start}: identical to the last printed digit; files, rows and decisions are unchanged"
    lines = [f"{start}: different"]
    if answer["changed"]:
        lines += ["changed since it was stored:", *(f"  {one}" for one in answer["changed"])]
    elif answer["versions_then"]["pwindow"] != answer["versions_now"]["pwindow"]:
        then, now = (answer[f"versions_{when}"]["pwindow"] for when in ("then", "now"))
        lines += [
            f"files, rows and decisions are unchanged; the fit was made with pwindow {then}, and {now} may compute different "
            "numbers (see the list of changes in DEVELOPERS.md)"
        ]
    if answer["differences"]:
        lines += [f"{len(answer['differences'])} numbers differ:"]
        lines += [f"  {one}" for one in answer["differences"]]
    return "\n".join(lines)


def confirmed_text(answer: Mapping, units: Units = METRIC) -> str:
    """Confirmation prints beside what the fit predicted."""
    fit = answer["fit"]
    parts = [
        f"trial {answer['trial']}, {answer['name']}: compared with the predictions of fit {fit['number']} ({fit['fingerprint']}), "
        f"it {answer['agreement']['verdict']}",
        *_met_text(answer["met"], answer["counts"], units),
        *(["\n".join(answer["not_judged"])] if answer["not_judged"] else []),
        "\n".join(answer["agreement"]["sentences"]),
    ]
    if answer["promises"]:
        promises = pd.DataFrame([_promise(one, units) for one in answer["promises"]])
        parts.append(
            "probability that the next run meets all requirements: as stated before, and with these prints included\n"
            + table(promises)
        )
    else:
        parts.append("the fit judged no product that matches these prints")
    return "\n\n".join([*parts, _to_decide(answer["trial"], answer["archive"])])


_PROMISED = {
    "promised": "stated before",
    "if_same_process": "now, if same process",
    "if_changed_process": "now, if changed process",
}


def _promise(one: Mapping, units: Units) -> dict:
    """The probability at a set-up of a run, before and after its prints."""
    setting = {
        name: value for name, value in one.items() if value and name not in ("product", "prints", *_PROMISED)
    }
    chances = {words: _chance(one[name]) for name, words in _PROMISED.items() if name in one}
    return {
        "product": one["product"],
        "set-up": place_words(setting, units),
        "prints": one["prints"],
    } | chances


def _met_text(rows: Sequence[Mapping], counts: Mapping[str, Mapping], units: Units) -> list[str]:
    """How many prints met what a product requires, what that shows, and which did not.

    Parameters
    ----------
    rows : sequence of mapping
    counts : mapping of str to mapping
        By product.
    units : Units
    """
    parts = []
    for product, members in pd.DataFrame(rows).groupby("product", sort=False) if rows else []:
        lines = [f"{product}: {counts[str(product)]['sentence']}"]
        for _, one in members[~members["met"].astype(bool)].iterrows():
            unit = units.of(one["unit"])
            low, high = (amount(unit.of(one[end])) for end in ("low", "high"))
            span = low if low == high else f"{low} … {high}"
            bridged = f", {one['bridged']} bridged" if one["bridged"] else ""
            lines.append(
                f"  print {one['print']}: {REQUIREMENT_KINDS[one['requirement']].label} {span} {unit.name}{bridged}"
            )
        parts.append("\n".join(lines))
    return parts


def _chance(value: float | None) -> str:
    if value is None or pd.isna(value):
        return "–"
    return percent(value)


def volumes_text(answer: Mapping, units: Units = METRIC) -> str:
    """The roll inventory of an archive."""
    if not answer["measurements"]:
        return (
            f"archive {answer['archive']} has no roll measurements: the rolls of its trials are the inventory; record a measurement with "
            '`pwindow rolls --roll ID --volume "4.4 cm3/m2"`'
        )
    measured = pd.DataFrame(answer["measurements"])
    measured["cell_volume"] = units.volume.of(measured["cell_volume"].astype(float))
    return f"cell volumes, {units.volume.name}; the last measurement of each roll applies\n{table(measured)}"


def scans_text(answer: Mapping) -> str:
    """Scans that an archive keeps, or the files that were written of them."""
    if answer["written"] is not None:
        lines = [f"written: {path}" for path in answer["written"]]
        return "\n".join([*lines, *(f"already there: {path}" for path in answer["already_there"])])
    if not answer["scans"]:
        return f"archive {answer['archive']} keeps none of these scans; `pwindow trace … --keep-scans` keeps them"
    rows = pd.DataFrame(answer["scans"])
    shown = {
        "scan": rows["name"],
        "size, kB": [f"{size / 1e3:,.1f}" for size in rows["size_bytes"]],
        "kept": rows["kept"].map(_minute),
        "SHA-256": rows["sha256"].str[:12],
    }
    return table(pd.DataFrame(shown))
