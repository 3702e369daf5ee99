"""Prints of a run beside the predictions of a fit, and its probabilities with them included."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pwindow.errors import SurfaceProblem, UnusableInput
from pwindow.inputs import InputFile
from pwindow.surfaces.agreement.new_trial import Agreement, hold_against
from pwindow.surfaces.model.responses import STATE
from pwindow.surfaces.model.terms import label
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.archive import USED, Added, Archive, Standing
from pwindow.trials.trial import Trial, read_trial
from pwindow.window.run.requirements_met import COLUMNS as MET_COLUMNS
from pwindow.window.run.requirements_met import Counted, not_judged, printable, requirements_met
from pwindow.window.window import Window
from pwindow.workflows.adding import comparison_of
from pwindow.workflows.kept import KeptFit, surfaces_of, windows_of

_SETTINGS = ["speed", "cell_volume", "pressure", "plate"]


@dataclass(frozen=True, kw_only=True)
class Confirmation:
    """Prints of a run beside the predictions of a fit.

    Attributes
    ----------
    added : Added
    agreement : Agreement
    met : DataFrame
        As of `requirements_met`, with the ``product`` in front.
    not_judged : tuple of str
        What the prints do not show about a product.
    promises : DataFrame
        As of `promises`.
    counts : mapping of str to Counted
        For each product that its prints show something about.
    """

    added: Added
    agreement: Agreement
    met: pd.DataFrame
    not_judged: tuple[str, ...]
    promises: pd.DataFrame
    counts: Mapping[str, Counted]


def confirm(
    archive: Archive,
    kept: KeptFit,
    file: InputFile,
    tell: Callable[[str], None] = lambda step: None,
) -> Confirmation:
    """Keep the prints of a run, undecided, and compare them with the predictions of a fit.

    Parameters
    ----------
    archive : Archive
    kept : KeptFit
        The fit to confirm.
    file : InputFile
        Trial file with the prints.
    tell : callable
        Called with each step before it is taken; what it raises leaves the archive as it was.

    Raises
    ------
    UnusableInput
        If the fit uses these very prints, or they cannot be kept.
    """
    tell(f"reading {file.name}")
    trial = read_trial(file)
    known = archive.known(file, trial)
    if known is not None and known.trial in kept.standings:
        raise UnusableInput(
            f"trial {known.trial} is part of fit {kept.number}: a fit cannot be confirmed by its own prints; choose an "
            "earlier fit with --fit"
        )
    tell(f"comparing with the predictions of fit {kept.number}")
    surfaces = surfaces_of(archive, kept.recipe)
    agreement = hold_against(surfaces, trial)
    met, missing = _met(archive, kept, surfaces, trial)
    with archive.scratch(list(kept.standings), _declared(kept)) as scratch:
        tried = scratch.add(file, read=trial).trial
        stated = promises(scratch, kept, surfaces, tried, tell)
    tell("storing")
    reason = f"confirmation prints of fit {kept.number}"
    added = archive.add(file, Standing.UNDECIDED, reason, trial, comparison_of(agreement))
    return Confirmation(
        added=added,
        agreement=agreement,
        met=met,
        not_judged=missing,
        promises=stated,
        counts={
            str(product): Counted.of(rows, trial.prints["make_ready"])
            for product, rows in met.groupby("product", sort=False)
        },
    )


def _declared(kept: KeptFit) -> list[str]:
    """Checksums of the products and the study of a fit."""
    study = kept.recipe["study"]
    return [*kept.recipe["products"], *([] if study is None else [study])]


def _met(
    archive: Archive, kept: KeptFit, surfaces: Surfaces, trial: Trial
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """What prints meet of what the products of a fit require, and what they do not show."""
    names, tables = ["product", *MET_COLUMNS], []
    missing: list[str] = []
    for window in windows_of(archive, kept.recipe, surfaces):
        one = requirements_met(window, trial)
        tables.append(one.assign(product=window.product.name))
        missing += not_judged(window, trial, one)
    met = pd.concat(tables, ignore_index=True)[names] if tables else pd.DataFrame(columns=names)
    return met, tuple(missing)


def promises(
    archive: Archive,
    kept: KeptFit,
    surfaces: Surfaces,
    number: int,
    tell: Callable[[str], None] = lambda step: None,
) -> pd.DataFrame:
    """The probabilities a fit stated at the set-ups of a trial, and what they would be with that trial included.

    Parameters
    ----------
    archive : Archive
    kept : KeptFit
    surfaces : Surfaces
        Of that fit.
    number : int
        Number of a trial that the fit does not use, such as confirmation prints of a run.
    tell : callable
        Called with each step before it is taken.

    Returns
    -------
    DataFrame
        One row per product and set-up that the product can be printed at: ``product``, settings,
        ``prints``, and the joint conformance probability ``promised``; ``if_same_process`` with these
        prints counted as more of the same, ``if_changed_process`` as prints of a process that has changed.
        NaN where the fit has nothing tried, or no fit can be made.
    """
    prints = archive.trial([number]).prints
    promised = list(windows_of(archive, kept.recipe, surfaces))
    others = []
    for standing in USED:
        tell(f"fitting with these prints as {standing}")
        found = _with(archive, kept, surfaces, number, standing)
        others.append(None if found is None else list(windows_of(archive, kept.recipe, found)))
    tell("computing the probabilities")
    rows = []
    for at, window in enumerate(promised):
        named = printable(window, prints)
        groups: Iterable[tuple[Any, pd.DataFrame]] = named.groupby(_SETTINGS, sort=False)
        for (speed, volume, pressure, plate), members in groups:
            setup = (plate, speed, volume, pressure)
            inside = window.in_trial_region(window.setups(*setup))[0]
            chances = [_chance(one[at], setup) if inside and one else math.nan for one in (promised, *others)]
            rows.append((window.product.name, speed, volume, pressure, plate, len(members), *chances))
    names = ["product", "speed_m_min", "cell_volume_cm3_m2", surfaces.trial.pressure_key, "plate", "prints"]
    return pd.DataFrame(rows, columns=[*names, "promised", *("if_" + one.replace(" ", "_") for one in USED)])


def _with(
    archive: Archive, kept: KeptFit, before: Surfaces, number: int, standing: Standing
) -> Surfaces | None:
    """The surfaces with one more trial, of the same form; None where they cannot be fitted.

    A few prints at settings of their own would let in terms that hang on them alone.
    """
    trials = [*kept.recipe["trials"], {"number": number, "standing": standing}]
    recipe = {**kept.recipe, "trials": trials}
    try:
        found = surfaces_of(archive, recipe)
        more = sorted(_terms(found) - _terms(before))
        return surfaces_of(archive, recipe | {"leave_out": [*recipe["leave_out"], *more]}) if more else found
    except SurfaceProblem:
        return None


def _terms(surfaces: Surfaces) -> set[str]:
    """Names of the terms of all surfaces, but for states of the process."""
    return {
        label(term)
        for surface in surfaces.by_name.values()
        for term in surface.design.terms
        if term and not any(part.startswith(f"{STATE}=") for part in term)
    }


def _chance(window: Window, setup: tuple) -> float:
    return float(window.joint_conformance(window.setups(*setup))[0])
