"""Fits that are kept in an archive: what each stood on, what it said, and how two of them differ."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from pwindow.errors import SurfaceProblem, UnusableInput
from pwindow.inputs import InputFile
from pwindow.product import Product, read_product
from pwindow.study import Roll, Study, read_study
from pwindow.surfaces.agreement import Agreement, hold_against
from pwindow.surfaces.fingerprint import digest, fit_fingerprint, versions
from pwindow.surfaces.responses import STATE
from pwindow.surfaces.surfaces import Surfaces, fit
from pwindow.surfaces.terms import label
from pwindow.trials.archive import USED, Added, Archive
from pwindow.trials.trial import read_trial
from pwindow.window.maps import WindowMap, window_map
from pwindow.window.recommend import recommend
from pwindow.window.requirements_met import COLUMNS as MET_COLUMNS
from pwindow.window.requirements_met import requirements_met
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
    _refuse_same_names(products)
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
        "rolls": {} if study else {roll.id: roll.cell_volume for roll in archive.rolls(trial.rolls)},
        "versions": versions(),
        "fit": fit_fingerprint(trial, terms, leave_out),
    }
    fingerprint = digest(recipe)
    if fingerprint not in set(archive.fits()["fingerprint"]):
        archive.keep_fit(fingerprint, json.dumps(recipe), json.dumps(answer_of(archive, recipe, tell=tell)))
    return kept_fit(archive, fingerprint)


def _refuse_same_names(products: Sequence[InputFile]) -> None:
    seen: dict[str, str] = {}
    for file in products:
        name = read_product(file).name
        if name in seen:
            raise UnusableInput(
                f"{seen[name]} and {file.name} are both of a product “{name}”; give each a name of its own"
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
        "pressure_unit": surfaces.trial.pressure_unit,
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
    elsewhere : str
        Where the earlier fit recommends to run, where that is not on these maps; else "".
    """

    title: str
    level: float
    rolls: tuple[Roll, ...]
    before: WindowMap
    after: WindowMap
    recommended: tuple[tuple[float, float] | None, ...]
    fits: tuple[str, str]
    elsewhere: str = ""

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
    elsewhere = ""
    if bests[0] and spots[0] is None:
        at = bests[0]
        where = f"{at['plate'] + ', ' if at['plate'] else ''}{at[key]:g} {trial.pressure_unit}"
        elsewhere = (
            f"before: {at['speed_m_min']:g} m/min with roll {at['roll']} at {where}, not on this picture"
        )
    fits = before.fingerprint, after.fingerprint
    return SideBySide(title, other.level, other.rolls, *maps, spots, fits, elsewhere)


@dataclass(frozen=True)
class Confirmation:
    """Prints of a run beside what a fit promised of them.

    Attributes
    ----------
    added : Added
    agreement : Agreement
    met : DataFrame
        As of `requirements_met`, with the ``product`` in front.
    promises : DataFrame
        As of `promises`.
    """

    added: Added
    agreement: Agreement
    met: pd.DataFrame
    promises: pd.DataFrame


def confirm(archive: Archive, kept: KeptFit, file: InputFile) -> Confirmation:
    """Keep the prints of a run, undecided, and hold them against what a fit promised.

    Raises
    ------
    UnusableInput
        If the fit stands on these very prints, or they cannot be kept.
    """
    trial = read_trial(file)
    known = archive.known(file, trial)
    if known is not None and known.trial in kept.standings:
        raise UnusableInput(
            f"trial {known.trial} is part of fit {kept.number}: a fit is not confirmed by its own prints; name an earlier "
            "fit by --fit"
        )
    surfaces = surfaces_of(archive, kept.recipe)
    agreement = hold_against(surfaces, trial)
    reason = f"confirmation prints of fit {kept.number}"
    added = archive.add(file, "undecided", reason, trial, agreement.comparison)
    tables = [
        requirements_met(window, trial).assign(product=window.product.name)
        for window in windows_of(archive, kept.recipe, surfaces)
    ]
    names = ["product", *MET_COLUMNS]
    met = pd.concat(tables, ignore_index=True)[names] if tables else pd.DataFrame(columns=names)
    return Confirmation(added, agreement, met, promises(archive, kept, surfaces, added.trial))


