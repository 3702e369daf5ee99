"""Profiles from CSV files: columns with their units, one profile or several in a file, fields before the header."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd

from pwindow.errors import UnitProblem, UnusableInput, first_few, shown
from pwindow.inputs import InputFile
from pwindow.metrology.headers import name_and_unit
from pwindow.metrology.trace import Trace
from pwindow.metrology.unseen import seen_alone
from pwindow.trials.files import decode
from pwindow.units import factor_between

ALONG = ("x", "position", "distance", "lateral")
HEIGHTS = ("z", "height", "profile")
NAMES = ("trace", "scan", "profile_id", "profile")
_DELIMITERS = (",", ";", "\t")
_HEAD = 100  # lines in which the header is looked for
_FIELD = re.compile(r"^[#;\s]*(?P<key>[\w .-]{1,40}?)\s*[:=,;\t]\s*(?P<value>.{1,200}?)[\s,;]*$")
_VOID = ("", "nan", "na", "n/a", "***", "bad", "void", "-")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}([.,]\d{3})+")
_FIRST = 20  # rows that nearly always show whether marks part thousands
_FEWEST = 50
_LOWEST, _SHORTEST = 0.01, 20.0  # µm: below, a unit is wrong
PRINTED, RELIEF, _WIDEST_STEP = 200.0, 5_000.0, 50.0
"""Heights on prints and on plates, and steps of a scan, beyond which a unit is wrong, µm: prints are some micrometres high,
plates have a relief of some hundred, and lines of 20 µm need steps well below that (common practice, no source)."""


def read_traces(source: str | Path | InputFile) -> tuple[Trace, ...]:
    """The profiles of a CSV file.

    A line of the file names the columns with their units, such as ``x [µm], z [nm]`` or ``x / mm, z_nm``; several columns of heights are
    several profiles, as are the values of a column ``trace``. Lines before it may hold fields such as ``print: A-001``.

    Parameters
    ----------
    source : str, Path or InputFile

    Returns
    -------
    tuple of Trace
        x in µm, increasing; heights in µm, NaN where a cell is empty or says that nothing was seen.

    Raises
    ------
    UnusableInput
        If it is no table of profiles, names no units, or its numbers are impossible in them.
    """
    file = InputFile.of(source)
    lines = decode(file).splitlines()
    at, delimiter = _header(file, lines)
    fields = MappingProxyType(dict(_fields(lines[:at])))
    names = [cell.strip().strip('"') for cell in lines[at].split(delimiter)]
    columns = _columns(file, names)
    used = {columns["along"], *columns["heights"], columns["name"]}
    names = [name if name in used else f"column {number}" for number, name in enumerate(names, 1)]
    table = _numbers(file, lines[at + 1 :], delimiter, names, columns)
    digest = hashlib.sha256(file.content).hexdigest()
    along = columns["along"]
    found = []
    for name, rows in _parts(table, columns["name"]):
        for height in columns["heights"]:
            label = ", ".join(filter(None, (name, _split(height)[0] if len(columns["heights"]) > 1 else "")))
            x, z, notes = _ordered(rows[along].to_numpy(float), rows[height].to_numpy(float))
            z, more = seen_alone(file.name, z)
            trace = Trace(
                name=f"{file.name}: {label}" if label else file.name,
                x=x * factor_between(_split(along)[1] or "", "µm"),
                z=z * factor_between(_split(height)[1] or "", "µm"),
                file=file.name,
                sha256=digest,
                profile=label,
                header=fields,
                notes=(*notes, *more),
            )
            _refuse_implausible(trace)
            found.append(trace)
    if not found:
        raise UnusableInput(f"{file.name}: there is a header but no rows")
    return tuple(found)


def _header(file: InputFile, lines: Sequence[str]) -> tuple[int, str]:
    """Which line names the columns, and what parts them."""
    for at, line in enumerate(lines[:_HEAD]):
        for delimiter in _DELIMITERS:
            names = [_name(cell) for cell in line.split(delimiter)]
            if any(name in ALONG for name in names) and any(_is_height(name) for name in names):
                return at, delimiter
    raise UnusableInput(
        f"{file.name}: no line names a column of positions and one of heights; {_mend(lines[:_HEAD])}"
    )


def _mend(lines: Sequence[str]) -> str:
    """What helps a file without a header: one that comes close may write a unit in a way that is not clear."""
    for line in lines:
        words = re.findall(r"[a-z]+", line.lower().replace("_", " "))
        if any(word in ALONG for word in words) and any(word in HEIGHTS for word in words):
            return f"in “{shown(line.strip())}” write units in brackets, such as “x [µm],z [nm]”"
    return "add a header such as “x [µm],z [nm]”"


def _name(cell: str) -> str:
    return _split(cell)[0].lower()


def _split(cell: str) -> tuple[str, str | None]:
    return name_and_unit(cell, lambda name: name.lower() in ALONG or _is_height(name.lower()))


def _is_height(name: str) -> bool:
    return re.sub(r"[\s_]*\d+$", "", name) in HEIGHTS


def _fields(lines: Sequence[str]) -> Iterator[tuple[str, str]]:
    for line in lines:
        found = _FIELD.match(line)
        if found:
            yield found["key"].strip().lower(), found["value"].strip().strip('"')


def _columns(file: InputFile, names: Sequence[str]) -> Mapping:
    """Which columns hold positions, heights and the profile's name; each length has its unit."""
    along = next(name for name in names if _name(name) in ALONG)
    heights = [name for name in names if _is_height(_name(name))]
    if any(_split(name)[1] for name in heights):
        # beside those, a profile without a unit says which one it is
        heights = [name for name in heights if _name(name) != "profile" or _split(name)[1]]
    for name in (along, *heights):
        unit = _split(name)[1]
        if unit is None:
            raise UnusableInput(
                f"{file.name}: column “{shown(name)}” has no unit; write it in the header, such as “{name} [µm]”"
            )
        try:
            factor_between(unit, "µm")
        except UnitProblem as problem:
            raise UnusableInput(f"{file.name}: column “{shown(name)}”: {problem}") from problem
    named = next((name for name in names if _name(name) in NAMES and name not in heights), None)
    repeated = sorted({name for name in names if names.count(name) > 1 and name in (along, *heights, named)})
    if repeated:
        raise UnusableInput(f"{file.name}: column “{repeated[0]}” appears twice; rename one of them")
    return {"along": along, "heights": heights, "name": named}


