"""Two fits of an archive side by side: how they differ, and which trial moved what."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.product import Assurance, Product, read_product
from pwindow.study import Roll
from pwindow.trials.archive import Archive
from pwindow.window.search.maps import WindowMap, window_map
from pwindow.window.setup import Setup
from pwindow.workflows.kept import BAND, KeptFit, answer_of, surfaces_of, windows_of


@dataclass(frozen=True, kw_only=True)
class SideBySide:
    """The windows of one product on two fits, at one plate and pressure.

    Attributes
    ----------
    product, plate : str
    pressure : float
        In `pressure_unit`.
    pressure_unit : str
        The unit that pressures are kept in.
    assurance : Assurance
    rolls : tuple of Roll
    before, after : WindowMap
    recommended : pair of (speed, cell volume) or None
        Where the recommended set-ups lie on the maps, m/min and cm³/m².
    fits : pair of int
        Numbers of the two.
    elsewhere : Setup or None
        What the earlier fit recommends, where that is not on these maps.
    """

    product: str
    plate: str
    pressure: float
    pressure_unit: str
    assurance: Assurance
    rolls: tuple[Roll, ...]
    before: WindowMap
    after: WindowMap
    recommended: tuple[tuple[float, float] | None, ...]
    fits: tuple[int, int]
    elsewhere: Setup | None = None

    def to_frame(self) -> pd.DataFrame:
        """Both maps, as of `WindowMap.to_frame`, distinguished by ``fit``: before, after."""
        parts = {"before": self.before, "after": self.after}
        return pd.concat([one.to_frame().assign(fit=name) for name, one in parts.items()], ignore_index=True)


def windows_side_by_side(
    archive: Archive,
    before: KeptFit,
    after: KeptFit,
    tell: Callable[[str], None] = lambda step: None,
) -> SideBySide:
    """The windows of the later fit's first product, where that fit recommends to run.

    Parameters
    ----------
    archive : Archive
    before, after : KeptFit
    tell : callable
        Called with each step before it is taken.

    Raises
    ------
    UnusableInput
        If the later fit was asked for no product.
    """
    if not after.recipe["products"]:
        raise UnusableInput(f"fit {after.number} has no product; refit with `pwindow refit --product …`")
    recipe = {name: after.recipe[name] for name in ("products", "study", "rolls")}
    found = []
    for kept in (before, after):
        tell(f"finding the window of fit {kept.number}")
        found.append(next(windows_of(archive, recipe, surfaces_of(archive, kept.recipe))))
    one, other = found
    bests = [window.recommended() for window in (one, other)]
    tell("drawing the windows")
    trial = other.surfaces.trial
    if bests[1] is not None:
        plate, pressure = bests[1].setup.plate, bests[1].setup.pressure
    else:
        plate, pressure = other.plates[0], trial.pressures[len(trial.pressures) // 2]
    spots = tuple(
        (found.setup.speed, found.setup.roll.cell_volume)
        if found and (found.setup.plate, found.setup.pressure) == (plate, pressure)
        else None
        for found in bests
    )
    earlier, later = (window_map(window, plate, pressure) for window in (one, other))
    return SideBySide(
        product=other.product.name,
        plate=plate,
        pressure=pressure,
        pressure_unit=trial.pressure_unit,
        assurance=other.product.assurance,
        rolls=other.rolls,
        before=earlier,
        after=later,
        recommended=spots,
        fits=(before.number, after.number),
        elsewhere=bests[0].setup if bests[0] and spots[0] is None else None,
    )


_PRINTED = 4  # digits that a fit is reproduced to, those that are printed


def differences(answer: Mapping, other: Mapping) -> list[str]:
    """Numbers of an answer that another does not print alike, by their place; what only the other tells is no difference.

    Parameters
    ----------
    answer, other : mapping
        As stored, and as worked out again, perhaps by a version that tells more.
    """
    return [
        f"{place}: {one} and {another}"
        for place, one, another in _leaves(answer, other)
        if _as_printed(one) != _as_printed(another)
    ]


def _leaves(one: object, other: object, place: str = "") -> Iterator[tuple[str, object, object]]:
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        for key in one:
            yield from _leaves(one[key], other.get(key), f"{place}, {key}" if place else str(key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for at, (first, second) in enumerate(zip(one, other), start=1):
            yield from _leaves(first, second, f"{place} {at}")
    else:
        yield place, one, other


def _as_printed(value: object) -> object:
    return f"{value:.{_PRINTED}g}" if isinstance(value, float) else value


def compare(
    archive: Archive,
    before: KeptFit,
    after: KeptFit,
    tell: Callable[[str], None] = lambda step: None,
) -> dict:
    """Two fits side by side, and which trial moved what.

    Parameters
    ----------
    archive : Archive
    before, after : KeptFit
    tell : callable
        Called with each step before it is taken.

    Returns
    -------
    dict
        ``changes`` (sentences: what was fitted or judged differently), ``coefficients`` and
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
                comparable = alike and None not in (first, second)
                moved = (second[0] - first[0]) / first[1] if comparable else None
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
                kept.answer["products"].get(name, {}).get("bands", []), columns=[*BAND, "speed_high_m_min"]
            )
            .groupby(BAND)["speed_high_m_min"]
            .max()
            for kept in (before, after)
        )
        both = pd.DataFrame({"fastest_before": one, "fastest_after": other}).reset_index()
        frames.append(both.assign(product=name))
    columns = ["product", *BAND, "fastest_before", "fastest_after"]
    return pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)


