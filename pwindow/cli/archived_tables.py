"""Answers of the commands on an archive, as text."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pwindow.cli.tables import table


def added_text(answer: Mapping) -> str:
    """What was added, and whether it agrees with what was there before."""
    return "\n\n".join(_added_text(one) for one in answer["added"])


def _added_text(one: Mapping) -> str:
    what = (
        f"trial {one['trial']}, {one['name']}: {one['prints']} prints, {one['features']} features (fingerprint "
        f"{one['fingerprint']})"
    )
    if one["known"]:
        return f"{what} is in the archive already; it stays as it is: {one['standing']}"
    lines = [what]
    if one["agreement"] is not None:
        agrees = one["agreement"]["agrees"]
        lines.append(
            f"held against the fit of the trials before it, it {'agrees' if agrees else 'does not agree'}:"
        )
        lines += [f"  {sentence}" for sentence in one["agreement"]["sentences"]]
    if one["standing"] == "undecided":
        lines.append(
            f'fits do not use it yet: `pwindow accept {one["trial"]} --reason "…"`, or `pwindow set-aside '
            f'{one["trial"]} --reason "…"`'
        )
    else:
        lines.append(f"{one['standing']}: fits use it from now on")
    return "\n".join(lines)


def trials_text(answer: Mapping) -> str:
    """The trials of an archive and what was decided about them."""
    if not answer["trials"]:
        return f"archive {answer['archive']} has no trial yet; `pwindow add` adds one"
    frame = pd.DataFrame(answer["trials"]).set_index("trial")
    return table(
        frame[["name", "prints", "features", "added", "standing", "reason", "fingerprint"]], index=True
    )


def history_text(answer: Mapping) -> str:
    """All that was found and decided about a trial."""
    lines = [f"trial {answer['trial']}, {answer['name']}"]
    for event in answer["history"]:
        if "told" in event:
            verdict = "agrees" if event["agrees"] else "does not agree"
            lines.append(f"{event['made']}  held against fit {event['against']}: {verdict}")
            lines += [f"  {sentence}" for sentence in event["told"]]
        else:
            lines.append(f"{event['made']}  {event['standing']}: {event['reason']}".rstrip(": "))
    return "\n".join(lines)


def fits_text(answer: Mapping) -> str:
    """The fits of an archive."""
    if not answer["fits"]:
        return f"archive {answer['archive']} has no fit yet; `pwindow refit` makes one"
    return "\n".join(_kept_text(one) for one in answer["fits"])


def _kept_text(one: Mapping) -> str:
    trials = ", ".join(f"{trial['number']} ({trial['standing']})" for trial in one["trials"])
    lines = [
        f"fit {one['number']}, {one['fingerprint']}, {one['made']}: trials {trials}; terms {one['terms']}"
    ]
    if "fit" in one:
        lines[0] += f"; surfaces {one['fit']}"
    lines += [f"  {name}: {_run(product['recommended'])}" for name, product in one["products"].items()]
    return "\n".join(lines)


def _run(best: Mapping | None) -> str:
    if best is None:
        return "no assured speed"
    return (
        f"{best['speed_m_min']:g} m/min with roll {best['roll']}, pressure {best['pressure']:g}"
        + (f", plate {best['plate']}" if best["plate"] else "")
        + f" (conformance {best['conformance']:.3f})"
    )


def refit_text(answer: Mapping) -> str:
    """A new fit, and how it differs from the last."""
    parts = [_kept_text(answer["fit"])]
    if answer["compared"] is not None:
        parts.append(compared_text(answer["compared"]))
    return "\n\n".join(parts)


def compared_text(answer: Mapping) -> str:
    """Two fits side by side."""
    before, after = answer["before"], answer["after"]
    parts = [
        f"fit {before['number']} ({before['fingerprint']}) → fit {after['number']} ({after['fingerprint']})"
    ]
    for name, best in answer["recommended"].items():
        parts.append(f"{name}\n  before: {_run(best['before'])}\n  after:  {_run(best['after'])}")
    if answer["influence"]:
        parts.append(
            "recommended speed with all trials, and without one, m/min\n"
            + table(_without_empty(pd.DataFrame(answer["influence"]), "why"))
        )
    if answer["bands"]:
        parts.append("fastest assured speed, m/min\n" + table(pd.DataFrame(answer["bands"])))
    for what in ("coefficients", "standard_deviations"):
        parts.append(f"{what.replace('_', ' ')}\n" + table(pd.DataFrame(answer[what])))
    return "\n\n".join(parts)


def _without_empty(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    return frame if frame[column].any() else frame.drop(columns=column)


def again_text(answer: Mapping) -> str:
    """Whether a fit comes out again as it was."""
    start = f"fit {answer['number']} ({answer['fingerprint']}), made anew from the archive"
    if answer["same_as_printed"]:
        return f"{start}: the same in every printed digit"
    return "\n".join(
        [f"{start}: {len(answer['differences'])} numbers print otherwise", *answer["differences"]]
    )


def confirmed_text(answer: Mapping) -> str:
    """Confirmation prints beside what was promised of them."""
    agrees, fit = answer["agreement"]["agrees"], answer["fit"]
    lines = [
        f"trial {answer['trial']}, {answer['name']}: the prints {'agree' if agrees else 'do not agree'} with what fit "
        f"{fit['number']} ({fit['fingerprint']}) promised",
        *(f"  {sentence}" for sentence in answer["agreement"]["sentences"]),
        "",
        "joint conformance of the next run, as it was promised and with these prints counted",
        table(pd.DataFrame(answer["promises"])) if answer["promises"] else "the fit was made for no product",
        "",
        f'fits do not use them yet: `pwindow accept {answer["trial"]} --reason "…"`',
    ]
    return "\n".join(lines)


def volumes_text(answer: Mapping) -> str:
    """The roll inventory of an archive."""
    if not answer["measurements"]:
        return (
            f"archive {answer['archive']} has no measured roll: the rolls of its trials are the inventory; `pwindow rolls "
            '--roll ID --volume "4.4 cm3/m2"` keeps a measurement'
        )
    return "cell volumes, cm³/m²; the last of each roll counts\n" + table(
        pd.DataFrame(answer["measurements"])
    )
