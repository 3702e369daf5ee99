"""Headers of scans, scan lists and run lists: names with units in the forms that instruments and spreadsheets write.

A unit stands in brackets, behind a slash (``x / mm``, as ISO 80000-1 writes the heads of tables), or, of lengths only,
behind an underscore or a space (``height_nm``). There, units that may be something else, such as ``m`` and ``in``, are
none: ``z_m`` may be a mean.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pandas as pd

from pwindow.errors import UnusableInput, shown
from pwindow.trials.columns import COLUMNS
from pwindow.trials.headers import column_name
from pwindow.units import split_header

_SLASH = re.compile(r"(?P<name>[^/]*[^/\s])\s*/\s*(?P<unit>\S.*)")
_TAIL = re.compile(r"(?P<name>.*[^\s_])[\s_]+(?P<unit>nm|[uµμ]m|mm|cm|thou|mils?)")
_LONGEST = 100  # characters of a name; patterns are slow on texts of many spaces
_OWN = ("scan", "plate_id")


def name_and_unit(header: str, is_length: Callable[[str], bool]) -> tuple[str, str | None]:
    """Name and unit of a header cell; None where it has no unit.

    Parameters
    ----------
    header : str
    is_length : callable
        Whether what is called so is a length. A unit without brackets is looked for behind such names only, and of the
        columns of a trial file.

    Examples
    --------
    >>> [name_and_unit(one, "z".__eq__) for one in ("z [nm]", "z / nm", "z_nm", "z_m", "a / nm")]
    [('z', 'nm'), ('z', 'nm'), ('z', 'nm'), ('z_m', None), ('a / nm', None)]
    """
    name, unit = split_header(header.strip().strip('"').lstrip("\ufeff"))
    if unit is not None or len(name) > _LONGEST:
        return name, unit
    slash, tail = _SLASH.fullmatch(name), _TAIL.fullmatch(name)
    if slash and (is_length(slash["name"]) or _has_unit(slash["name"])):
        return slash["name"], slash["unit"]
    if tail and (is_length(tail["name"]) or _has_unit(tail["name"])):
        return tail["name"], tail["unit"]
    return name, None


def _has_unit(name: str) -> bool:
    column = COLUMNS.get(column_name(name)[0])
    return column is not None and column.unit is not None


def with_known_names(cells: pd.DataFrame, what: str) -> pd.DataFrame:
    """Cells of a list whose known columns are called as in a trial file: ``Print``, ``Plate gap / um`` and so on.

    Parameters
    ----------
    cells : DataFrame
        As they were typed.
    what : str
        What list it is.

    Raises
    ------
    UnusableInput
        If two columns are one.
    """
    names = [_known(str(name)) for name in cells]
    for name in names:
        if names.count(name) > 1:
            typed = [f"“{shown(one)}”" for one, known in zip(cells, names) if known == name]
            raise UnusableInput(f"the {what} has column “{shown(name)}” twice ({', '.join(typed)}); keep one")
    return cells.set_axis(names, axis=1)


def _known(header: str) -> str:
    name, unit = name_and_unit(header, lambda _: False)
    canonical = column_name(name)[0]
    lower = canonical.lower().replace(" ", "_")
    if canonical not in COLUMNS and lower not in _OWN:
        return header
    return (lower if lower in _OWN else canonical) + (f" [{unit}]" if unit else "")
