"""Answers of the commands on an archive, as text."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence

import pandas as pd

from pwindow.cli.tables import table
from pwindow.product import REQUIREMENT_KINDS
from pwindow.trials.archive import Standing
from pwindow.wording import counted, percent, pressure, speed


def added_text(answer: Mapping) -> str:
    """What was added, and whether it agrees with what was there before."""
    return "\n\n".join(_added_text(one, answer["archive"]) for one in answer["added"])


def _added_text(one: Mapping, archive: str) -> str:
    what = (
        f"trial {one['trial']}, {one['name']}: {counted(one['prints'], 'print', 'prints')}, "
        f"{counted(one['features'], 'feature', 'features')} (fingerprint "
        f"{one['fingerprint']})"
    )
    if one["known"]:
        return f"{what} is already in the archive; nothing was changed: {_status(one['standing'])}"
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
    frame = pd.DataFrame(answer["trials"]).set_index("trial")
    frame["status"] = frame["standing"].map(_status)
    return table(
        frame[["name", "prints", "features", "added", "status", "reason", "fingerprint"]], index=True
    )


def history_text(answer: Mapping) -> str:
    """All that was found and decided about a trial."""
    lines = [f"trial {answer['trial']}, {answer['name']}"]
    for event in answer["history"]:
        if "told" in event:
            lines.append(f"{event['made']}  compared with fit {event['against']}: {event['verdict']}")
            lines += [f"  {sentence}" for sentence in event["told"]]
        else:
            lines.append(f"{event['made']}  {_status(event['standing'])}: {event['reason']}".rstrip(": "))
    return "\n".join(lines)


def fits_text(answer: Mapping) -> str:
    """The fits of an archive."""
    if not answer["fits"]:
        return f"archive {answer['archive']} has no fits yet; make one with `pwindow refit`"
    return "\n".join(_kept_text(one) for one in answer["fits"])


def _kept_text(one: Mapping) -> str:
    trials = ", ".join(f"{trial['number']} ({_status(trial['standing'])})" for trial in one["trials"])
    lines = [
        f"fit {one['number']}, {one['fingerprint']}, {one['made']}: trials {trials}; terms {one['terms']}"
    ]
    if "fit" in one:
        lines[0] += f"; surfaces {one['fit']}"
    unit = one["pressure_unit"]
    lines += [f"  {name}: {_run(product['recommended'], unit)}" for name, product in one["products"].items()]
    if not one["products"]:
        lines.append("  no product was judged; name one with --product")
    return "\n".join(lines)


def _run(best: Mapping | None, unit: str, *, judged: bool = True) -> str:
    if not judged:
        return "not judged"
    if best is None:
        return "no assured speed"
    return (
        f"{speed(best['speed_m_min'])} m/min with roll {best['roll']}, pressure {pressure(best['pressure'])} {unit}".rstrip()
        + (f", plate {best['plate']}" if best["plate"] else "")
        + f" (joint conformance {percent(best['conformance'])})"
    )


def refit_text(answer: Mapping) -> str:
    """A new fit, and how it differs from the last."""
    parts = [_kept_text(answer["fit"])]
    if answer["compared"] is not None:
        before, after = (answer["compared"][side]["number"] for side in ("before", "after"))
        parts += _what_moved(answer["compared"])
        parts.append(f"coefficients and standard deviations: `pwindow compare {before} {after}`")
    return "\n\n".join(parts)


def compared_text(answer: Mapping) -> str:
    """Two fits side by side."""
    parts = _what_moved(answer)
    for what in ("coefficients", "standard_deviations"):
        title = f"{what.replace('_', ' ')} (of logarithms of height, width and resistivity; of closure in µm)"
        parts.append(f"{title}\n" + table(pd.DataFrame(answer[what])))
    return "\n\n".join(parts)


def _what_moved(answer: Mapping) -> list[str]:
    """What is recommended on two fits, and what moved it."""
    before, after = answer["before"], answer["after"]
    parts = [
        f"fit {before['number']} ({before['fingerprint']}) → fit {after['number']} ({after['fingerprint']})"
    ]
    for name, best in answer["recommended"].items():
        words = _run(best["before"], answer["pressure_unit"], judged=best["judged_before"])
        parts.append(f"{name}\n  before: {words}\n  after:  {_run(best['after'], answer['pressure_unit'])}")
    parts += [f"note: {change}" for change in answer["changes"]]
    if answer["influence"]:
        parts.append(
            "recommended speed with all trials and with one left out, m/min\n"
            + table(_without_empty(pd.DataFrame(answer["influence"]), "why"))
        )
    if answer["bands"]:
        parts.append("fastest assured speed, m/min\n" + table(pd.DataFrame(answer["bands"])))
    return parts


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
    if answer["differences"]:
        lines += [f"{len(answer['differences'])} numbers differ:"]
        lines += [f"  {one}" for one in answer["differences"]]
    return "\n".join(lines)


def confirmed_text(answer: Mapping) -> str:
    """Confirmation prints beside what the fit predicted."""
    fit = answer["fit"]
    parts = [
        f"trial {answer['trial']}, {answer['name']}: compared with the predictions of fit {fit['number']} ({fit['fingerprint']}), "
        f"it {answer['agreement']['verdict']}",
        *_met_text(answer["met"]),
        *(["\n".join(answer["not_judged"])] if answer["not_judged"] else []),
        "\n".join(answer["agreement"]["sentences"]),
    ]
    if answer["promises"]:
        promises = pd.DataFrame(answer["promises"])
        chances = [name for name in promises.columns if name == "promised" or name.startswith("if_")]
        promises[chances] = promises[chances].map(_chance)
        parts.append(
            "joint conformance probability of the next run: as stated before, and with these prints included\n"
            + table(promises)
        )
    else:
        parts.append("the fit judged no product that matches these prints")
    return "\n\n".join([*parts, _to_decide(answer["trial"], answer["archive"])])


def _met_text(rows: Sequence[Mapping]) -> list[str]:
    """How many prints met what a product requires, and which did not."""
    parts = []
    for product, members in pd.DataFrame(rows).groupby("product", sort=False) if rows else []:
        prints = members.groupby("print", sort=False)["met"].all()
        lines = [
            f"{product}: {prints.sum()} of {len(prints)} prints meet every requirement that was measured"
        ]
        for _, one in members[~members["met"].astype(bool)].iterrows():
            span = (
                f"{one['low']:.4g}" if one["low"] == one["high"] else f"{one['low']:.4g} … {one['high']:.4g}"
            )
            bridged = f", {one['bridged']} bridged" if one["bridged"] else ""
            lines.append(
                f"  print {one['print']}: {REQUIREMENT_KINDS[one['requirement']].label} {span} {one['unit']}{bridged}"
            )
        parts.append("\n".join(lines))
    return parts


def _chance(value: float | None) -> str:
    if value is None or pd.isna(value):
        return "–"
    return percent(value)


def volumes_text(answer: Mapping) -> str:
    """The roll inventory of an archive."""
    if not answer["measurements"]:
        return (
            f"archive {answer['archive']} has no roll measurements: the rolls of its trials are the inventory; record a measurement with "
            '`pwindow rolls --roll ID --volume "4.4 cm3/m2"`'
        )
    return "cell volumes, cm³/m²; the last measurement of each roll applies\n" + table(
        pd.DataFrame(answer["measurements"])
    )
