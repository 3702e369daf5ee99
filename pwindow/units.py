"""One registry of units, and the two ways text becomes a quantity: a header and a value.

Everything past the readers is a plain number in the unit that its name carries.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING

from pwindow.errors import UnitProblem, shown

if TYPE_CHECKING:
    import pint

_HEADER = re.compile(
    r"^\s*(?P<name>[^\[\]()]+?)\s*(?:\[\s*(?P<unit>[^\[\]]*?)\s*\]|\(\s*(?P<round>[^()]*?)\s*\))?\s*$"
)
_LONGEST = 200  # characters of a quantity or a header; patterns are slow on texts of many spaces
_DIMENSIONLESS_NUMBER = re.compile(r"^\s*[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?\s*$")


@cache
def registry() -> pint.UnitRegistry:
    """The project's unit registry: pint's, with the trade's own units added.

    1 BCM is a thousand million cubic micrometres per square inch, 1/0.64516 cm³/m².
    """
    import pint

    units: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=False, cache_folder=None)
    units.define("BCM = 1e9 * micrometer ** 3 / inch ** 2 = _ = bcm")
    units.define("fpm = foot / minute = _ = FPM")
    units.define("mpm = meter / minute = _ = MPM")
    units.define("pli = pound_force / inch")
    units.define("sq = [] = _ = square")
    return units


_SPELLINGS = (("\u2126", "ohm"), ("\u03a9", "ohm"), ("%", "percent"), ("□", "sq"), ("·", "*"), ("⋅", "*"))
_OHM = re.compile(r"(?<=[kMmnµ])Ohms?\b|\bOhms?\b")
_BCM = re.compile(r"\b(BCM|bcm) ?/ ?(in(²|\^?2)|sq\.? ?in\.?)$")  # BCM says "per square inch" already
_BARE_POWER = re.compile(r"(?<=[A-Za-z])(\d)")
_MIL = re.compile(r"\bmils?\b")  # the trade's mil is a thousandth of an inch, not an angle

_LETTERS = str.maketrans(
    {"²": "2", "³": "3", "μ": "u", "µ": "u", "\u2126": "ohm", "\u03a9": "ohm", " ": "*", "·": "*"}
)


def _one_unit(text: str, other: str) -> bool:
    """Whether two texts spell one unit alike but for letters that keyboards lack and signs of a product.

    Files mostly name the very unit that is kept: making the registry takes longer than reading them.
    """
    return text.strip().translate(_LETTERS) == other.translate(_LETTERS)


_UNIT_TEXT = re.compile(r"^(?!.*\*\*[^A-Za-z/]*\*\*)(?!.*\d{3})[^\W_]?[\w °%□Ω.*/^()·⋅²³¹⁻-]{0,40}$")


def _parse_unit(text: str) -> pint.Unit:
    cleaned = _BCM.sub("BCM", _OHM.sub("ohm", text.strip()))
    cleaned = _MIL.sub("thou", _BARE_POWER.sub(r"**\1", cleaned))
    for spelling, standard in _SPELLINGS:
        cleaned = cleaned.replace(spelling, standard)
    if not _UNIT_TEXT.match(cleaned):
        raise UnitProblem(f"unknown unit “{shown(text)}”")
    try:
        return registry().parse_units(cleaned)
    except Exception as problem:  # pint lets through whatever Python's tokenizer and arithmetic raise
        raise UnitProblem(f"unknown unit “{shown(text)}”") from problem


def split_header(header: str) -> tuple[str, str | None]:
    """Split ``"cell_volume [BCM]"`` into its name and its unit; round brackets do as well.

    Examples
    --------
    >>> split_header("cell_volume [BCM]")
    ('cell_volume', 'BCM')
    >>> split_header("print")
    ('print', None)
    """
    match = _HEADER.match(header) if len(header) <= _LONGEST else None
    if match is None:
        return header.strip(), None
    return match["name"].strip(), match["unit"] or match["round"] or None


@cache
def factor_between(unit: str, target: str) -> float:
    """The number that turns a value in `unit` into one in `target`.

    Raises
    ------
    UnitProblem
        If the unit is unknown or of another dimension.

    Examples
    --------
    >>> round(factor_between("BCM", "cm³/m²"), 7)
    1.5500031
    """
    if _one_unit(unit, target):
        return 1.0
    if (unit, target) == ("%", "1"):
        return 0.01
    source, goal = _parse_unit(unit), _parse_unit(target)
    if not source.is_compatible_with(goal):
        raise UnitProblem(f"unit “{shown(unit)}” cannot be converted to “{target}”")
    return float(registry().Quantity(1.0, source).to(goal).magnitude)


def same_dimension(unit: str, target: str) -> bool:
    """Whether a value in `unit` can be turned into one in `target`."""
    return _one_unit(unit, target) or _parse_unit(unit).is_compatible_with(_parse_unit(target))


def read_quantity(text: object, target: str) -> float:
    """Read ``"120 ohm"`` as a plain number in `target`.

    A bare number is refused: a quantity without its unit is how runs go wrong.

    Examples
    --------
    >>> read_quantity("3.2 BCM", "cm³/m²")
    4.96...
    >>> read_quantity("2 %", "1")
    0.02
    """
    unit = "%" if target == "1" else target
    if len(str(text)) > _LONGEST:
        raise UnitProblem(f"“{shown(text)}” is too long to be a number with a unit")
    example = f"write it with its unit, for example “{_example_value(text)} {unit}”"
    if not isinstance(text, str) or _DIMENSIONLESS_NUMBER.match(text):
        raise UnitProblem(f"“{shown(text)}” is a number without a unit: {example}")
    match = re.match(r"^\s*(?P<value>[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*(?P<unit>\S.*?)\s*$", text)
    if match is None:
        raise UnitProblem(f"“{shown(text)}” is not a number with a unit: {example}")
    value = float(match["value"].replace(",", ".")) * factor_between(match["unit"], target)
    if not math.isfinite(value):
        raise UnitProblem(f"“{shown(text)}” is too large to be a quantity: correct it")
    return value


def _example_value(text: object) -> object:
    return text if isinstance(text, (int, float)) or _DIMENSIONLESS_NUMBER.match(str(text)) else 10
