"""Whether a kept fit, and what it stands on, is as it was when it was made."""

from __future__ import annotations

from collections.abc import Iterator

from pwindow.surfaces.fingerprint import digest
from pwindow.trials.archive import USED, Archive
from pwindow.workflows.kept import KeptFit


def verify(archive: Archive, kept: KeptFit) -> list[str]:
    """What was changed since a fit was made, in sentences; empty where all is as it was.

    Its recipe is held against its fingerprint, and where that fits, the files of its trials and declarations against their
    SHA-256; each trial's rows against its file, read again; decisions against their seals; the standings of
    its trials against the decisions up to then; the volumes of its rolls against those that are stored.
    """
    recipe = kept.recipe
    if not has_its_recipe(kept):
        return [
            f"the recipe of fit {kept.number} does not have the fingerprint {kept.fingerprint}: nothing else is held against it"
        ]
    found = archive.changed_trials(list(kept.standings))
    found += _other_fingerprints(archive, kept)
    declared = [*recipe["products"], *([recipe["study"]] if recipe["study"] else [])]
    found += archive.changed_files(declared)
    found += archive.changed_decisions()
    found += _other_standings(archive, kept)
    return [*found, *_other_volumes(archive, kept)]


def has_its_recipe(kept: KeptFit) -> bool:
    """Whether the recipe of a fit is the one that its fingerprint was made of."""
    return digest(kept.recipe) == kept.fingerprint


def _other_fingerprints(archive: Archive, kept: KeptFit) -> Iterator[str]:
    there = archive.trials()["fingerprint"]
    for trial in kept.recipe["trials"]:
        number, then = trial["number"], trial["fingerprint"]
        if there.get(number, then) != then:
            yield f"trial {number} had the fingerprint {then} when fit {kept.number} was made, and has {there[number]}"


def _other_standings(archive: Archive, kept: KeptFit) -> Iterator[str]:
    then = archive.standings_then(kept.decision, kept.made)
    if then is None:
        yield f"decision {kept.decision}, the last before fit {kept.number}, is not in the archive any more"
        return
    for number in sorted({*kept.standings, *(one for one, standing in then.items() if standing in USED)}):
        used, decided = kept.standings.get(number, "not used"), then.get(number, "not decided about")
        if used != decided:
            yield f"fit {kept.number} used trial {number} as “{used}”, and by the decisions up to then it was “{decided}”"


def _other_volumes(archive: Archive, kept: KeptFit) -> Iterator[str]:
    measured = archive.volumes().groupby("roll")["cell_volume"].agg(set)
    for roll, volume in kept.recipe["rolls"].items():
        if roll in measured.index and volume not in measured[roll]:
            tried = {
                one.cell_volume
                for one in archive.trial(list(kept.standings), kept.standings).rolls
                if one.id == roll
            }
            if volume not in tried:
                yield (
                    f"fit {kept.number} took roll {roll} with {volume:g} cm³/m², and no measurement of it says so any more"
                )
