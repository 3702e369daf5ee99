"""What the commands on an archive answer, as plain documents that JSON can hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.outputs import plain
from pwindow.trials.archive import USED, Archive
from pwindow.wording import Units

if TYPE_CHECKING:  # loaded by what needs them: a first trial is added without a fit
    from pwindow.surfaces.agreement.new_trial import Agreement
    from pwindow.trials.plates import PlateRecord
    from pwindow.workflows.adding import NewTrial
    from pwindow.workflows.confirm import Confirmation
    from pwindow.workflows.kept import KeptFit
    from pwindow.workflows.kept_scans import Found, Written


def added_answer(archive: Archive, new: NewTrial) -> dict:
    """What came of adding a trial to an archive."""
    row = archive.trials().loc[new.added.trial]
    return plain(
        {
            "trial": new.added.trial,
            "name": new.added.name,
            "known": new.added.known,
            **row[["standing", "prints", "features", "fingerprint"]].to_dict(),
            "warnings": list(new.warnings),
            "agreement": None if new.agreement is None else agreement_answer(new.agreement),
        }
    )


def plates_answer(record: PlateRecord) -> dict:
    """The plates that an archive knows."""
    plates = record.features.index.get_level_values("plate_id")
    return plain(
        {
            "files": list(record.files),
            "plates": list(dict.fromkeys(plates)),
            "features": len(record.features),
            "notes": list(record.notes),
        }
    )


def agreement_answer(found: Agreement, units: Units | None = None) -> dict:
    """How a new trial compares with the fit of those before it; sentences in its own units unless others are given."""
    from pwindow.surfaces.checks.verdict import Verdict

    return {
        "agrees": found.degree is Verdict.AGREES and found.compared > 0,
        "degree": str(found.degree) if found.compared else None,
        "verdict": found.verdict,
        "against": found.against,
        "sentences": list(found.sentences_and_rule(units)),
        "responses": {
            name: {
                "verdict": str(one.verdict),
                "prints": int(one.cells["print"].nunique()),
                "means": len(one.cells),
                "inside_95_percent_interval": one.covered,
                "shift": one.shift,
                "shift_low": one.shift_low,
                "shift_high": one.shift_high,
                "shift_p": one.shift_p,
                "joint_p": one.joint_p,
                "trend": None if one.trend is None else vars(one.trend),
                "standing_out": one.standing_out,
                "cells": one.cells.to_dict("records"),
            }
            for name, one in found.by_name.items()
        },
        "bridged_gaps": None
        if found.bridging is None
        else vars(found.bridging)
        | {"cells": found.bridging.cells.to_dict("records"), "standing_out": found.bridging.standing_out},
    }


def trials_answer(archive: Archive) -> dict:
    """The trials of an archive."""
    rows = archive.trials().reset_index(names="trial")
    for name in ("added", "decided"):
        rows[name] = [moment.isoformat(timespec="seconds") for moment in rows[name]]
    return plain({"archive": archive.address, "trials": rows.to_dict("records")})


def history_answer(archive: Archive, number: int) -> dict:
    """All that was found and decided about a trial, in its order."""
    events = [row.dropna().to_dict() for _, row in archive.history(number).iterrows()]
    for event in events:
        event["made"] = event["made"].isoformat(timespec="seconds")
        if "told" in event:
            event["told"] = event["told"].splitlines()
    name = archive.trials().loc[number, "name"]
    return plain({"archive": archive.address, "trial": number, "name": name, "history": events})


def kept_answer(kept: KeptFit) -> dict:
    """A kept fit."""
    return plain(
        {
            "number": kept.number,
            "fingerprint": kept.fingerprint,
            "made": kept.made.isoformat(timespec="seconds"),
            **kept.recipe,
            "products": kept.answer["products"],
            "pressure_unit": kept.answer.get("pressure_unit", ""),
            "surfaces": kept.answer["surfaces"],
        }
    )


def fits_answer(archive: Archive) -> dict:
    """The fits of an archive."""
    from pwindow.workflows.kept import kept_fit

    kept = [kept_fit(archive, str(number)) for number in archive.fits().index]
    return {"archive": archive.address, "fits": [kept_answer(one) for one in kept]}


def compared_answer(before: KeptFit, after: KeptFit, found: Mapping) -> dict:
    """Two kept fits side by side.

    Parameters
    ----------
    before, after : KeptFit
    found : mapping
        As `workflows.compare.compare` gives it.
    """
    tables = {
        name: table.to_dict("records") for name, table in found.items() if isinstance(table, pd.DataFrame)
    }
    return plain(
        {
            "before": {"number": before.number, "fingerprint": before.fingerprint},
            "after": {"number": after.number, "fingerprint": after.fingerprint},
            "pressure_unit": after.answer.get("pressure_unit", ""),
            "changes": found["changes"],
            "recommended": found["recommended"],
            **tables,
        }
    )


def again_answer(kept: KeptFit, archive: Archive) -> dict:
    """A stored fit reproduced from the archive, and whether the data it used are unchanged."""
    from pwindow.surfaces.fingerprint import versions
    from pwindow.workflows.compare import differences
    from pwindow.workflows.kept import answer_of
    from pwindow.workflows.verify import has_its_recipe, verify

    changed, moved = verify(archive, kept), []
    if has_its_recipe(kept):
        try:
            moved = differences(kept.answer, answer_of(archive, kept.recipe))
        except UnusableInput as problem:
            changed.append(f"it cannot be reproduced: {problem}")
    return {
        "number": kept.number,
        "fingerprint": kept.fingerprint,
        "verified": not changed,
        "changed": changed,
        "same_as_printed": not moved and not changed,
        "differences": moved,
        "versions_then": kept.recipe["versions"],
        "versions_now": versions(),
    }


def confirmed_answer(archive: Archive, fit: KeptFit, found: Confirmation, units: Units) -> dict:
    """Confirmation prints beside what the fit predicted.

    Parameters
    ----------
    archive : Archive
    fit : KeptFit
        The one to confirm.
    found : Confirmation
    units : Units
        That sentences are written in.
    """
    return plain(
        {
            "fit": {"number": fit.number, "fingerprint": fit.fingerprint},
            "trial": found.added.trial,
            "name": found.added.name,
            "archive": archive.address,
            "agreement": agreement_answer(found.agreement, units),
            "met": found.met.to_dict("records"),
            "counts": {
                product: asdict(one) | {"sentence": one.sentence} for product, one in found.counts.items()
            },
            "not_judged": list(found.not_judged),
            "promises": found.promises.to_dict("records"),
        }
    )


def volumes_answer(archive: Archive) -> dict:
    """The roll inventory of an archive: the volumes in use, and every measurement."""
    found, kept = archive.volumes(), archive.trials()
    tried = archive.trial().rolls if kept["standing"].isin(USED).any() else ()
    return plain(
        {
            "archive": archive.address,
            "rolls": {roll.id: roll.cell_volume for roll in archive.rolls(tried)},
            "measurements": found.assign(measured=found["measured"].astype(str)).to_dict("records"),
        }
    )


def scans_answer(archive: Archive, found: Found, written: Written | None) -> dict:
    """Scans that an archive keeps, and what was written of them.

    Parameters
    ----------
    archive : Archive
    found : Found
    written : Written or None
        None where they are only listed.
    """
    rows = found.scans.rename(columns={"size": "size_bytes"})
    rows["kept"] = [moment.isoformat(timespec="seconds") for moment in rows["kept"]]
    return plain(
        {
            "archive": archive.address,
            "scans": rows.to_dict("records"),
            "not_kept": found.missing,
            "written": None if written is None else list(map(str, written.new)),
            "already_there": None if written is None else list(map(str, written.known)),
        }
    )
