"""What the page of traces says, as HTML."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from markupsafe import Markup

from pwindow.markup import part
from pwindow.metrology.areas import GapAlong, LineAlong, MeasuredArea
from pwindow.metrology.decisions import Decision
from pwindow.metrology.features import Measured, MeasuredGap, MeasuredLine
from pwindow.metrology.foot import TENTH
from pwindow.panels.shared import words
from pwindow.wording import amount, counted
from pwindow.workflows.scanned import Outcome, Scan, ScanSet

_part = partial(part, __package__, "view")
_FEATURES = ("feature", "height, µm", "width at the foot, µm", "area, µm²", "gap, µm", "remarks")
_SCANS = ("scan", "decision", "lines", "height, µm", "width, µm", "gap, µm", "gaps bridged", "remarks")


def scan_label(found: ScanSet, scan: Scan) -> str:
    """A scan in the list of them, with what was decided about it."""
    decision = found.decisions.on(scan)
    verdict = None if decision is None else decision.verdict
    return scan.name if verdict is None else f"{scan.name} ({verdict})"


def no_scans() -> Markup:
    """That there is nothing to look at, and what to do."""
    return _part("no_scans")


def scan_card(scan: Scan, outcome: Outcome, decision: Decision | None) -> Markup:
    """What was found on a scan, what was decided about it, and what was noticed.

    Parameters
    ----------
    scan : Trace or Topography
    outcome : Measured, MeasuredArea or str
    decision : Decision or None
    """
    said = None if decision is None or not decision.words() else decision.words()
    if isinstance(outcome, str):
        return _part("not_measured", name=scan.name, why=outcome, decision=said, notes=scan.notes)
    bridged = _bridged(outcome)
    return _part(
        "measured",
        lines=counted(len(outcome.lines), "line", "lines"),
        gaps=counted(len(outcome.gaps) + _joined(outcome), "gap", "gaps"),
        bridged=bridged,
        averages=_averages(outcome),
        decision=said,
        notes=(*scan.notes, *(outcome.notes if isinstance(outcome, Measured) else ())),
    )


def feature_table(outcome: Outcome) -> Markup | str:
    """Every line and gap with its standard uncertainty; "" where nothing was measured."""
    if isinstance(outcome, str):
        return ""
    lines: Sequence[MeasuredLine | LineAlong] = outcome.lines
    gaps: Sequence[MeasuredGap | GapAlong] = outcome.gaps
    rows = [
        (
            f"line {at}",
            line.height.words,
            line.width.words,
            line.area.words,
            "",
            "; ".join([*line.flags, *_along(one)]),
        )
        for at, one in enumerate(lines, 1)
        for line in [_across(one)]
    ]
    rows += [(f"gap {at}", "", "", "", gap.width.words, _gap_remark(gap)) for at, gap in enumerate(gaps, 1)]
    return _part("features", table=words.table(_FEATURES, rows), rule=TENTH.words)


def pointing(begun: float | None) -> str:
    """What a click in the picture of a profile does."""
    if begun is None:
        return "Click in the picture where bare film begins and where it ends."
    return f"Bare film from {begun:.5g} µm: click where it ends."


def scan_table(found: ScanSet) -> Markup:
    """All scans with what was decided and measured; those that were not measured yet are only named."""
    rows = [_scan_row(found, scan) for scan in found.scans]
    return _part("all_scans", table=words.table(_SCANS, rows))


def handed_over(rows: str | None, why: str, decisions: str | None) -> Markup:
    """Links that save rows of a trial file and decisions, or why there are no rows.

    Parameters
    ----------
    rows : str or None
        CSV.
    why : str
        There are none.
    decisions : str or None
        TOML.
    """
    return _part(
        "handed_over",
        rows=None if rows is None else words.link("Save the rows (CSV)", "features.csv", rows),
        why=why,
        decisions=None
        if decisions is None
        else words.link("Save the decisions (TOML)", "scans.decisions.toml", decisions, "application/toml"),
    )


def warnings(found: Sequence[str]) -> Markup | str:
    """What should be looked at again; "" where nothing should."""
    return _part("warnings", found=found) if found else ""


def _scan_row(found: ScanSet, scan: Scan) -> tuple[str, ...]:
    decision = found.decisions.on(scan)
    said = "" if decision is None else decision.words()
    outcome = found.measured_before(scan)
    if outcome is None or isinstance(outcome, str):
        return (scan.name, said, "", "", "", "", "", outcome or "not measured yet")
    flagged = sum(bool(_across(one).flags) for one in outcome.lines)
    return (
        scan.name,
        said,
        str(len(outcome.lines)),
        *(_mean(values) for values in _values(outcome)),
        str(_bridged(outcome)),
        f"{counted(flagged, 'line', 'lines')} to look at" if flagged else "",
    )


def _averages(outcome: Measured | MeasuredArea) -> list[tuple[str, str, str]]:
    """What, its average and its smallest and largest value."""
    names = ("Line height", "Line width at the foot", "Gap")
    return [
        (name, f"{_mean(values)} µm", f"{amount(min(values))} to {amount(max(values))} µm")
        for name, values in zip(names, _values(outcome))
        if values
    ]


def _values(outcome: Measured | MeasuredArea) -> tuple[list[float], list[float], list[float]]:
    """Heights and widths of lines that are single, and widths of gaps that are open, µm."""
    lines = [line for line in map(_across, outcome.lines) if not line.closed]
    return (
        [line.height.value for line in lines],
        [line.width.value for line in lines],
        [gap.width.value for gap in outcome.gaps if not getattr(gap, "bridges", 0)],
    )


def _mean(values: Sequence[float]) -> str:
    return amount(sum(values) / len(values)) if values else ""


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


def _joined(outcome: Measured | MeasuredArea) -> int:
    """Gaps that are no gaps of the profile any more, having been closed over its whole length."""
    return outcome.bridged if isinstance(outcome, Measured) else 0


def _bridged(outcome: Measured | MeasuredArea) -> int:
    if isinstance(outcome, Measured):
        return outcome.bridged
    return sum(gap.bridges > 0 for gap in outcome.gaps)
