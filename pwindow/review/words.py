"""Numbers as people read them."""

from __future__ import annotations

import math
from collections.abc import Mapping

from pwindow.product import REQUIREMENT_KINDS, Pattern, Product, Requirement
from pwindow.study import Ink, MakeReadies, Study
from pwindow.window.setup import Setup
from pwindow.wording import METRIC, Units, asked

SOURCE = "from source"


def in_hundred(value: float) -> str:
    """A probability as a count of runs, rounded but never up to all.

    Examples
    --------
    >>> in_hundred(0.9599), in_hundred(0.9999), in_hundred(0.004)
    ('96 of 100', '99 of 100', 'fewer than 1 of 100')
    """
    count = round(100 * value)
    return f"{min(count, 99)} of 100" if count else "fewer than 1 of 100"


def up_to_hundred(value: float) -> str:
    """A rate that should be low as a count, never cut.

    Examples
    --------
    >>> up_to_hundred(0.0712), up_to_hundred(0.0001)
    ('8 of 100', '1 of 100')
    """
    return f"{math.ceil(100 * value - 1e-9)} of 100"


def requirement_words(requirement: Requirement, units: Units = METRIC) -> str:
    """A requirement with what it is asked of.

    Examples
    --------
    >>> requirement_words(Requirement("gap", least=16.0, parameters={"count": 48}))
    'gap at least 16 µm, every one of 48'
    >>> requirement_words(Requirement("line_resistance", most=330.0, parameters={"length": 80.0}))
    'line resistance at most 330 Ω, over 80 mm'
    """
    stated = requirement.parameters
    words = requirement.wording(units)
    if requirement.name in ("line_resistance", "gap") and "length" in stated:
        words += f", over {stated['length']:g} mm"
    return words + (f", every one of {stated['count']:g}" if stated.get("count", 1) > 1 else "")


def changed_requirements(declared: Product, product: Product, units: Units = METRIC) -> tuple[str, ...]:
    """What a product declares where other limits are asked for now, each in words.

    Parameters
    ----------
    declared, product : Product
        With the same kinds of requirement.
    units : Units
        To write limits in.

    Examples
    --------
    >>> import pwindow as pw
    >>> tag = pw.read_product(pw.demo("tag.toml"))
    >>> changed_requirements(tag, tag.with_assurance(0.9).with_confidence(0.8))
    ('assurance 95 %', 'no confidence level')
    """
    found, before, now = [], declared.assurance, product.assurance
    for old, new in zip(declared.requirements, product.requirements):
        if old.wording(units) != new.wording(units):
            found.append(old.wording(units))
        if old.parameters.get("count") != new.parameters.get("count"):
            found.append(f"{old.parameters['count']} gaps on one part")
    if before.level != now.level:
        found.append(f"assurance {asked(before.level)}")
    if before.confidence != now.confidence:
        found.append(
            "no confidence level" if before.confidence is None else f"{asked(before.confidence)} confidence"
        )
    return tuple(found)


def in_full(product: Product, study: Study) -> dict[str, str]:
    """All that a product and a study declare, each part in words with its unit."""
    pattern, assurance = product.pattern, product.assurance
    terms = {"product": product.name}
    terms |= {one.kind.label: _in_full(one) for one in product.requirements}
    terms["pattern"] = "; ".join(_of_pattern(pattern)) or "none stated"
    stated = assurance.tolerances
    tolerances = (
        f"{name} tolerance {stated.get(name, 'not stated')}" for name in ("speed", "pressure", "cell volume")
    )
    terms["asked for"] = "; ".join([assurance.words, *tolerances])
    terms["inventory"] = "; ".join(f"{roll.label} {roll.cell_volume:g} cm³/m²" for roll in study.rolls)
    terms["ink"] = "; ".join(_of_ink(study.ink))
    terms["make-readies"] = "; ".join(_of_make_readies(study.make_readies))
    return {name: words for name, words in terms.items() if words}


def _of_pattern(pattern: Pattern) -> list[str]:
    units = {
        "plate": "",
        "plate_width": "µm",
        "plate_gap": "µm",
        "direction": "deg",
        "lip_width": "µm",
        "corner_radius": "µm",
        "pitch": "µm",
    }
    sizes = {name: getattr(pattern, name) for name in units}
    words = [
        f"{name.replace('_', ' ')} {value if isinstance(value, str) else f'{value:g} {units[name]}'}"
        for name, value in sizes.items()
        if value is not None
    ]
    return words + [f"layout {pattern.layout}"] * (pattern.pitch is not None)


def _of_ink(ink: Ink) -> list[str]:
    parts = []
    if ink.resistivity is not None:
        spread = f"resistivity spread {100 * ink.resistivity_spread:g} %"
        parts += [f"resistivity {METRIC.of('Ω·m').limit(ink.resistivity)}", spread]
    return parts if ink.silver_density is None else [*parts, f"silver density {ink.silver_density:g} g/cm³"]


def _of_make_readies(stated: MakeReadies) -> list[str]:
    parts = [f"where not recorded, {stated.unrecorded} had its own"] if stated.unrecorded else []
    parts += [f"prints made in the order {stated.press_order}"] * bool(stated.press_order)
    parts += ["surfaces follow a drift"] * stated.drift
    if not stated.stated:
        return parts
    spreads = [
        f"{name.replace('_', ' ')} {100 * value:g} %"
        if name != "gap_closure"
        else f"gap closure {value:g} µm"
        for name, value in stated.spread.items()
    ]
    return [*parts, f"spread {', '.join(spreads)}", f"known from {stated.known_from} make-readies"]


def _in_full(requirement: Requirement) -> str:
    kind = REQUIREMENT_KINDS[requirement.name]
    units = {**kind.needs, **kind.allows}
    more = [
        f"{name.replace('_', ' ')} {value:g} {units.get(name, '')}".rstrip()
        if isinstance(value, (int, float))
        else f"{name.replace('_', ' ')} {value}"
        for name, value in requirement.parameters.items()
    ]
    limits = requirement.wording().removeprefix(kind.label).strip()
    return "; ".join([limits, *more])


def at_words(setup: Setup, unit: str) -> str:
    """A set-up as ``--at`` takes it."""
    parts = [f"roll={setup.roll.id}", f"pressure={setup.pressure:g} {unit}", f"speed={setup.speed:g} m/min"]
    return ", ".join([*parts, *[f"plate={setup.plate}"] * bool(setup.plate)])


def program(versions: Mapping[str, str]) -> str:
    """Name and version of the program; that it has none where it was never installed."""
    version = versions["pwindow"]
    return f"pwindow, {SOURCE}" if version == "not installed" else f"pwindow {version}"
