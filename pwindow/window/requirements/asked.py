"""What a part's purpose asks of the sheet, the mesh, the line and the gap, before anything is printed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pwindow.conductors.mesh import width_at_open_area, without_undercoat
from pwindow.conductors.tile import drop_per_sheet_resistance
from pwindow.product import Product, Requirement

Link = Literal["sheet", "mesh", "line", "gap"]
Bound = Literal["least", "most"]
_THIN = (
    "the junctions of the mesh are left out: on the safe side, by 3 % where lines take a tenth of the pitch"
)


@dataclass(frozen=True, kw_only=True)
class Ask:
    """A limit on one link of the chain from a part's purpose to its print.

    Attributes
    ----------
    link : {'sheet', 'mesh', 'line', 'gap'}
    label : str
    key : str
        Its name in tables, with bound and unit.
    bound : {'least', 'most'}
    value : float
    unit : str
    requirement : str
        The requirement that asks for it.
    approximation : str
        How it is on the safe side; "" where it is exact.
    """

    link: Link
    label: str
    key: str
    bound: Bound
    value: float
    unit: str
    requirement: str
    approximation: str = ""


@dataclass(frozen=True)
class Asked:
    """The chain, from the sheet to the gap.

    Attributes
    ----------
    asks : tuple of Ask
        The strictest of each kind.
    notes : tuple of str
        What limits nothing, and why.
    """

    asks: tuple[Ask, ...]
    notes: tuple[str, ...]


def what_is_asked(product: Product, resistivity: float | None = None) -> Asked:
    """What a product asks of each link.

    Parameters
    ----------
    product : Product
    resistivity : float, optional
        Of the dry line, Ω·m; without it no cross-section area follows.
    """
    notes: list[str] = []
    found = [
        ask for requirement in product.requirements for ask in _of_requirement(requirement, product, notes)
    ]
    if resistivity is not None:
        found += [_section(ask, resistivity) for ask in found if ask.key.startswith("line_resistance_per_mm")]
    strictest: dict[str, Ask] = {}
    for ask in found:
        sign = -1.0 if ask.bound == "least" else 1.0
        kept = strictest.get(ask.key)
        if kept is None or sign * ask.value < sign * kept.value:
            strictest[ask.key] = ask
    order = ("sheet", "mesh", "line", "gap")
    return Asked(tuple(sorted(strictest.values(), key=lambda ask: order.index(ask.link))), tuple(notes))


def _of_requirement(requirement: Requirement, product: Product, notes: list[str]) -> Iterator[Ask]:
    name, parameters, most = requirement.name, requirement.parameters, requirement.most
    if name in ("sheet_resistance", "voltage_drop", "line_resistance") and requirement.least is not None:
        notes.append(_not_carried(requirement, "least", requirement.least))
    if name == "open_area" and most is not None:
        notes.append(_not_carried(requirement, "most", most))
    if name in ("sheet_resistance", "voltage_drop"):
        if most is not None:
            yield from _of_sheet(requirement, most, product, notes)
    elif name == "line_resistance":
        if most is not None:
            yield _per_mm(most / parameters["length"], requirement)
    elif name == "open_area":
        if requirement.least is not None:
            width = width_at_open_area(
                requirement.least, product.pattern.pitch or 0.0, product.pattern.layout
            )
            yield _size("line_width", "line width", "most", width, requirement)
    else:
        link: Link = "gap" if name == "gap" else "line"
        limits: tuple[tuple[Bound, float | None], ...] = (("least", requirement.least), ("most", most))
        for bound, value in limits:
            if value is not None:
                yield _size(name, requirement.kind.label, bound, value, requirement, link=link)


def _not_carried(requirement: Requirement, bound: Bound, value: float) -> str:
    kind = requirement.kind
    return f"{kind.label} at {bound} {value:g} {kind.unit} is not carried down to lines; a trial judges it"


def _of_sheet(requirement: Requirement, most: float, product: Product, notes: list[str]) -> Iterator[Ask]:
    """The sheet, the lines without what lies under them, and one line, which carries the current of a pitch."""
    parameters, approximation = requirement.parameters, ""
    if requirement.name == "voltage_drop":
        most /= drop_per_sheet_resistance(
            parameters["tile"], parameters["current_density"], parameters["contacts"]
        )
        approximation = "the current is taken as uniform: on the safe side for a device that draws less where its voltage is lower"
    yield Ask(
        link="sheet",
        label="sheet resistance",
        key="sheet_resistance_most_ohm",
        bound="most",
        value=most,
        unit="Ω",
        requirement=requirement.name,
        approximation=approximation,
    )
    if "undercoat" in parameters:
        try:
            most = without_undercoat(most, parameters["undercoat"])
        except ValueError as problem:
            notes.append(f"{requirement.kind.label}: {problem}, so nothing is asked of the lines")
            return
        yield Ask(
            link="mesh",
            label="sheet resistance of the lines alone",
            key="mesh_sheet_resistance_most_ohm",
            bound="most",
            value=most,
            unit="Ω",
            requirement=requirement.name,
            approximation="lines and undercoat are taken side by side: a few per cent on the safe side",
        )
    if product.pattern.pitch is not None:
        yield _per_mm(
            most / (1e-3 * product.pattern.pitch),
            requirement,
            _THIN if product.pattern.layout == "square mesh" else "",
        )


def _per_mm(value: float, requirement: Requirement, approximation: str = "") -> Ask:
    return Ask(
        link="line",
        label="line resistance",
        key="line_resistance_per_mm_most_ohm",
        bound="most",
        value=value,
        unit="Ω/mm",
        requirement=requirement.name,
        approximation=approximation,
    )


def _section(ask: Ask, resistivity: float) -> Ask:
    """Cross-section area, µm², of a line of a resistance per mm."""
    return Ask(
        link="line",
        label="cross-section area of the stated resistivity",
        key="section_area_least_um2",
        bound="least",
        value=resistivity * 1e9 / ask.value,
        unit="µm²",
        requirement=ask.requirement,
        approximation=ask.approximation,
    )


def _size(
    name: str,
    label: str,
    bound: Bound,
    value: float,
    requirement: Requirement,
    *,
    link: Link = "line",
) -> Ask:
    return Ask(
        link=link,
        label=label,
        key=f"{name}_{bound}_um",
        bound=bound,
        value=value,
        unit="µm",
        requirement=requirement.name,
    )
