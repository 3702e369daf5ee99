"""Whether a stored fit, and the data it used, are unchanged since it was made."""

from __future__ import annotations

from collections.abc import Iterator

from pwindow.surfaces.fingerprint import digest
from pwindow.trials.archive import USED, Archive
from pwindow.workflows.kept import KeptFit


def verify(archive: Archive, kept: KeptFit) -> list[str]:
    """What was changed since a fit was made, in sentences; empty where nothing was.

    Its recipe is compared with its fingerprint, and where that matches, the files of its trials and declarations with their
    SHA-256; each trial's rows with its file, read again; decisions with their seals; the standings of
    its trials with the decisions up to then; the volumes of its rolls with those that are stored.
    """
    recipe = kept.recipe
    if not has_its_recipe(kept):
        return [
            f"the recipe of fit {kept.number} does not match the fingerprint {kept.fingerprint}: nothing else was checked"
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
            yield f"trial {number} had the fingerprint {then} when fit {kept.number} was made, but now has {there[number]}"


def _other_standings(archive: Archive, kept: KeptFit) -> Iterator[str]:
    then = archive.standings_then(kept.decision, kept.made)
    if then is None:
        yield f"decision {kept.decision}, the last before fit {kept.number}, is missing from the archive"
        return
    for number in sorted({*kept.standings, *(one for one, standing in then.items() if standing in USED)}):
        used, decided = kept.standings.get(number, "not used"), then.get(number, "no decision")
        if used != decided:
            yield f"fit {kept.number} used trial {number} as “{used}”, but the decisions up to then made it “{decided}”"


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
                    f"fit {kept.number} used {volume:g} cm³/m² for roll {roll}, but no measurement of the roll has that value now"
                )
