"""Fits that are kept in an archive: what each stood on and what it said."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.product import read_product
from pwindow.study import Roll, Study, read_study
from pwindow.surfaces.fingerprint import digest, fit_fingerprint, versions
from pwindow.surfaces.surfaces import Form, Surfaces, fit
from pwindow.trials.archive import USED, Archive, Standing, checksum_of, standings_of
from pwindow.trials.archive.stored import StoredTrial
from pwindow.window.search.recommendation import recommend
from pwindow.window.window import Window, find_window

BAND = ["roll", "plate", "pressure"]
"""What distinguishes the speed bands of an answer."""


@dataclass(frozen=True, kw_only=True)
class KeptFit:
    """A fit that an archive holds.

    Attributes
    ----------
    number : int
    fingerprint : str
        Twelve hexadecimal digits of the recipe.
    recipe : mapping
        ``trials`` (number, name, fingerprint, standing), ``terms``, ``leave_out``, ``products`` and
        ``study`` (checksums of the files), ``rolls`` (volumes of the inventory, where no study says
        them), ``versions``, and ``fit``, the fingerprint of the surfaces alone, which pages and
        pictures name.
    answer : mapping
        ``surfaces``: coefficients and standard deviations; ``products``: speed bands and the
        recommended set-up of each.
    made : datetime
    decision : int or None
        Number of the last decision before the trials were chosen; None where that was not noted.
    """

    number: int
    fingerprint: str
    recipe: Mapping
    answer: Mapping
    made: datetime
    decision: int | None = None

    @property
    def standings(self) -> dict[int, Standing]:
        return {trial["number"]: Standing(trial["standing"]) for trial in self.recipe["trials"]}


def refit(
    archive: Archive,
    products: Sequence[InputFile],
    study: InputFile | None = None,
    terms: Form = "all",
    leave_out: Sequence[str] = (),
    tell: Callable[[str], None] = lambda step: None,
) -> KeptFit:
    """Fit the trials that an archive uses, judge products on the fit, and keep all of it.

    Parameters
    ----------
    archive : Archive
    products : sequence of InputFile
    study : InputFile, optional
    terms : {'all', 'chosen', 'bending'}
        As of `pwindow.surfaces.fit`.
    leave_out : sequence of str
        As of `pwindow.surfaces.fit`.
    tell : callable
        Called with each step before it is taken; what it raises leaves the archive as it was.

    Returns
    -------
    KeptFit
        The one that was kept before, where nothing has changed since.
    """
    _refuse_same_names(products)
    kept = archive.trials()
    trial = archive.trial(archive.used(kept), standings_of(kept))
    today = _stands_on(archive, kept, trial, products, study)
    stated = Study() if study is None else read_study(study)
    declared = [("product", file) for file in products]
    if study is not None:
        declared.append(("study", study))
    files = {checksum_of(file): file for _, file in declared}
    recipe = {
        "trials": today["trials"],
        "terms": terms,
        "leave_out": sorted(leave_out),
        **today,
        "versions": versions(),
        "fit": fit_fingerprint(trial, terms, leave_out, stated.make_readies),
    }
    fingerprint = digest(recipe)
    if fingerprint not in set(archive.fits()["fingerprint"]):
        answer = answer_of(archive, recipe, tell=tell, files=files)
        tell("storing")
        decision = int(kept["decision"].max())
        archive.keep_fit(fingerprint, json.dumps(recipe), json.dumps(answer), declared, decision)
    return kept_fit(archive, fingerprint)


def fit_today(archive: Archive, products: Sequence[InputFile], study: InputFile | None = None) -> int | None:
    """The last kept fit of the trials that are used now, as they stand, for these products and this study.

    Parameters
    ----------
    archive : Archive
    products : sequence of InputFile
    study : InputFile, optional

    Returns
    -------
    int or None
        Its number; None where a refit is due.
    """
    kept, fits = archive.trials(), archive.fits()
    if fits.empty or not kept["standing"].isin(USED).any():
        return None
    try:
        trial = archive.trial(archive.used(kept), standings_of(kept))
    except UnusableInput:  # they cannot be fitted together, so no fit stands on them; a refit says why
        return None
    today = _stands_on(archive, kept, trial, products, study)
    for number, written in reversed(list(fits["recipe"].items())):
        recipe = json.loads(written)
        if all(recipe[key] == value for key, value in today.items()):
            return int(number)
    return None


def _stands_on(
    archive: Archive,
    kept: pd.DataFrame,
    trial: StoredTrial,
    products: Sequence[InputFile],
    study: InputFile | None,
) -> dict:
    """What of a recipe an archive decides, and not how it is fitted; `kept` are its trials."""
    return {
        "trials": [
            {"number": number, **kept.loc[number, ["name", "fingerprint", "standing"]].to_dict()}
            for number in trial.numbers
        ],
        "products": sorted(checksum_of(file) for file in products),
        "study": None if study is None else checksum_of(study),
        "rolls": {} if study else {roll.id: roll.cell_volume for roll in archive.rolls(trial.rolls)},
    }


def _refuse_same_names(products: Sequence[InputFile]) -> None:
    seen: dict[str, str] = {}
    for file in products:
        name = read_product(file).name
        if name in seen:
            raise UnusableInput(
                f"{seen[name]} and {file.name} both declare a product “{name}”; give each its own name"
            )
        seen[name] = file.name


def kept_fit(archive: Archive, which: str) -> KeptFit:
    """A fit by its number or the beginning of its fingerprint.

    Raises
    ------
    UnusableInput
        If there is none, or several.
    """
    fits = archive.fits()
    named = fits["fingerprint"].str.startswith(which) if len(which) > 3 else False
    found = fits[(fits.index.astype(str) == which) | named]
    if len(found) != 1:
        what = "no fit" if found.empty else "more than one fit"
        raise UnusableInput(f"there is {what} “{which}”; list the fits with `pwindow fits`")
    row, number = found.iloc[0], int(found.index[0])
    try:
        recipe, answer = json.loads(row["recipe"]), json.loads(row["answer"])
    except ValueError as problem:
        raise UnusableInput(
            f"the stored results of fit {number} cannot be read: they were changed after the fit; restore a backup of the archive"
        ) from problem
    decision = None if pd.isna(row["decision"]) else int(row["decision"])
    return KeptFit(
        number=number,
        fingerprint=row["fingerprint"],
        recipe=recipe,
        answer=answer,
        made=row["made"],
        decision=decision,
    )


def answer_of(
    archive: Archive,
    recipe: Mapping,
    without: int | None = None,
    tell: Callable[[str], None] = lambda step: None,
    files: Mapping[str, InputFile] = MappingProxyType({}),
) -> dict:
    """The results of a recipe, computed again; with a trial left out where one is named.

    Parameters
    ----------
    archive : Archive
    recipe : mapping
        As `KeptFit.recipe`.
    without : int, optional
        Number of the trial to leave out.
    tell : callable
        Called with each step before it is taken.
    files : mapping of str to InputFile
        Declarations by their checksum; those that are not among them come from the archive.

    Returns
    -------
    dict
        As `KeptFit.answer`, with the unit of pressure.
    """
    tell("fitting the surfaces")
    surfaces = surfaces_of(archive, recipe, without, files)
    products = {}
    for window in windows_of(archive, recipe, surfaces, files):
        tell(f"judging {window.product.name}")
        products[window.product.name] = _judged(window)
    return {
        "surfaces": {name: _surface(surfaces, name) for name in surfaces.by_name},
        "products": products,
        "pressure_unit": surfaces.trial.pressure_unit,
    }


def surfaces_of(
    archive: Archive,
    recipe: Mapping,
    without: int | None = None,
    files: Mapping[str, InputFile] = MappingProxyType({}),
) -> Surfaces:
    """The surfaces of a recipe.

    Parameters
    ----------
    archive : Archive
    recipe : mapping
        As `KeptFit.recipe`.
    without : int, optional
        Number of the trial to leave out.
    files : mapping of str to InputFile
        As of `answer_of`.
    """
    standings = {
        trial["number"]: trial["standing"] for trial in recipe["trials"] if trial["number"] != without
    }
    trial, readies = archive.trial(list(standings), standings), _study(archive, recipe, files).make_readies
    return fit(trial, recipe["terms"], recipe["leave_out"], make_readies=readies)


def windows_of(
    archive: Archive,
    recipe: Mapping,
    surfaces: Surfaces,
    files: Mapping[str, InputFile] = MappingProxyType({}),
) -> Iterator[Window]:
    """The windows of the products of a recipe, one after the other.

    Parameters
    ----------
    archive : Archive
    recipe : mapping
        As `KeptFit.recipe`, of which ``products``, ``study`` and ``rolls`` are read.
    surfaces : Surfaces
    files : mapping of str to InputFile
        As of `answer_of`.

    Raises
    ------
    WindowProblem
        If the trials cannot judge a product.
    """
    study = _study(archive, recipe, files)
    for checksum in recipe["products"]:
        yield find_window(surfaces, read_product(_declaration(archive, checksum, files)), study)


def _declaration(archive: Archive, checksum: str, files: Mapping[str, InputFile]) -> InputFile:
    return files[checksum] if checksum in files else archive.declaration(checksum)


def _study(archive: Archive, recipe: Mapping, files: Mapping[str, InputFile]) -> Study:
    if recipe["study"] is not None:
        return read_study(_declaration(archive, recipe["study"], files))
    return Study(rolls=tuple(Roll(name, volume) for name, volume in recipe["rolls"].items()))


def _surface(surfaces: Surfaces, name: str) -> dict:
    surface = surfaces.by_name[name]
    table, parts = surface.coefficients(), surface.components
    return {
        "coding": {one.name: [one.low, one.high, *one.levels] for one in surface.design.factors},
        "coefficients": {term: [row["coefficient"], row["std_error"]] for term, row in table.iterrows()},
        "standard_deviations": {
            "make-ready": math.sqrt(parts.make_ready) if parts.split else None,
            "print": math.sqrt(parts.print_),
            "feature": math.sqrt(parts.feature),
        },
    }


def _judged(window: Window) -> dict:
    found = window.speed_bands()
    bands = found.rename(columns={window.surfaces.trial.pressure_key: "pressure"})
    best = recommend(window, found)
    keys = [*BAND, "speed_low_m_min", "speed_high_m_min"]
    return {
        "bands": bands[keys].to_dict("records"),
        "recommended": None
        if best is None
        else {
            "roll": best.setup.roll.id,
            "plate": best.setup.plate,
            "pressure": best.setup.pressure,
            "speed_m_min": best.setup.speed,
            "conformance": best.conformance,
            "conformance_interval": best.interval.to_dict(),
        },
    }
