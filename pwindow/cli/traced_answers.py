"""What was measured on scans, as a document and as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pwindow.metrology.areas import Edge, MeasuredArea
from pwindow.metrology.decisions import Decisions
from pwindow.metrology.features import Measured, MeasuredLine
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace
from pwindow.workflows.scan_kinds import Found
from pwindow.workflows.scan_tables import bridged, edge_rule, tables_together


def traces_answer(
    found: Sequence[Measured | MeasuredArea],
    prints: Mapping[str, str],
    failed: Sequence[str],
    decisions: Decisions,
    excluded: Sequence[Trace | Topography],
) -> dict:
    """What was measured on each scan.

    Parameters
    ----------
    found : sequence of Measured or MeasuredArea
    prints : mapping of str to str
        The print of each scan that says one, by the scan's name.
    failed : sequence of str
        Why others could not be measured.
    decisions : Decisions
        About scans.
    excluded : sequence of Trace or Topography
        Scans that they leave out.
    """
    return {
        "foot_rule": edge_rule(found[0]),
        "instrument": vars(found[0].instrument),
        "traces": [_of_trace(one, prints, decisions) for one in found if isinstance(one, Measured)],
        "topographies": [_of_area(one, prints, decisions) for one in found if isinstance(one, MeasuredArea)],
        "not_measured": list(failed),
        "excluded": [{"scan": one.name, **source_of(one, decisions)} for one in excluded],
    }


def source_of(scan: Trace | Topography, decisions: Decisions) -> dict:
    """Where a scan came from, what was noticed and what was decided about it."""
    decision = decisions.on(scan)
    return {
        "source_file": scan.file,
        "source_sha256": scan.sha256,
        "notes": list(scan.notes),
        "decision": None if decision is None else decision.words(),
    }


def kept_lines(answer: Mapping) -> list[str]:
    """How many files of scans were kept, in a line; none where that was not asked for."""
    kept = answer["scans_kept"]
    if kept is None:
        return []
    return [
        f"files of scans: {kept['kept']} kept in archive {kept['archive']}, {kept['already_there']} there already"
    ]


def _of_trace(one: Measured, prints: Mapping[str, str], decisions: Decisions) -> dict:
    trace = one.levelled.trace
    return {
        "trace": trace.name,
        "print": prints.get(trace.name),
        **source_of(trace, decisions),
        "left_out": list(one.notes),
        "slope": one.levelled.slope,
        "noise_um": one.levelled.noise,
        "film_um": [list(ends) for ends in one.levelled.regions],
        "lines": [_of_line(each) for each in one.lines],
        "gaps": [
            {
                "left_um": gap.left,
                "right_um": gap.right,
                "gap_um": gap.width.value,
                "u_gap_um": gap.width.error,
                "satellites_um": [list(ends) for ends in gap.satellites],
                "lines_missing": gap.missing,
                "flags": list(gap.flags),
            }
            for gap in one.gaps
        ],
        "gaps_bridged": one.bridged,
    }


def _of_line(each: MeasuredLine) -> dict:
    return {
        "left_um": each.line.left.foot,
        "right_um": each.line.right.foot,
        "line_height_um": each.height.value,
        "u_line_height_um": each.height.error,
        "line_width_um": each.width.value,
        "u_line_width_um": each.width.error,
        "half_width_um": each.half_width.value,
        "u_half_width_um": each.half_width.error,
        "section_area_um2": each.area.value,
        "u_section_area_um2": each.area.error,
        "step_height_um": each.line.step,
        "mean_height_um": each.line.mean_height,
        "section_factor": each.line.section_factor,
        "ridges": [list(ridge) for ridge in each.line.ridges],
        "saddle_um": each.line.saddle,
        "left_skirt_um": each.skirts[0].value,
        "right_skirt_um": each.skirts[1].value,
        "tail_um": None if each.tail is None else each.tail.value,
        "interpolated": each.line.interpolated,
        "flags": list(each.flags),
    }


def _of_area(one: MeasuredArea, prints: Mapping[str, str], decisions: Decisions) -> dict:
    scan = one.topography
    return {
        "topography": scan.name,
        "print": prints.get(scan.name),
        **source_of(scan, decisions),
        "noise_um": one.noise,
        "inspected_length_mm": one.length / 1e3,
        "lines": [
            _of_line(each.measured)
            | {
                "left_edge": _of_edge(each.left),
                "right_edge": _of_edge(each.right),
                "width_roughness_um": each.width_roughness,
                "narrowest_um": each.narrowest,
                "breaks": each.breaks,
                "voids": each.voids,
            }
            for each in one.lines
        ],
        "gaps": [
            {
                "gap_um": gap.width.value,
                "u_gap_um": gap.width.error,
                "narrowest_um": gap.narrowest,
                "bridges": gap.bridges,
                "bridged": gap.bridged,
            }
            for gap in one.gaps
        ],
    }


def _of_edge(edge: Edge) -> dict[str, float]:
    """Raggedness about a fitted straight line."""
    return {
        "roughness_um": edge.roughness,
        "correlation_length_um": edge.correlation_length,
        "unseen_share": edge.unseen,
    }


def traces_text(found: Sequence[Measured | MeasuredArea], answer: Mapping) -> str:
    """One line for each printed line and each gap, with standard uncertainties.

    Parameters
    ----------
    found : sequence of Measured or MeasuredArea
    answer : mapping
        What `traces_answer` gives of them.
    """
    scans = [*answer["traces"], *answer["topographies"]]
    notes = [f"note: {trace['source_file']}: {note}" for trace in scans for note in trace["notes"]]
    notes += [f"note: {one['trace']}: {note}" for one in answer["traces"] for note in one["left_out"]]
    closed = sum(map(bridged, found))
    said = f"± one standard uncertainty; widths at {answer['foot_rule']}; bridged gaps: {closed}"
    above = [*notes, *excluded_words(answer), *kept_lines(answer)]
    return "\n".join([*above, said, "", features_text(found)])


def excluded_words(answer: Mapping) -> list[str]:
    """Which scans are excluded, and why."""
    return [f"{one['scan']}: {one['decision']}" for one in answer["excluded"]]


def features_text(found: Sequence[Found]) -> str:
    """A table of what was measured, feature by feature.

    Parameters
    ----------
    found : sequence of Measured, MeasuredArea or MeasuredPlate
    """
    return tables_together(found).to_string(index=False)
