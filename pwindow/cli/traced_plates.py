"""What was measured on scans of plates, as a document and as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pwindow.cli.traced_answers import excluded_words, features_text, kept_lines, source_of
from pwindow.metrology.decisions import Decisions
from pwindow.metrology.features import Value
from pwindow.metrology.plates import Lip, MeasuredPlate, PlateGap, PlateLine
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace
from pwindow.workflows.scan_tables import edge_rule


def plates_answer(
    found: Sequence[MeasuredPlate],
    plates: Mapping[str, str],
    failed: Sequence[str],
    decisions: Decisions,
    excluded: Sequence[Trace | Topography],
) -> dict:
    """What was measured on each scan of a plate.

    Parameters
    ----------
    found : sequence of MeasuredPlate
    plates : mapping of str to str
        The plate of each scan that says one, by the scan's name.
    failed : sequence of str
        Why others could not be measured.
    decisions : Decisions
        About scans.
    excluded : sequence of Trace or Topography
        Scans that they leave out.
    """
    return {
        "edge_rule": edge_rule(found[0]),
        "instrument": vars(found[0].instrument),
        "plates": [_of_plate(one, plates, decisions) for one in found],
        "not_measured": list(failed),
        "excluded": [{"scan": one.name, **source_of(one, decisions)} for one in excluded],
    }


def _of_plate(one: MeasuredPlate, plates: Mapping[str, str], decisions: Decisions) -> dict:
    trace = one.levelled.trace
    return {
        "scan": trace.name,
        "plate_id": plates.get(trace.name),
        **source_of(trace, decisions),
        "noise_um": one.levelled.noise,
        "surface_um": [list(ends) for ends in one.levelled.regions],
        "lines": [_of_line(each) for each in one.lines],
        "gaps": [_of_gap(each) for each in one.gaps],
    }


def _of_line(line: PlateLine) -> dict:
    return {
        "left_um": line.left,
        "right_um": line.right,
        **_both("plate_width", line.width),
        "top": "flat" if line.radius is None else "rounded",
        **_both("top_radius", line.radius),
    }


def _of_gap(gap: PlateGap) -> dict:
    return {
        "left_um": gap.left,
        "right_um": gap.right,
        **_both("plate_gap", gap.width),
        **_both("gap_depth", gap.depth),
        **_both("lip_width", gap.lip_width),
        "lips": [_of_lip(lip) for lip in gap.lips],
        "flags": list(gap.flags),
    }


def _of_lip(lip: Lip | None) -> dict | None:
    return None if lip is None else {"place_um": lip.place.value, **_both("lip_height", lip.height)}


def _both(name: str, value: Value | None) -> dict[str, float | None]:
    given = (None, None) if value is None else (value.value, value.error)
    return dict(zip((f"{name}_um", f"u_{name}_um"), given))


def plates_text(found: Sequence[MeasuredPlate], answer: Mapping) -> str:
    """One line for each raised line and each gap, with standard uncertainties.

    Parameters
    ----------
    found : sequence of MeasuredPlate
    answer : mapping
        What `plates_answer` gives of them.
    """
    notes = [f"note: {plate['source_file']}: {note}" for plate in answer["plates"] for note in plate["notes"]]
    rule = f"± one standard uncertainty; an edge is {answer['edge_rule']}"
    above = [*notes, *excluded_words(answer), *kept_lines(answer)]
    return "\n".join([*above, rule, "", features_text(found)])
