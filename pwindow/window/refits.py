"""Fits that are kept in an archive: what each stood on, what it said, and how two of them differ."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.product import read_product
from pwindow.study import Roll, Study, read_study
from pwindow.surfaces.agreement import Agreement, hold_against
from pwindow.surfaces.fingerprint import digest, fit_fingerprint, versions
from pwindow.surfaces.surfaces import Surfaces, fit
from pwindow.trials.archive import Added, Archive
from pwindow.trials.trial import read_trial
from pwindow.window.maps import WindowMap, window_map
from pwindow.window.recommend import recommend
from pwindow.window.window import Window, find_window

_PRINTED = 4  # digits that a fit is reproduced to, those that are printed
_BAND = ["roll", "plate", "pressure"]


@dataclass(frozen=True)
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
    """

    number: int
    fingerprint: str
    recipe: Mapping
    answer: Mapping
    made: datetime

    @property
    def standings(self) -> dict[int, str]:
        return {trial["number"]: trial["standing"] for trial in self.recipe["trials"]}


def refit(
    archive: Archive,
    products: Sequence[InputFile],
    study: InputFile | None = None,
    terms: str = "all",
    leave_out: Sequence[str] = (),
    tell: Callable[[str], None] = lambda step: None,
) -> KeptFit:
    """Fit the trials that an archive uses, judge products on the fit, and keep all of it.

    Parameters
    ----------
    archive : Archive
    products : sequence of InputFile
    study : InputFile, optional
    terms, leave_out
        As of `pwindow.surfaces.fit`.
    tell : callable
        Told of each step before it is taken.

    Returns
    -------
    KeptFit
        The one that was kept before, where nothing has changed since.
    """
    trial, kept = archive.trial(), archive.trials()
    recipe = {
        "trials": [
            {"number": number, **kept.loc[number, ["name", "fingerprint", "standing"]].to_dict()}
            for number in trial.numbers
        ],
        "terms": terms,
        "leave_out": sorted(leave_out),
        "products": sorted(archive.keep_declaration("product", file) for file in products),
        "study": None if study is None else archive.keep_declaration("study", study),
        "rolls": {} if study else {roll.id: roll.cell_volume for roll in archive.rolls()},
        "versions": versions(),
        "fit": fit_fingerprint(trial, terms, leave_out),
    }
    fingerprint = digest(recipe)
    if fingerprint not in set(archive.fits()["fingerprint"]):
        archive.keep_fit(fingerprint, json.dumps(recipe), json.dumps(answer_of(archive, recipe, tell=tell)))
    return kept_fit(archive, fingerprint)


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
        raise UnusableInput(f"there is {what} “{which}”; `pwindow fits` lists them")
    row = found.iloc[0]
    return KeptFit(
        int(found.index[0]),
        row["fingerprint"],
        json.loads(row["recipe"]),
        json.loads(row["answer"]),
        row["made"],
    )


def answer_of(
    archive: Archive,
    recipe: Mapping,
    without: int | None = None,
    tell: Callable[[str], None] = lambda step: None,
) -> dict:
    """What a recipe says, made anew; with a trial left out where one is named."""
    tell("fitting the surfaces")
    surfaces = surfaces_of(archive, recipe, without)
    products = {}
    for window in windows_of(archive, recipe, surfaces):
        tell(f"judging {window.product.name}")
        products[window.product.name] = _judged(window)
    return {
        "surfaces": {name: _surface(surfaces, name) for name in surfaces.by_name},
        "products": products,
    }


def surfaces_of(archive: Archive, recipe: Mapping, without: int | None = None) -> Surfaces:
    """The surfaces of a recipe."""
    standings = {
        trial["number"]: trial["standing"] for trial in recipe["trials"] if trial["number"] != without
    }
    return fit(archive.trial(list(standings), standings), recipe["terms"], recipe["leave_out"])


def windows_of(archive: Archive, recipe: Mapping, surfaces: Surfaces) -> Iterator[Window]:
    """The windows of the products of a recipe, as far as the trials can judge them."""
    study = Study(rolls=tuple(Roll(name, volume) for name, volume in recipe["rolls"].items()))
    if recipe["study"] is not None:
        study = read_study(archive.declaration(recipe["study"]))
    for checksum in recipe["products"]:
        yield find_window(surfaces, read_product(archive.declaration(checksum)), study)


