"""What was measured on scans of plates, as a document and as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from pwindow.cli.traced_answers import kept_lines, source_of
from pwindow.metrology.decisions import Decisions
from pwindow.metrology.features import Value
from pwindow.metrology.plates import SURFACE_RULE, Lip, MeasuredPlate, PlateGap, PlateLine
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace


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
        "edge_rule": SURFACE_RULE,
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


def plates_text(answer: Mapping) -> str:
    """One line for each raised line and each gap, with standard uncertainties."""
    rows = []
    for plate in answer["plates"]:
        for at, line in enumerate(plate["lines"], 1):
            radius = _words(line, "top_radius")
            rows.append(
                {
                    "scan": plate["scan"],
                    "feature": f"line {at}",
                    "width, µm": _words(line, "plate_width"),
                    "remarks": f"rounded top, radius {radius} µm" if radius else "flat top",
                }
            )
        for at, gap in enumerate(plate["gaps"], 1):
            heights = [_words(lip, "lip_height") for lip in gap["lips"] if lip]
            rows.append(
                {
                    "scan": plate["scan"],
                    "feature": f"gap {at}",
                    "width, µm": _words(gap, "plate_gap"),
                    "depth, µm": _words(gap, "gap_depth"),
                    "lip to lip, µm": _words(gap, "lip_width") if heights else "",
                    "remarks": "; ".join(
                        [*gap["flags"], *([f"lips {' and '.join(heights)} µm high"] if heights else [])]
                    ),
                }
            )
    notes = [f"note: {plate['source_file']}: {note}" for plate in answer["plates"] for note in plate["notes"]]
    notes += [f"{one['scan']}: {one['decision']}" for one in answer["excluded"]]
    table = pd.DataFrame(rows).fillna("").to_string(index=False)
    rule = f"± one standard uncertainty; an edge is {answer['edge_rule']}"
    return "\n".join([*notes, *kept_lines(answer), rule, "", table])


def _words(row: Mapping, name: str) -> str:
    value = row[f"{name}_um"]
    return "" if value is None else Value(value, row[f"u_{name}_um"]).words