def promises(archive: Archive, kept: KeptFit, surfaces: Surfaces, number: int) -> pd.DataFrame:
    """What a fit promised at the set-ups of a trial, and what it would promise with that trial in it.

    Parameters
    ----------
    archive : Archive
    kept : KeptFit
    surfaces : Surfaces
        Of that fit.
    number : int
        Number of a trial that the fit does not stand on, such as confirmation prints of a run.

    Returns
    -------
    DataFrame
        One row per product and set-up that the product can be printed at: ``product``, settings,
        ``prints``, and the joint conformance probability ``promised``; ``if_same_process`` with these
        prints counted as more of the same, ``if_changed_process`` as prints of a process that has changed.
        NaN where the fit that promised has nothing tried, or no fit can be made.
    """
    prints = archive.trial([number]).prints
    readings = [surfaces, *(_with(archive, kept, surfaces, number, one) for one in USED)]
    judged = [None if one is None else list(windows_of(archive, kept.recipe, one)) for one in readings]
    rows = []
    for at, window in enumerate(judged[0]):
        own = prints[prints["plate"].isin(window.plates) | prints["plate"].isna()]
        groups = own.groupby(["speed", "cell_volume", "pressure", "plate"], sort=False, dropna=False)
        for (speed, volume, pressure, plate), members in groups:
            setup = ("" if pd.isna(plate) else plate, speed, volume, pressure)
            told = window.in_trial_region(window.setups(*setup))[0]
            chances = [_chance(one[at], setup) if told and one else math.nan for one in judged]
            rows.append((window.product.name, speed, volume, pressure, plate, len(members), *chances))
    names = ["product", "speed_m_min", "cell_volume_cm3_m2", surfaces.trial.pressure_key, "plate", "prints"]
    return pd.DataFrame(rows, columns=[*names, "promised", *("if_" + one.replace(" ", "_") for one in USED)])


def _with(archive: Archive, kept: KeptFit, before: Surfaces, number: int, standing: str) -> Surfaces | None:
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
        ``changes`` (sentences: what was fitted or judged otherwise), ``coefficients`` and
        ``standard_deviations`` (DataFrames: response, term, before, after, and the change in standard errors
        of the earlier where both are coded alike), ``bands`` (DataFrame: product, roll, plate, pressure,
        fastest speed before and after), ``recommended`` (per product: before and after, and
        whether it was ``judged_before``), ``influence``
        (DataFrame: per trial of the later fit and product the recommended speed with and without it, and
        ``why`` there is no fit without it).
    """
    return {
        "changes": _changes(archive, before, after),
        "coefficients": _side_by_side(before, after, "coefficients"),
        "standard_deviations": _side_by_side(before, after, "standard_deviations"),
        "bands": _bands(before, after),
        "recommended": {
            name: {
                "before": _recommended(before.answer, name),
                "after": _recommended(after.answer, name),
                "judged_before": name in before.answer["products"],
            }
            for name in after.answer["products"]
        },
        "influence": _influence(archive, after, tell),
    }


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
        surfaces = [kept.answer["surfaces"].get(name, {}) for kept in (before, after)]
        one, other = (surface.get(what, {}) for surface in surfaces)
        alike = surfaces[0].get("coding") == surfaces[1].get("coding")
        for term in dict.fromkeys([*one, *other]):
            first, second = one.get(term), other.get(term)
            row = {"response": name, "term": term}
            if what == "coefficients":
                told = alike and None not in (first, second)
                moved = (second[0] - first[0]) / first[1] if told else None
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


def _changes(archive: Archive, before: KeptFit, after: KeptFit) -> list[str]:
    """What was fitted or judged otherwise, beside the trials."""
    one, other = before.recipe, after.recipe
    told = [
        f"{words}: {one[key] or 'none'} before, {other[key] or 'none'} after"
        for key, words in (("terms", "terms"), ("leave_out", "terms left out"))
        if one[key] != other[key]
    ]
    products = [_products(archive, kept) for kept in (before, after)]
    told += [
        f"{name}: its requirements or its pattern differ ({_wording(products[0][name])} before, "
        f"{_wording(products[1][name])} after)"
        for name in products[0]
        if name in products[1] and products[0][name] != products[1][name]
    ]
    if (one["rolls"], one["study"]) != (other["rolls"], other["study"]):
        told.append("the roll inventory or the ink that was reckoned with differs")
    codings = [
        {name: one.get("coding") for name, one in kept.answer["surfaces"].items()} for kept in (before, after)
    ]
    if codings[0] != codings[1]:
        told.append(
            "the trials of the two fits cover other ranges or states of the process, so their coefficients are coded "
            "otherwise and are not to be compared one by one; compare bands and recommended speeds"
        )
    return told


def _products(archive: Archive, kept: KeptFit) -> dict[str, Product]:
    read = (read_product(archive.declaration(checksum)) for checksum in kept.recipe["products"])
    return {product.name: product for product in read}


def _wording(product: Product) -> str:
    return "; ".join(requirement.wording() for requirement in product.requirements)


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
