"""What a part must do: the product's pattern, requirements and the assurance asked for."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TypedDict, cast

from pwindow.declarations import Table, read_toml
from pwindow.errors import DeclarationProblem, UnitProblem, shown
from pwindow.inputs import InputFile, expect_file
from pwindow.overview import Overview, Viewed
from pwindow.units import read_quantity
from pwindow.wording import METRIC, Units, asked, counted

PRESSURE_UNITS = ("µm", "N/mm", "kPa")
LAYOUTS = ("parallel lines", "square mesh")
CONTACTS = ("one side", "two opposite", "two adjacent", "three", "four")


@dataclass(frozen=True, kw_only=True)
class RequirementKind:
    """A kind of requirement: its unit, the words for it, its key in tables, what it needs to know.

    Where its words leave open what a prediction is of, ``predicted`` says it.
    """

    unit: str
    label: str
    key: str
    needs: Mapping[str, str] = field(default_factory=dict)
    allows: Mapping[str, str] = field(default_factory=dict)
    predicted: str = ""


REQUIREMENT_KINDS: Mapping[str, RequirementKind] = MappingProxyType(
    {
        "line_resistance": RequirementKind(
            unit="Ω", label="line resistance", key="line_resistance_ohm", needs={"length": "mm"}
        ),
        "sheet_resistance": RequirementKind(
            unit="Ω", label="sheet resistance", key="sheet_resistance_ohm", allows={"undercoat": "Ω"}
        ),
        "voltage_drop": RequirementKind(
            unit="mV",
            label="voltage drop over the tile",
            key="voltage_drop_mv",
            needs={"tile": "mm", "current_density": "A/m²"},
            allows={"contacts": ""},
        ),
        "open_area": RequirementKind(unit="%", label="open area", key="open_area_percent"),
        "line_width": RequirementKind(unit="µm", label="line width", key="line_width_um"),
        "line_height": RequirementKind(unit="µm", label="line height", key="line_height_um"),
        "inner_radius": RequirementKind(unit="µm", label="radius of inner corners", key="inner_radius_um"),
        "outer_radius": RequirementKind(unit="µm", label="radius of outer corners", key="outer_radius_um"),
        "gap": RequirementKind(
            unit="µm",
            label="gap",
            key="gap_um",
            allows={"count": "", "length": "mm"},
            predicted="average gap",
        ),
    }
)
_MOST_COUNT = 1_000_000
"""Gaps on one part: a sensor has some hundred, and a part of a million could not be inspected."""

_NEEDS_PITCH = ("sheet_resistance", "voltage_drop", "open_area")


class Parameters(TypedDict, total=False):
    """What kinds of requirement need to know beside their limits: mm, Ω, mm, A/m²; number of gaps on a part."""

    length: float
    undercoat: float
    tile: float
    current_density: float
    contacts: str
    count: int


@dataclass(frozen=True)
class Requirement:
    """A limit on something the part must do.

    Attributes
    ----------
    name : str
        Kind of requirement, a key of `REQUIREMENT_KINDS`.
    least, most : float or None
        Limits in the unit of the kind.
    parameters : Parameters
        Those that the kind needs or allows.
    """

    name: str
    least: float | None = None
    most: float | None = None
    parameters: Parameters = field(default_factory=Parameters)

    @property
    def kind(self) -> RequirementKind:
        return REQUIREMENT_KINDS[self.name]

    def wording(self, units: Units = METRIC) -> str:
        """The requirement in words, with its unit.

        Parameters
        ----------
        units : Units
            To write it in.

        Examples
        --------
        >>> Requirement("line_width", most=85.0).wording()
        'line width at most 85 µm'
        """
        limits = [
            f"{word} {units.of(self.kind.unit).limit(value)}"
            for word, value in (("at least", self.least), ("at most", self.most))
            if value is not None
        ]
        return f"{self.kind.label} {' and '.join(limits)}"


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """What is on the plate: process; measured line, gap, lip-to-lip width and corner radius (µm), direction (deg), pitch (µm)."""

    plate: str | None = None
    plate_width: float | None = None
    plate_gap: float | None = None
    direction: float | None = None
    lip_width: float | None = None
    corner_radius: float | None = None
    pitch: float | None = None
    layout: str = "square mesh"


@dataclass(frozen=True)
class Assurance:
    """The probability asked for, and how well the press holds its set-up.

    Attributes
    ----------
    level : float
        Joint conformance probability that the assured window must reach.
    confidence : float or None
        Confidence with which a set-up must reach the level; where None, it is enough that the stated probability does,
        which is the average over all processes that the trial allows.
    speed_tolerance, volume_tolerance : float
        Largest relative deviation from the setting.
    pressure_tolerance : str or None
        Largest deviation from the setting with its unit, such as ``"5 µm"``: which of the three
        kinds of pressure it must be is known once there is a trial.
    """

    level: float = 0.95
    speed_tolerance: float = 0.0
    pressure_tolerance: str | None = None
    volume_tolerance: float = 0.0
    confidence: float | None = None

    @property
    def words(self) -> str:
        """What is asked for.

        Examples
        --------
        >>> Assurance(0.95).words, Assurance(0.95, confidence=0.9).words
        ('95 %', '95 % with 90 % confidence')
        """
        return f"{asked(self.level)}{self.sure}"

    @property
    def sure(self) -> str:
        """The confidence that is asked for, to stand behind the level; "" without one."""
        return "" if self.confidence is None else f" with {asked(self.confidence)} confidence"

    @property
    def bound(self) -> str:
        """What the lower bound of a probability is, which is held against the level; "" without a confidence.

        Examples
        --------
        >>> Assurance(0.95, confidence=0.9).bound, Assurance(0.95).bound
        ('at least, with 90 % confidence', '')
        """
        return f"at least,{self.sure}" if self.sure else ""

    @property
    def tolerances(self) -> Mapping[str, str]:
        """How far each setting may deviate, in words; without those that are held exactly.

        Examples
        --------
        >>> dict(Assurance(speed_tolerance=0.02, pressure_tolerance="5 µm").tolerances)
        {'speed': '2 %', 'pressure': '5 µm'}
        """
        shares = {"speed": self.speed_tolerance, "cell volume": self.volume_tolerance}
        found = {setting: asked(share) for setting, share in shares.items() if share}
        return found | ({"pressure": self.pressure_tolerance} if self.pressure_tolerance else {})


@dataclass(frozen=True, repr=False)
class Product(Viewed):
    """What the part must do."""

    name: str
    requirements: tuple[Requirement, ...]
    pattern: Pattern = field(default_factory=Pattern)
    assurance: Assurance = field(default_factory=Assurance)

    def overview(self) -> Overview:
        """Plate, requirements, assurance.

        Examples
        --------
        >>> import pwindow as pw
        >>> pw.read_product(pw.demo("tag.toml"))
        <Product Grain moisture tag: plate laser-imaged, 3 requirements, assurance 95 %>
        """
        plate, level = self.pattern.plate, self.assurance.words
        number = counted(len(self.requirements), "requirement", "requirements")
        rows = {
            "Plate": plate or "any",
            "Requirements": "; ".join(each.wording() for each in self.requirements),
            "Assurance": level,
        }
        if held := self.assurance.tolerances:
            rows["Tolerances"] = ", ".join(f"{setting} ±{most}" for setting, most in held.items())
        facts = (f"plate {plate}" if plate else "any plate", number, f"assurance {level}")
        return Overview("Product", self.name, facts, rows)

    def with_assurance(self, level: float) -> Product:
        """The same product with another assurance level (between 0 and 1)."""
        return dataclasses.replace(
            self, assurance=dataclasses.replace(self.assurance, level=_checked_level(level, "assurance"))
        )

    def with_confidence(self, confidence: float | None) -> Product:
        """The same product with another confidence (from 0.5 to below 1), or with none."""
        checked = _checked_confidence(confidence, "assurance")
        return dataclasses.replace(self, assurance=dataclasses.replace(self.assurance, confidence=checked))


def read_product(source: str | Path | InputFile) -> Product:
    """Read a product file.

    Parameters
    ----------
    source : path or InputFile
        A TOML file with ``name``, ``[pattern]``, ``[requirements.…]``, ``[assurance]``.

    Returns
    -------
    Product

    Raises
    ------
    TypeError
        If the source is no path.
    DeclarationProblem
        If a key is unknown, a quantity lacks its unit, a limit is missing or contradicts another.
    """
    expect_file("read_product", source, "a product file")
    document = read_toml(source)
    product = Product(
        name=str(document.take("name", Path(document.where).stem)),
        pattern=_read_pattern(document.table("pattern")),
        requirements=_read_requirements(document.table("requirements")),
        assurance=_read_assurance(document.table("assurance")),
    )
    document.close("name, [pattern], [requirements.…], [assurance]")
    check_product(product, document.where)
    return product


def check_product(product: Product, where: str = "product") -> None:
    """Refuse a product whose requirements contradict themselves or lack what they need."""
    if not product.requirements:
        raise DeclarationProblem(
            f"{where}: no requirement; add at least one, for example\n"
            '[requirements.line_width]\nmost = "85 µm"'
        )
    for requirement in product.requirements:
        _check_limits(requirement, where)
        if requirement.name in _NEEDS_PITCH and product.pattern.pitch is None:
            raise DeclarationProblem(
                f"{where} [pattern]: {requirement.kind.label} needs the pitch of the pattern; "
                'add pitch = "500 µm"'
            )


def _check_limits(requirement: Requirement, where: str) -> None:
    least, most = requirement.least, requirement.most
    place = f"{where} [requirements.{requirement.name}]"
    if least is None and most is None:
        raise DeclarationProblem(f'{place}: no limit; add least = "…" or most = "… {requirement.kind.unit}"')
    if most is not None and most <= 0 or least is not None and least < 0:
        raise DeclarationProblem(f"{place}: a limit must be above zero")
    if least is not None and most is not None and least >= most:
        raise DeclarationProblem(f"{place}: least ({least:g}) is not below most ({most:g})")
    if "count" in requirement.parameters:
        _checked_count(requirement.parameters["count"], place)
    if requirement.name == "open_area" and max(least or 0, most or 0) >= 100:
        raise DeclarationProblem(f"{place}: an open area of 100 % leaves no line")


def _read_pattern(table: Table) -> Pattern:
    plate = table.take("plate")
    pattern = Pattern(
        plate=None if plate is None else str(plate),
        plate_width=table.quantity("plate_width", "µm", above=0.0),
        plate_gap=table.quantity("plate_gap", "µm", above=0.0),
        direction=table.quantity("direction", "deg"),
        lip_width=table.quantity("lip_width", "µm", above=0.0),
        corner_radius=table.quantity("corner_radius", "µm", above=0.0),
        pitch=table.quantity("pitch", "µm", above=0.0),
        layout=str(table.take("layout", "square mesh")),
    )
    if pattern.layout not in LAYOUTS:
        raise DeclarationProblem(
            f"{table.where}: unknown layout “{shown(pattern.layout)}”; use “{'” or “'.join(LAYOUTS)}”"
        )
    table.close("plate, plate_width, plate_gap, direction, lip_width, corner_radius, pitch, layout")
    return pattern


def _read_requirements(table: Table) -> tuple[Requirement, ...]:
    names = list(table)
    unknown = [name for name in names if name not in REQUIREMENT_KINDS]
    if unknown:
        raise DeclarationProblem(
            f"{table.where}: “{shown(unknown[0])}” is not a requirement; choose from {', '.join(REQUIREMENT_KINDS)}"
        )
    return tuple(_read_requirement(name, table.table(name)) for name in names)


def _read_requirement(name: str, table: Table) -> Requirement:
    kind = REQUIREMENT_KINDS[name]
    parameters: dict[str, object] = {}
    for key, unit in kind.needs.items():
        if key not in table:
            raise DeclarationProblem(f'{table.where}: “{key}” is missing; add {key} = "… {unit}"')
        parameters[key] = table.quantity(key, unit, above=0.0)
    for key, unit in kind.allows.items():
        if unit and key in table:
            parameters[key] = table.quantity(key, unit, above=0.0)
    if "count" in kind.allows:
        parameters["count"] = _checked_count(table.take("count", 1), table.where)
    if "contacts" in kind.allows:
        parameters["contacts"] = _checked_contacts(table.take("contacts", "two opposite"), table.where)
    least, most = table.quantity("least", kind.unit), table.quantity("most", kind.unit)
    # the keys come from `REQUIREMENT_KINDS`
    requirement = Requirement(name, least, most, cast(Parameters, parameters))
    table.close(", ".join(["least", "most", *kind.needs, *kind.allows]))
    return requirement


def _checked_count(count: object, where: str) -> int:
    if not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= _MOST_COUNT:
        raise DeclarationProblem(
            f"{where}: count “{shown(count)}” must be a whole number from 1 to {_MOST_COUNT}"
        )
    return count


def _checked_contacts(contacts: object, where: str) -> str:
    if contacts not in CONTACTS:
        raise DeclarationProblem(
            f"{where}: unknown contacts “{shown(contacts)}”; use one of {', '.join(CONTACTS)}"
        )
    return str(contacts)


def _read_assurance(table: Table) -> Assurance:
    assurance = Assurance(
        level=_checked_level(table.take("level", Assurance.level), table.where),
        speed_tolerance=table.quantity("speed_tolerance", "1", 0.0, least=0.0, below=1.0),
        pressure_tolerance=_checked_pressure(table.take("pressure_tolerance"), table.where),
        volume_tolerance=table.quantity("volume_tolerance", "1", 0.0, least=0.0, below=1.0),
        confidence=_checked_confidence(table.take("confidence"), table.where),
    )
    table.close("level, confidence, speed_tolerance, pressure_tolerance, volume_tolerance")
    return assurance


def _checked_level(level: object, where: str) -> float:
    value = _share(level)
    if value is None or not 0.0 < value < 1.0:
        raise DeclarationProblem(
            f"{where}: level “{shown(level)}” must be a probability between 0 and 1, for example 0.95"
        )
    return value


def _checked_confidence(confidence: object, where: str) -> float | None:
    if confidence is None:
        return None
    value = _share(confidence)
    if value is None or not 0.5 <= value < 1.0:
        raise DeclarationProblem(
            f"{where}: confidence “{shown(confidence)}” must be from 50 % to below 100 %, for example “90 %”"
        )
    return value


def _share(stated: object) -> float | None:
    """A share as a number or as a text in percent; None of what is neither."""
    if isinstance(stated, (int, float)) and not isinstance(stated, bool):
        return float(stated)
    try:
        return read_quantity(stated, "1")
    except UnitProblem:
        return None


def _checked_pressure(text: object, where: str) -> str | None:
    if text is None:
        return None
    for unit in PRESSURE_UNITS:
        try:
            value = read_quantity(text, unit)
        except UnitProblem:
            continue
        if value < 0:
            raise DeclarationProblem(f"{where}: pressure_tolerance “{shown(text)}” must be at least 0")
        return str(text)
    raise DeclarationProblem(
        f"{where}: pressure_tolerance “{shown(text)}” needs a unit of pressure ({', '.join(PRESSURE_UNITS)})"
    )