def _numbers(
    file: InputFile, lines: Sequence[str], delimiter: str, names: Sequence[str], columns: Mapping
) -> pd.DataFrame:
    """The rows of a file: numbers as such where all of them are plain ones, else cell by cell."""
    wanted, text = (columns["along"], *columns["heights"]), "\n".join(lines)
    try:
        table = _table(text, delimiter, names, wanted)
    except (ValueError, pd.errors.ParserWarning):
        table = None
    first = [[cell.strip(' "') for cell in line.split(delimiter)] for line in lines[:_FIRST] if line.strip()]
    by_name = dict(zip(names, zip(*first)))
    if table is not None and not any(
        _may_part_thousands(table[name], by_name.get(name, ())) for name in wanted
    ):
        return table
    try:
        table = _table(text, delimiter, names)
    except (pd.errors.ParserError, pd.errors.ParserWarning) as problem:
        raise UnusableInput(
            f"{file.name}: its rows have more cells than its header has columns ({str(problem)[:80]}); where commas mark decimals, "
            "separate the columns with semicolons or tabs"
        ) from problem
    for name in wanted:
        table[name] = _as_numbers(file, name, table[name], comma=delimiter != ",")
    return table


def _table(text: str, delimiter: str, names: Sequence[str], numbers: Sequence[str] = ()) -> pd.DataFrame:
    """Cells as text, and as numbers in columns that hold nothing else."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)  # of cells without a column
        return pd.read_csv(
            io.StringIO(text),
            sep=delimiter,
            header=None,
            names=list(names),
            index_col=False,
            dtype={name: float if name in numbers else str for name in names},
            na_values=dict.fromkeys(numbers, _VOID),
            keep_default_na=False,
            skip_blank_lines=True,
            on_bad_lines="error",
        )


def _may_part_thousands(numbers: pd.Series, first: Sequence[str]) -> bool:
    """Whether marks in numbers, of which the first few cells are given, may part thousands; see `_refuse_thousands`."""
    if any(re.search("[.,]", cell) and not _THOUSANDS.fullmatch(cell) for cell in first):
        return False
    whole = numbers[numbers == numbers.round()].abs()
    return bool(whole.between(100.0, 999.0).any())


def _as_numbers(file: InputFile, name: str, cells: pd.Series, *, comma: bool) -> pd.Series:
    """Numbers of a column; NaN where a cell says that nothing was seen."""
    texts = cells.fillna("").str.strip()
    _refuse_thousands(file, name, texts)
    if comma:
        texts = texts.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(texts, errors="coerce")
    wrong = numbers.isna() & ~texts.str.lower().isin(_VOID)
    if wrong.any():
        raise UnusableInput(
            f"{file.name}: column “{shown(name)}”: {first_few([shown(one) for one in texts[wrong].unique()])} "
            f"{'is' if wrong.sum() == 1 else 'are'} not a number; leave a cell empty where nothing was seen"
        )
    return numbers


def _refuse_thousands(file: InputFile, name: str, texts: pd.Series) -> None:
    """Refuse numbers whose marks may part thousands: beside plain ones of three digits, with three after every mark."""
    marked = texts[texts.str.contains(r"[.,]")]
    thousands = marked.str.fullmatch(_THOUSANDS)
    if len(marked) and thousands.all() and texts.str.fullmatch(r"[+-]?\d{3}").any():
        raise UnusableInput(
            f"{file.name}: column “{shown(name)}”: “{shown(marked.iloc[0])}” beside plain numbers of three digits may be "
            "thousands; write numbers without marks for thousands"
        )


def _parts(table: pd.DataFrame, name: str | None) -> Iterator[tuple[str, pd.DataFrame]]:
    """The rows of each profile, in the order of the file."""
    if name is None:
        yield "", table
        return
    for value, rows in table.groupby(table[name].str.strip(), sort=False):
        yield str(value), rows


def _ordered(x: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """Increasing positions, those without a number left out and equal ones as one."""
    notes = []
    known = np.isfinite(x)
    if not known.all():
        notes.append(f"{int((~known).sum())} points without a position are left out")
        x, z = x[known], z[known]
    if len(x) > 1 and x[-1] < x[0]:
        notes.append("positions run backwards; the profile is turned round")
        x, z = x[::-1], z[::-1]
    order = np.argsort(x, kind="stable")
    if (np.diff(order) < 0).any():
        notes.append("positions are not in order; they were sorted")
    x, z = x[order], z[order]
    places, first, counts = np.unique(x, return_index=True, return_counts=True)
    if len(places) < len(x):
        notes.append(f"{len(x) - len(places)} positions are repeated; the mean height is taken")
        seen = np.isfinite(z)
        sums = np.add.reduceat(np.where(seen, z, 0.0), first)
        with np.errstate(invalid="ignore"):
            z = sums / np.add.reduceat(seen.astype(float), first)
        x = places
    return x, z, tuple(notes)


def _refuse_implausible(trace: Trace) -> None:
    """Refuse what a wrong unit makes.

    Raises
    ------
    UnusableInput
        If points are too few, heights too far apart even for a plate, or steps too wide.
    """
    if int(trace.seen.sum()) < _FEWEST:
        raise UnusableInput(
            f"{trace.name}: {int(trace.seen.sum())} points with a height, and at least {_FEWEST} are needed"
        )
    refuse_high(trace, RELIEF)
    span = _span(trace)
    if 0.0 < span < _LOWEST or np.ptp(trace.x) < _SHORTEST:
        low, length = span < _LOWEST, np.ptp(trace.x)
        what = f"heights differ by only {span:.3g} µm" if low else f"it is only {length:.3g} µm long"
        raise UnusableInput(
            f"{trace.name}: {what}; check the unit of the {'heights' if low else 'positions'}"
        )
    if trace.step > _WIDEST_STEP:
        raise UnusableInput(
            f"{trace.name}: neighbouring points are {trace.step:.4g} µm apart, too far for a line to be seen; check the "
            "unit of the positions"
        )


def refuse_high(trace: Trace, highest: float) -> None:
    """Refuse a profile whose heights differ, beside its tilt, by more than is plausible.

    Parameters
    ----------
    trace : Trace
    highest : float
        µm; `PRINTED` or `RELIEF`.

    Raises
    ------
    UnusableInput
        If they do.
    """
    span = _span(trace)
    if span > highest:
        plate = ", and measure a plate as a plate" if span <= RELIEF else ""
        raise UnusableInput(
            f"{trace.name}: heights differ by {span:.4g} µm, which is not plausible; check the unit of the heights{plate}"
        )


def _span(trace: Trace) -> float:
    """Difference of the heights beside their tilt, µm."""
    x, z = trace.x[trace.seen], trace.z[trace.seen]
    return float(np.ptp(z - np.polyval(np.polyfit(x, z, 1), x)))
