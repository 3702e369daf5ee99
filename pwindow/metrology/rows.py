"""Rows of a trial file and of a plate file from measured scans, each traceable to its scan."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import NoReturn

import numpy as np
import pandas as pd

from pwindow.errors import UnusableInput, first_few, shown
from pwindow.metrology.areas import GapAlong, MeasuredArea
from pwindow.metrology.features import Measured, MeasuredLine, Value
from pwindow.metrology.foot import TENTH
from pwindow.metrology.headers import with_known_names
from pwindow.metrology.plates import SURFACE_RULE, MeasuredPlate, PlateGap, PlateLine
from pwindow.metrology.scans import scan_of
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace
from pwindow.trials.headers import column_name
from pwindow.wording import counted

_LINE = {"line_height": ("height", "um"), "line_width": ("width", "um"), "section_area": ("area", "um2")}
_WHOLE = {"source_line", "ridges", "gaps_inspected", "gaps_bridged"}
_DIGITS = 6
_FEW = 3  # scans that are named one by one


def trial_rows(
    measured: Iterable[Measured | MeasuredArea],
    prints: Mapping[str, str],
    runs: pd.DataFrame | None = None,
    listed: Mapping[str, Mapping[str, str]] | None = None,
) -> pd.DataFrame:
    """One row a line, one a gap, and of a profile one for its bridged gaps; lines that have joined or broken are no lines.

    Parameters
    ----------
    measured : iterable of Measured or MeasuredArea
    prints : mapping of str to str
        The print of each profile, by the profile's name.
    runs : DataFrame, optional
        Cells of a run list, as they were typed: a row a print, with a column ``print``; they are put before what was
        measured.
    listed : mapping of str to mapping of str to str, optional
        As `listed_scans` gives them.

    Returns
    -------
    DataFrame
        ``print``, the columns of the run list, those of the scan list, ``line_height [um]``, ``line_width [um]``, ``section_area [um2]``,
        ``gap [um]`` and the standard uncertainty of each (``u_…``), ``ridges``, ``gaps_inspected``, ``gaps_bridged``,
        ``foot_rule``, ``source_file``, ``source_sha256``, ``source_line`` (from left to right on its profile).

    Raises
    ------
    UnusableInput
        If the run list lacks a print.
    """
    rows = [
        {"print": prints[scan.name], **_listed(listed, scan), **row}
        for one in measured
        for scan in [scan_of(one)]
        for row in (_rows_of_area(one) if isinstance(one, MeasuredArea) else _rows_of(one))
    ]
    table = pd.DataFrame(rows)
    table = table.astype(dict.fromkeys(_WHOLE & set(table), "Int64"))
    return table if runs is None else _with_runs(table, runs)


def _listed(listed: Mapping[str, Mapping[str, str]] | None, scan: Trace | Topography) -> dict[str, str]:
    """What a scan list says of a scan beside its print."""
    found = _of_list(listed, scan)
    return {} if found is None else {name: text for name, text in found.items() if name != "print"}


def _of_list(
    listed: Mapping[str, Mapping[str, str]] | None, scan: Trace | Topography
) -> Mapping[str, str] | None:
    return None if listed is None else listed.get(scan.name, listed.get(scan.file))


def _rows_of(measured: Measured) -> list[dict]:
    trace = measured.levelled.trace
    source = {"foot_rule": measured.rule.words, "source_file": trace.file, "source_sha256": trace.sha256}
    lines = [
        {**_of_line(line), **source, "source_line": at}
        for at, line in enumerate(measured.lines, 1)
        if not line.closed
    ]
    gaps = [
        {**_with_error("gap", gap.width), **source, "source_line": at}
        for at, gap in enumerate(measured.gaps, 1)
        if not gap.missing
    ]
    inspected = len(gaps) + measured.bridged
    counts = [{"gaps_inspected": inspected, "gaps_bridged": measured.bridged, **source}]
    return [*lines, *gaps, *(counts if inspected else [])]


def _rows_of_area(measured: MeasuredArea) -> list[dict]:
    """Of a topography each line and each gap once, with the length that was inspected."""
    source = {
        "foot_rule": TENTH.words,
        "source_file": measured.topography.file,
        "source_sha256": measured.topography.sha256,
    }
    length = {"gap_length [mm]": _kept(measured.length / 1e3)}
    lines = [
        {**_of_line(line.measured), **source, "source_line": at}
        for at, line in enumerate(measured.lines, 1)
        if not line.breaks
    ]
    gaps = [
        {
            **({} if gap.bridges else _with_error("gap", gap.width)),
            **length,
            **_raggedness(gap),
            "gaps_inspected": 1,
            "gaps_bridged": int(gap.bridges > 0),
            **source,
            "source_line": at,
        }
        for at, gap in enumerate(measured.gaps, 1)
    ]
    return [*lines, *gaps]


def _raggedness(gap: GapAlong) -> dict[str, float]:
    if not np.isfinite(gap.raggedness):
        return {}
    return {
        "gap_raggedness [um]": _kept(gap.raggedness),
        "gap_correlation [um]": _kept(gap.correlation_length),
    }


def plate_rows(measured: Iterable[MeasuredPlate], plates: Mapping[str, str]) -> pd.DataFrame:
    """Rows of a plate file: one a raised line, one a gap.

    Parameters
    ----------
    measured : iterable of MeasuredPlate
    plates : mapping of str to str
        The plate of each profile, by the profile's name.

    Returns
    -------
    DataFrame
        ``plate_id``, ``plate_feature``, ``plate_width [um]``, ``top`` (flat or rounded), ``top_radius [um]``,
        ``plate_gap [um]``, ``lip_width [um]``, ``lip_height [um]`` (of the higher lip), ``gap_depth [um]``, the standard
        uncertainty of each (``u_…``), ``edge_rule``, ``source_file``, ``source_sha256``, ``source_line``.
    """
    rows = []
    for one in measured:
        trace = one.levelled.trace
        source = {"edge_rule": SURFACE_RULE, "source_file": trace.file, "source_sha256": trace.sha256}
        found = [(f"line {at}", at, _of_plate_line(line)) for at, line in enumerate(one.lines, 1)]
        found += [(f"gap {at}", at, _of_plate_gap(gap)) for at, gap in enumerate(one.gaps, 1)]
        rows += [
            {"plate_id": plates[trace.name], "plate_feature": name, **values, **source, "source_line": at}
            for name, at, values in found
        ]
    return pd.DataFrame(rows)


def _of_plate_line(line: PlateLine) -> dict[str, float | str]:
    top = {"top": "flat" if line.radius is None else "rounded"}
    return _with_error("plate_width", line.width) | top | _with_error("top_radius", line.radius)


def _of_plate_gap(gap: PlateGap) -> dict[str, float | str]:
    lips = [lip.height for lip in gap.lips if lip is not None]
    highest = max(lips, key=lambda height: height.value, default=None)
    return (
        _with_error("plate_gap", gap.width)
        | _with_error("lip_width", gap.lip_width)
        | _with_error("lip_height", highest)
        | _with_error("gap_depth", gap.depth)
    )


def _with_error(name: str, value: Value | None, unit: str = "um") -> dict[str, float | str]:
    if value is None:
        return {}
    return {f"{name} [{unit}]": _kept(value.value), f"u_{name} [{unit}]": _kept(value.error)}


def _of_line(line: MeasuredLine) -> dict[str, float | str]:
    found: dict[str, float | str] = {}
    for column, (attribute, unit) in _LINE.items():
        found |= _with_error(column, getattr(line, attribute), unit)
    return found | {"ridges": max(len(line.line.ridges), 1)}


def _kept(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def _with_runs(table: pd.DataFrame, runs: pd.DataFrame) -> pd.DataFrame:
    runs = with_known_names(runs, "run list")
    if "print" not in runs:
        raise UnusableInput("the run list has no column “print”")
    runs = runs.assign(print=runs["print"].astype(str).str.strip())
    repeated = runs["print"][runs["print"].duplicated()].unique().tolist()
    if repeated:
        raise UnusableInput(f"the run list has print {first_few(repeated)} twice; keep one row a print")
    missing = sorted(set(table["print"]) - set(runs["print"]))
    if missing:
        raise UnusableInput(
            f"the run list lacks {counted(len(missing), 'print', 'prints')} that {'was' if len(missing) == 1 else 'were'} "
            f"measured: {first_few(missing)}; add a row for each"
        )
    measured = {column_name(str(name))[0] for name in table}
    both = sorted(str(name) for name in runs if name != "print" and column_name(str(name))[0] in measured)
    if both:
        raise UnusableInput(
            f"the run list has {first_few(both)}, which the scans or their list have too; leave it out of the run list"
        )
    joined = table.merge(runs, on="print", how="left", sort=False)
    return joined[["print", *(name for name in runs if name != "print"), *table.columns[1:]]]


def listed_scans(cells: pd.DataFrame) -> dict[str, dict[str, str]]:
    """What a scan list says of each scan, by the name of its file or, of several profiles in a file, of the profile.

    Parameters
    ----------
    cells : DataFrame
        As they were typed: ``scan``, and such columns as ``print`` and ``plate_gap [um]``.

    Raises
    ------
    UnusableInput
        If it has no column of scans, or a scan twice.
    """
    cells = with_known_names(cells, "scan list")
    if "scan" not in cells:
        raise UnusableInput("the scan list has no column “scan”")
    texts = cells.fillna("").astype(str).apply(lambda column: column.str.strip())
    repeated = texts["scan"][texts["scan"].duplicated()].unique().tolist()
    if repeated:
        raise UnusableInput(f"the scan list has scan {first_few(repeated)} twice; keep one row a scan")
    return texts.set_index("scan").to_dict("index")


def not_there(listed: Mapping[str, Mapping[str, str]], names: Iterable[str]) -> str | None:
    """That a scan list names scans that are not there; None where it does not.

    Parameters
    ----------
    listed : mapping of str to mapping of str to str
        As `listed_scans` gives them.
    names : iterable of str
        Of the scans and files that are there.
    """
    missing = sorted(set(listed) - set(names))
    if not missing:
        return None
    return f"the scan list names {first_few(missing)}, which {'is' if len(missing) == 1 else 'are'} not among these files"


def contradictions(
    scans: Sequence[Trace | Topography],
    pattern: str | None = None,
    what: str = "print",
    listed: Mapping[str, Mapping[str, str]] | None = None,
) -> str | None:
    """That a list, headers and names of files do not agree on the print or the plate of scans, and who says what.

    Parameters
    ----------
    scans : sequence of Trace or Topography
    pattern : str, optional
    what : {'print', 'plate_id'}
    listed : mapping of str to mapping of str to str, optional
        All as of `names_of`.
    """
    matcher = None if pattern is None else _matcher(pattern, what)
    found = {}
    for scan in scans:
        said = _said(scan, matcher, what, listed)
        if len(set(said.values())) > 1:
            words = ", ".join(f"{who} “{shown(name)}”" for who, name in said.items())
            found[scan.file] = f"{shown(scan.file)} ({words})"
    if not found:
        return None
    few = list(found.values())[:_FEW]
    more = f" and {len(found) - _FEW} more" * (len(found) > _FEW)
    return (
        f"the list, headers and names of files disagree on the {what} of {counted(len(found), 'scan', 'scans')}: "
        f"{', '.join(few)}{more}; the first of each is used"
    )


def _said(
    scan: Trace | Topography,
    matcher: re.Pattern | None,
    what: str,
    listed: Mapping[str, Mapping[str, str]] | None,
) -> dict[str, str]:
    """What each source says a scan is of; the first of them holds."""
    matched = None if matcher is None else matcher.fullmatch(scan.file)
    said = {
        "list": (_of_list(listed, scan) or {}).get(what),
        "header": scan.header.get(what),
        "file name": None if matched is None else matched["name"],
    }
    return {who: name for who, name in said.items() if name}


def names_of(
    scans: Sequence[Trace | Topography],
    pattern: str | None = None,
    what: str = "print",
    listed: Mapping[str, Mapping[str, str]] | None = None,
) -> dict[str, str]:
    """The print or the plate of each scan, by the scan's name: what a list says, or its file, or the file's name.

    Parameters
    ----------
    scans : sequence of Trace or Topography
    pattern : str, optional
        Of file names, with ``{print}`` where the print stands and ``*`` for anything, such as ``{print}_*.csv``.
    what : {'print', 'plate_id'}
        What the column of the list, the file's field and the place in the pattern are called.
    listed : mapping of str to mapping of str to str, optional
        As `listed_scans` gives them.

    Raises
    ------
    UnusableInput
        If a file says none and its name does not match, or two scans have one name.

    Examples
    --------
    >>> import numpy as np
    >>> scan = Trace(name="a", x=np.arange(9.0), z=np.zeros(9), file="A-001_scan2.csv")
    >>> names_of([scan], "{print}_*.csv")
    {'a': 'A-001'}
    """
    names = [scan.name for scan in scans]
    repeated = sorted({name for name in names if names.count(name) > 1})
    if repeated:
        raise UnusableInput(
            f"two scans are called {first_few(repeated)}; rename one, so that rows say which is meant"
        )
    matcher = None if pattern is None else _matcher(pattern, what)
    return {
        scan.name: next(iter(_said(scan, matcher, what, listed).values()), None)
        or _refuse_unnamed(scan, pattern, what)
        for scan in scans
    }


def _matcher(pattern: str, what: str) -> re.Pattern:
    place = f"{{{what}}}"
    if pattern.count(place) != 1:
        raise UnusableInput(f"pattern “{pattern}” must hold {place} once, such as “{place}_*.csv”")
    parts = re.escape(pattern).replace(re.escape(place), "(?P<name>.+?)").replace(r"\*", ".*")
    return re.compile(parts)


def _refuse_unnamed(scan: Trace | Topography, pattern: str | None, what: str) -> NoReturn:
    how = f"its name does not match “{pattern}”" if pattern else "no pattern of file names was given"
    raise UnusableInput(
        f"{scan.file}: does not say which {what} it is of, and {how}; write “{what}: A-001” above its header, or name "
        f"files alike, such as “{{{what}}}_*.csv”"
    )