@dataclass(frozen=True)
class SideBySide:
    """The windows of one product on two fits, at one plate and pressure.

    Attributes
    ----------
    title : str
        Product, plate and pressure.
    level : float
    rolls : tuple of Roll
    before, after : WindowMap
    recommended : pair of (speed, cell volume) or None
        Where the recommended set-ups lie on the maps, m/min and cm³/m².
    fits : pair of str
        Fingerprints of the two.
    """

    title: str
    level: float
    rolls: tuple[Roll, ...]
    before: WindowMap
    after: WindowMap
    recommended: tuple[tuple[float, float] | None, ...]
    fits: tuple[str, str]

    def to_frame(self) -> pd.DataFrame:
        """Both maps, as of `WindowMap.to_frame`, told apart by ``fit``: before, after."""
        parts = {"before": self.before, "after": self.after}
        return pd.concat([one.to_frame().assign(fit=name) for name, one in parts.items()], ignore_index=True)


def windows_side_by_side(archive: Archive, before: KeptFit, after: KeptFit) -> SideBySide:
    """The windows of the later fit's first product, where that fit recommends to run.

    Raises
    ------
    UnusableInput
        If the later fit was asked for no product.
    """
    if not after.recipe["products"]:
        raise UnusableInput(f"fit {after.number} was made for no product; `pwindow refit --product …`")
    recipe = {name: after.recipe[name] for name in ("products", "study", "rolls")}
    one, other = (
        next(windows_of(archive, recipe, surfaces_of(archive, kept.recipe))) for kept in (before, after)
    )
    bests = [recommend(window, window.speed_bands()) for window in (one, other)]
    key, trial = other.surfaces.trial.pressure_key, other.surfaces.trial
    best = bests[1] or {"plate": other.plates[0], key: trial.pressures[len(trial.pressures) // 2]}
    plate, pressure = best["plate"], best[key]
    spots = tuple(
        (found["speed_m_min"], found["cell_volume_cm3_m2"])
        if found and (found["plate"], found[key]) == (plate, pressure)
        else None
        for found in bests
    )
    title = f"{other.product.name}: {plate + ', ' if plate else ''}{pressure:g} {trial.pressure_unit}"
    maps = (window_map(window, plate, pressure) for window in (one, other))
    return SideBySide(title, other.level, other.rolls, *maps, spots, (before.fingerprint, after.fingerprint))


@dataclass(frozen=True)
class Confirmation:
    """Prints of a run beside what a fit promised of them.

    Attributes
    ----------
    added : Added
    agreement : Agreement
    promises : DataFrame
        As of `promises`.
    """

    added: Added
    agreement: Agreement
    promises: pd.DataFrame


def confirm(archive: Archive, kept: KeptFit, file: InputFile) -> Confirmation:
    """Keep the prints of a run, undecided, and hold them against what a fit promised."""
    trial = read_trial(file)
    agreement = hold_against(surfaces_of(archive, kept.recipe), trial)
    reason = f"confirmation prints of fit {kept.number}"
    added = archive.add(file, "undecided", reason, trial, agreement.comparison)
    return Confirmation(added, agreement, promises(archive, kept, added.trial))


def promises(archive: Archive, kept: KeptFit, number: int) -> pd.DataFrame:
    """What a fit promised at the set-ups of a trial, and what it would promise with that trial in it.

    Parameters
    ----------
    archive : Archive
    kept : KeptFit
    number : int
        Number of a trial that the fit does not stand on, such as confirmation prints of a run.

    Returns
    -------
    DataFrame
        One row per product and set-up that the product can be printed at: ``product``, settings,
        ``prints``, and the joint conformance probability ``promised`` and ``promised_now``; NaN outside
        the trial region.
    """
    told = {"number": number, "standing": "same process"}
    together = {**kept.recipe, "trials": [*kept.recipe["trials"], told]}
    prints = archive.trial([number]).prints
    rows = []
    fits = [surfaces_of(archive, recipe) for recipe in (kept.recipe, together)]
    for one, other in zip(*(windows_of(archive, kept.recipe, surfaces) for surfaces in fits)):
        own = prints[prints["plate"].isin(one.plates) | prints["plate"].isna()]
        groups = own.groupby(["speed", "cell_volume", "pressure", "plate"], sort=False, dropna=False)
        for (speed, volume, pressure, plate), members in groups:
            chances = [
                _chance(window, "" if pd.isna(plate) else plate, speed, volume, pressure)
                for window in (one, other)
            ]
            rows.append((one.product.name, speed, volume, pressure, plate, len(members), *chances))
    names = ["product", "speed_m_min", "cell_volume_cm3_m2", fits[0].trial.pressure_key, "plate", "prints"]
    return pd.DataFrame(rows, columns=[*names, "promised", "promised_now"])


def _chance(window: Window, plate: str, speed: float, volume: float, pressure: float) -> float:
    setup = window.setups(plate, speed, volume, pressure)
    return float(window.joint_conformance(setup)[0]) if window.in_trial_region(setup)[0] else math.nan


def differences(answer: Mapping, other: Mapping) -> list[str]:
    """Numbers of two answers that do not print alike, by where they stand."""
    return [
        f"{place}: {one} and {another}"
        for place, one, another in _leaves(answer, other)
        if _as_printed(one) != _as_printed(another)
    ]


def compare(
    archive: Archive,
    before: KeptFit,
    after: KeptFit,
    tell: Callable[[str], None] = lambda step: None,
) -> dict:
    """Two fits side by side, and which trial moved what.

    Returns
    -------
    dict
        ``coefficients`` and ``standard_deviations`` (DataFrames: response, term, before, after, and the
        change in standard errors of the earlier), ``bands`` (DataFrame: product, roll, plate, pressure,
        fastest speed before and after), ``recommended`` (per product: before and after), ``influence``
        (DataFrame: per trial of the later fit and product the recommended speed with and without it, and
        ``why`` there is no fit without it).
    """
    return {
        "coefficients": _side_by_side(before, after, "coefficients"),
        "standard_deviations": _side_by_side(before, after, "standard_deviations"),
        "bands": _bands(before, after),
        "recommended": {
            name: {"before": _recommended(before.answer, name), "after": _recommended(after.answer, name)}
            for name in after.answer["products"]
        },
        "influence": _influence(archive, after, tell),
    }


def _surface(surfaces: Surfaces, name: str) -> dict:
    surface = surfaces.by_name[name]
    table, parts = surface.coefficients(), surface.components
    return {
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
    keys = [*_BAND, "speed_low_m_min", "speed_high_m_min"]
    return {
        "bands": bands[keys].to_dict("records"),
        "recommended": None
        if best is None
        else {
            "roll": best["roll"],
            "plate": best["plate"],
            "pressure": best[window.surfaces.trial.pressure_key],
            "speed_m_min": best["speed_m_min"],
            "conformance": best["conformance"],
        },
    }


def _leaves(one, other, place: str = "") -> Iterator[tuple[str, object, object]]:
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        for key in dict.fromkeys([*one, *other]):
            yield from _leaves(one.get(key), other.get(key), f"{place}, {key}" if place else str(key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for at, (first, second) in enumerate(zip(one, other), start=1):
            yield from _leaves(first, second, f"{place} {at}")
    else:
        yield place, one, other


def _as_printed(value: object) -> object:
    return f"{value:.{_PRINTED}g}" if isinstance(value, float) else value


def _side_by_side(before: KeptFit, after: KeptFit, what: str) -> pd.DataFrame:
    rows = []
    for name in dict.fromkeys([*before.answer["surfaces"], *after.answer["surfaces"]]):
        one, other = (kept.answer["surfaces"].get(name, {}).get(what, {}) for kept in (before, after))
        for term in dict.fromkeys([*one, *other]):
            first, second = one.get(term), other.get(term)
            row = {"response": name, "term": term}
            if what == "coefficients":
                moved = None if None in (first, second) else (second[0] - first[0]) / first[1]
                row |= {"before": first and first[0], "after": second and second[0], "in_std_errors": moved}
            else:
                row |= {"before": first, "after": second}
            rows.append(row)
    return pd.DataFrame(rows)


def _bands(before: KeptFit, after: KeptFit) -> pd.DataFrame:
    frames = []
    for name in after.answer["products"]:
        one, other = (
            pd.DataFrame(
                kept.answer["products"].get(name, {}).get("bands", []), columns=[*_BAND, "speed_high_m_min"]
            )
            .groupby(_BAND)["speed_high_m_min"]
            .max()
            for kept in (before, after)
        )
        both = pd.DataFrame({"fastest_before": one, "fastest_after": other}).reset_index()
        frames.append(both.assign(product=name))
    columns = ["product", *_BAND, "fastest_before", "fastest_after"]
    return pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)


def _recommended(answer: Mapping, name: str) -> dict | None:
    return answer["products"].get(name, {}).get("recommended")


def _influence(archive: Archive, kept: KeptFit, tell: Callable[[str], None]) -> pd.DataFrame:
    """What the later fit would recommend without each of its trials."""
    rows = []
    trials = kept.recipe["trials"]
    for trial in trials if len(trials) > 1 else []:
        tell(f"fitting without trial {trial['number']}")
        try:
            without, why = answer_of(archive, kept.recipe, trial["number"]), ""
        except UnusableInput as problem:
            without, why = {"products": {}}, str(problem)
        for name in kept.answer["products"]:
            speeds = [_recommended(answer, name) for answer in (kept.answer, without)]
            told = [best and best["speed_m_min"] for best in speeds]
            rows.append((trial["number"], trial["name"], name, *told, why))
    return pd.DataFrame(rows, columns=["trial", "name", "product", "speed_with", "speed_without", "why"])
