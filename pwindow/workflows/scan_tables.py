"""What was measured on scans, in words: feature by feature, and in numbers of a whole scan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import isfinite

import pandas as pd

from pwindow.metrology.areas import GapAlong, LineAlong, MeasuredArea
from pwindow.metrology.features import Measured, MeasuredGap, MeasuredLine, Value
from pwindow.metrology.foot import TENTH
from pwindow.metrology.plates import SURFACE_RULE, MeasuredPlate, PlateGap, PlateLine
from pwindow.metrology.scans import scan_of
from pwindow.wording import amount, counted
from pwindow.workflows.scan_kinds import PLATE, PRINT, Found, Kind


def feature_table(found: Found) -> pd.DataFrame:
    """Every line and gap of a scan, with standard uncertainties.

    Parameters
    ----------
    found : Measured, MeasuredArea or MeasuredPlate

    Returns
    -------
    DataFrame
        Texts, "" where there is none: ``feature``, what was measured with its unit, ``remarks``.
    """
    return _table(_rows(found))


def tables_together(found: Sequence[Found]) -> pd.DataFrame:
    """As `feature_table` of each, in one table with the name of the scan before it.

    Parameters
    ----------
    found : sequence of Measured, MeasuredArea or MeasuredPlate
    """
    return _table({"scan": scan_of(one).name, **row} for one in found for row in _rows(one))


def _table(rows: Iterable[Mapping[str, str]]) -> pd.DataFrame:
    table = pd.DataFrame(list(rows)).fillna("")
    return table[[*(name for name in table if name != "remarks"), "remarks"]]


def _rows(found: Found) -> Iterator[dict[str, str]]:
    return _plate_rows(found) if isinstance(found, MeasuredPlate) else _print_rows(found)


def edge_rule(found: Found) -> str:
    """Where edges of what was measured were taken to be."""
    if isinstance(found, MeasuredPlate):
        return SURFACE_RULE
    return (found.rule if isinstance(found, Measured) else TENTH).words


def values(found: Found) -> Mapping[str, Sequence[float]]:
    """What a scan shows, µm, by the names of its kind: of lines that are single, of gaps that are open, of lips.

    Parameters
    ----------
    found : Measured, MeasuredArea or MeasuredPlate
    """
    if isinstance(found, MeasuredPlate):
        lips = [lip.height for gap in found.gaps for lip in gap.lips if lip is not None]
        widths, depths = ([getattr(gap, name) for gap in found.gaps] for name in ("width", "depth"))
        return _by_name(PLATE, [line.width for line in found.lines], widths, depths, lips)
    lines = [line for line in map(_across, found.lines) if not line.closed]
    heights, widths = ([getattr(line, name) for line in lines] for name in ("height", "width"))
    return _by_name(
        PRINT, heights, widths, [gap.width for gap in found.gaps if not getattr(gap, "bridges", 0)]
    )


def _by_name(kind: Kind, *measured: Sequence[Value]) -> Mapping[str, Sequence[float]]:
    """Values that are known, by the names that a kind has for them."""
    known = ([one.value for one in some if isfinite(one.value)] for some in measured)
    return dict(zip(kind.values, known, strict=True))


def bridged(found: Measured | MeasuredArea) -> int:
    """How many gaps the ink has closed, wholly or in places."""
    if isinstance(found, Measured):
        return found.bridged
    return sum(gap.bridges > 0 for gap in found.gaps)


def gaps_inspected(found: Measured | MeasuredArea) -> int:
    """How many gaps were looked at, those that are closed over their whole length among them."""
    return len(found.gaps) + (found.bridged if isinstance(found, Measured) else 0)


def to_look_at(found: Found) -> list[str]:
    """Why a scan should be looked at again: of a plate each reason once, of a print how many lines have one."""
    if isinstance(found, MeasuredPlate):
        return list(dict.fromkeys(flag for gap in found.gaps for flag in gap.flags))
    flagged = sum(bool(_across(line).flags) for line in found.lines)
    return [f"{counted(flagged, 'line', 'lines')} to look at"] if flagged else []


def _print_rows(found: Measured | MeasuredArea) -> Iterator[dict[str, str]]:
    lines: Sequence[MeasuredLine | LineAlong] = found.lines
    gaps: Sequence[MeasuredGap | GapAlong] = found.gaps
    for at, one in enumerate(lines, 1):
        line = _across(one)
        yield {
            "feature": f"line {at}",
            "height, µm": line.height.words,
            "width, µm": line.width.words,
            "area, µm²": line.area.words,
            "gap, µm": "",
            "remarks": "; ".join([*line.flags, *_along(one)]),
        }
    for at, gap in enumerate(gaps, 1):
        yield {"feature": f"gap {at}", "gap, µm": gap.width.words, "remarks": _gap_remark(gap)}


def _across(line: MeasuredLine | LineAlong) -> MeasuredLine:
    return line.measured if isinstance(line, LineAlong) else line


def _along(line: MeasuredLine | LineAlong) -> list[str]:
    """What a topography shows of a line along its length."""
    if not isinstance(line, LineAlong):
        return []
    return [
        f"narrowest {amount(line.narrowest)} µm",
        f"edges ragged by {amount(line.left.roughness)} and {amount(line.right.roughness)} µm",
    ]


def _gap_remark(gap: MeasuredGap | GapAlong) -> str:
    if not isinstance(gap, GapAlong):
        return "; ".join(gap.flags)
    if gap.bridges:
        return (
            f"bridged in {counted(gap.bridges, 'place', 'places')}, {100 * gap.bridged:.1f} % of its length"
        )
    return f"narrowest {amount(gap.narrowest)} µm"


def _plate_rows(found: MeasuredPlate) -> Iterator[dict[str, str]]:
    for at, line in enumerate(found.lines, 1):
        yield {"feature": f"line {at}", "width, µm": line.width.words, "remarks": _top(line)}
    for at, gap in enumerate(found.gaps, 1):
        lips = _lips(gap)
        yield {
            "feature": f"gap {at}",
            "width, µm": gap.width.words,
            "depth, µm": "" if gap.depth is None else gap.depth.words,
            "lip to lip, µm": gap.lip_width.words if lips else "",
            "remarks": "; ".join([*gap.flags, *lips]),
        }


def _top(line: PlateLine) -> str:
    return "flat top" if line.radius is None else f"rounded top, radius {line.radius.words} µm"


def _lips(gap: PlateGap) -> list[str]:
    heights = [lip.height.words for lip in gap.lips if lip is not None]
    return [f"lips {' and '.join(heights)} µm high"] if heights else []