def _changes(archive: Archive, before: KeptFit, after: KeptFit) -> list[str]:
    """What was fitted or judged differently, beside the trials."""
    one, other = before.recipe, after.recipe
    changes = [
        f"{words}: {one[key] or 'none'} before, {other[key] or 'none'} after"
        for key, words in (("terms", "terms"), ("leave_out", "terms left out"))
        if one[key] != other[key]
    ]
    products = [_products(archive, kept) for kept in (before, after)]
    changes += [
        f"{name}: its requirements or its pattern differ ({_wording(products[0][name])} before, "
        f"{_wording(products[1][name])} after)"
        for name in products[0]
        if name in products[1] and products[0][name] != products[1][name]
    ]
    if (one["rolls"], one["study"]) != (other["rolls"], other["study"]):
        changes.append("the roll inventory or the ink differs")
    codings = [
        {name: one.get("coding") for name, one in kept.answer["surfaces"].items()} for kept in (before, after)
    ]
    if codings[0] != codings[1]:
        changes.append(
            "do not compare the coefficients one by one, because the trials of the two fits cover different ranges or "
            "states of the process; compare speed bands and recommended speeds"
        )
    return changes


def _products(archive: Archive, kept: KeptFit) -> dict[str, Product]:
    read = (read_product(archive.declaration(checksum)) for checksum in kept.recipe["products"])
    return {product.name: product for product in read}


def _wording(product: Product) -> str:
    return "; ".join(requirement.wording() for requirement in product.requirements)


def _recommended(answer: Mapping, name: str) -> dict | None:
    return answer["products"].get(name, {}).get("recommended")


def _without(number: int, tell: Callable[[str], None]) -> Callable[[str], None]:
    return lambda step: tell(f"{step} without trial {number}")


def _influence(archive: Archive, kept: KeptFit, tell: Callable[[str], None]) -> pd.DataFrame:
    """What the later fit would recommend without each of its trials."""
    rows = []
    trials = kept.recipe["trials"]
    for trial in trials if len(trials) > 1 else []:
        number = trial["number"]
        try:
            without, why = answer_of(archive, kept.recipe, number, _without(number, tell)), ""
        except UnusableInput as problem:
            without, why = {"products": {}}, str(problem)
        for name in kept.answer["products"]:
            speeds = [_recommended(answer, name) for answer in (kept.answer, without)]
            known = [best and best["speed_m_min"] for best in speeds]
            rows.append((number, trial["name"], name, *known, why))
    return pd.DataFrame(rows, columns=["trial", "name", "product", "speed_with", "speed_without", "why"])
