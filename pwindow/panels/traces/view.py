"""What the page of traces says, as HTML."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from markupsafe import Markup

from pwindow.markup import capitalize_first, part
from pwindow.metrology.decisions import Decision
from pwindow.metrology.features import Measured
from pwindow.metrology.plates import MeasuredPlate
from pwindow.panels.shared import words
from pwindow.wording import amount, counted
from pwindow.workflows.scan_kinds import KINDS, PRINT, Found, Kind, Scan
from pwindow.workflows.scan_tables import (
    bridged,
    edge_rule,
    feature_table,
    gaps_inspected,
    to_look_at,
    values,
)
from pwindow.workflows.scanned import Outcome, ScanSet

_part = partial(part, __package__, "view")


def scan_label(found: ScanSet, scan: Scan) -> str:
    """A scan in the list of them, with what was decided about it."""
    decision = found.decisions.on(scan)
    verdict = None if decision is None else decision.verdict
    return scan.name if verdict is None else f"{scan.name} ({verdict})"


def no_scans(found: ScanSet) -> Markup:
    """That there is nothing to look at, or nothing of this kind, and what to do."""
    return _part("no_scans", of=f"{found.kind.name}s" if found.loaded else None)


def offered(found: ScanSet) -> list[tuple[str, str]]:
    """What was scanned, with how many scans there are of it."""
    return [(f"{kind.name}s ({len(found.of_kind(kind))})", name) for name, kind in KINDS.items()]


def scan_card(kind: Kind, scan: Scan, outcome: Outcome, decision: Decision | None) -> Markup:
    """What was found on a scan, what was decided about it, and what was noticed.

    Parameters
    ----------
    kind : Kind
    scan : Trace or Topography
    outcome : Measured, MeasuredArea, MeasuredPlate or str
    decision : Decision or None
    """
    said = None if decision is None or not decision.words() else decision.words()
    if isinstance(outcome, str):
        return _part("not_measured", name=scan.name, why=outcome, decision=said, notes=scan.notes)
    big, beside, closed = _counts(outcome)
    return _part(
        "measured",
        big=big,
        beside=beside,
        bridged=closed,
        of=f"{kind.name} {scan.header[kind.field]}" if kind.field in scan.header else None,
        averages=_averages(outcome),
        decision=said,
        notes=(*scan.notes, *(outcome.notes if isinstance(outcome, Measured) else ())),
    )


def feature_list(outcome: Outcome) -> Markup | str:
    """Every line and gap with its standard uncertainty; "" where nothing was measured."""
    if isinstance(outcome, str):
        return ""
    table = feature_table(outcome)
    return _part(
        "features",
        table=words.table(table.columns, table.itertuples(index=False)),
        rule=edge_rule(outcome),
        plate=isinstance(outcome, MeasuredPlate),
        instrument=outcome.instrument,
    )


def pointing(kind: Kind, begun: float | None) -> str:
    """What a click in the picture of a profile does."""
    if begun is None:
        return f"Click in the picture where {kind.ground} begins and where it ends."
    return f"{capitalize_first(kind.ground)} from {begun:.5g} µm: click where it ends."


def scan_table(found: ScanSet) -> Markup:
    """All scans with what was decided and measured; those that were not measured yet are only named."""
    kind = found.kind
    shown = [f"{name}, µm" for name in kind.values] + (["gaps bridged"] if kind is PRINT else [])
    rows = [_scan_row(found, scan, len(shown)) for scan in found.scans]
    return _part("all_scans", table=words.table(("scan", kind.name, "lines", *shown, "remarks"), rows))


def handed_over(kind: Kind, rows: str | None, why: str, decisions: str | None) -> Markup:
    """Links that save rows and decisions, or why there are no rows.

    Parameters
    ----------
    kind : Kind
    rows : str or None
        CSV.
    why : str
        There are none.
    decisions : str or None
        TOML.
    """
    return _part(
        "handed_over",
        rows=None
        if rows is None
        else words.link(f"Save the rows of a {kind.file} (CSV)", kind.saved_as, rows),
        why=why,
        decisions=None
        if decisions is None
        else words.link("Save the decisions (TOML)", "scans.decisions.toml", decisions, "application/toml"),
    )


def warnings(found: Sequence[str]) -> Markup | str:
    """What should be looked at again; "" where nothing should."""
    return _part("warnings", found=found) if found else ""


def _scan_row(found: ScanSet, scan: Scan, shown: int) -> tuple[str, ...]:
    """A scan with its print or plate, as many numbers as are shown, and what was decided and noticed."""
    decision, outcome = found.decisions.on(scan), found.measured_before(scan)
    told = (scan.name, scan.header.get(found.kind.field, ""))
    said = [] if decision is None else [decision.words()]
    if outcome is None or isinstance(outcome, str):
        return (*told, *[""] * (1 + shown), "; ".join([*said, outcome or "not measured yet"]))
    closed = [] if isinstance(outcome, MeasuredPlate) else [str(bridged(outcome))]
    numbers = (*(_mean(some) for some in values(outcome).values()), *closed)
    return (*told, str(len(outcome.lines)), *numbers, "; ".join([*said, *to_look_at(outcome)]))


def _counts(outcome: Found) -> tuple[str, str, int | None]:
    """What there is most of note, what else, and how many gaps are bridged; None of a plate."""
    lines = counted(len(outcome.lines), "line", "lines")
    if isinstance(outcome, MeasuredPlate):
        return counted(len(outcome.gaps), "gap", "gaps"), f"{lines} between gaps", None
    return lines, counted(gaps_inspected(outcome), "gap", "gaps"), bridged(outcome)


def _averages(outcome: Found) -> list[tuple[str, str, str]]:
    """What, its average and its smallest and largest value."""
    return [
        (name, f"{_mean(some)} µm", f"{amount(min(some))} to {amount(max(some))} µm")
        for name, some in values(outcome).items()
        if some
    ]


def _mean(some: Sequence[float]) -> str:
    return amount(sum(some) / len(some)) if some else ""
