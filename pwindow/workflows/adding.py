"""A new trial into an archive, compared with the fit of those that are used."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.study import MakeReadies
from pwindow.trials.archive import PLATES, USED, Added, Archive, Comparison, Standing
from pwindow.trials.files import read_cells
from pwindow.trials.plates import PlateRecord, plate_record
from pwindow.trials.trial import Trial, read_trial
from pwindow.wording import Units

if TYPE_CHECKING:
    from pwindow.surfaces.agreement.new_trial import Agreement


@dataclass(frozen=True)
class NewTrial:
    """What came of adding a trial to an archive.

    Attributes
    ----------
    added : Added
    agreement : Agreement or None
        None where there was nothing to compare it with, or the archive had it already.
    warnings : tuple of str
        What is doubtful in it.
    """

    added: Added
    agreement: Agreement | None
    warnings: tuple[str, ...] = ()


def add_trial(
    archive: Archive,
    file: InputFile,
    standing: Standing = Standing.UNDECIDED,
    reason: str = "",
    make_readies: MakeReadies | None = None,
    tell: Callable[[str], None] = lambda step: None,
) -> NewTrial:
    """Add a trial to an archive, compared with the fit of those before it.

    The first trial of an archive is used in fits at once.

    Parameters
    ----------
    archive : Archive
    file : InputFile
    standing : Standing
    reason : str
        What is decided about it, and why.
    make_readies : MakeReadies, optional
        What a study states of make-readies.
    tell : callable
        Called with each step before it is taken; what it raises leaves the archive as it was.
    """
    tell(f"reading {file.name}")
    trial, before = read_trial([file, *archive.plate_files()]), archive.trials()
    agreement = None
    if before["standing"].isin(USED).any():
        agreement = _held_against(archive.trial(), trial, make_readies, tell)
    elif before.empty:
        standing, reason = Standing.SAME_PROCESS, reason or "the first trial of the archive"
    compared = None if agreement is None else comparison_of(agreement)
    tell("storing")
    added = archive.add(file, standing, reason, trial, compared)
    return NewTrial(added, None if added.known else agreement, trial.warnings)


def keep_plates(archive: Archive, file: InputFile) -> PlateRecord:
    """Keep a file of measured plates: trials that are added from now on may name their features.

    Parameters
    ----------
    archive : Archive
    file : InputFile

    Returns
    -------
    PlateRecord
        Of all plate files that the archive has now.

    Raises
    ------
    TrialProblem
        If it cannot be read, or contradicts those before it.
    """
    before = [one for one in archive.plate_files() if one.content != file.content]
    record = plate_record([(one.name, read_cells(one)[0]) for one in (*before, file)])
    archive.keep_declaration(PLATES, file)
    return record


def hold_again(
    archive: Archive,
    number: int,
    make_readies: MakeReadies | None = None,
    tell: Callable[[str], None] = lambda step: None,
) -> Agreement:
    """Compare a trial of an archive with the fit of the others that are used, and keep the result.

    Parameters
    ----------
    archive : Archive
    number : int
        Of the trial.
    make_readies : MakeReadies, optional
        What a study states of make-readies.
    tell : callable
        As of `add_trial`.

    Raises
    ------
    UnusableInput
        If no other trial is used.
    """
    others = _others_used(archive, number)
    if not others:
        raise UnusableInput("no other trial is used in fits, so there is nothing to compare this one with")
    found = _held_against(archive.trial(others), archive.trial([number]), make_readies, tell)
    tell("storing")
    archive.keep_comparison(number, comparison_of(found))
    return found


def held_today(archive: Archive, number: int, make_readies: MakeReadies | None = None) -> bool:
    """Whether a trial was last compared with the fit of the others that are used now.

    Parameters
    ----------
    archive : Archive
    number : int
        Of the trial.
    make_readies : MakeReadies, optional
        What a study states of make-readies.
    """
    from pwindow.surfaces.fingerprint import fit_fingerprint

    others, found = _others_used(archive, number), archive.comparisons(number)
    if not others or found.empty:
        return False
    try:
        before = archive.trial(others)
    except UnusableInput:  # they cannot be fitted together; comparing says why
        return False
    return found["against"].iloc[-1] == fit_fingerprint(before, "all", (), make_readies or MakeReadies())


def _others_used(archive: Archive, number: int) -> list[int]:
    kept = archive.trials()
    return [int(at) for at in kept.index[kept["standing"].isin(USED)] if at != number]


def _held_against(
    before: Trial, new: Trial, make_readies: MakeReadies | None, tell: Callable[[str], None]
) -> Agreement:
    from pwindow.surfaces import fit  # loaded here: a first trial is compared with nothing
    from pwindow.surfaces.agreement.new_trial import hold_against

    tell("fitting the trials in use")
    surfaces = fit(before, make_readies=make_readies)
    tell("comparing with the fit")
    return hold_against(surfaces, new)


def comparison_of(agreement: Agreement, units: Units | None = None) -> Comparison:
    """What an archive keeps of an agreement; in the trial file's units unless others are given."""
    return Comparison(agreement.against, agreement.verdict, agreement.sentences_and_rule(units))
