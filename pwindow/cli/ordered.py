"""The command that says which plates to order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pwindow.cli.guarded import guarded, reply
from pwindow.cli.sources import (
    ARCHIVE,
    ASSURANCE,
    FILES,
    LEAVE_OUT,
    PLANNED,
    PRODUCT,
    STUDY,
    TERMS,
    UNITS,
    Files,
    fitted,
    product_of,
    units_of,
)

if TYPE_CHECKING:  # loaded by the command
    from pwindow.product import Product
    from pwindow.surfaces import Form, Surfaces
    from pwindow.surfaces.checks.gap_reference import GapReference
    from pwindow.surfaces.plate_effects import PlateEffects
    from pwindow.window.merging import Merging
    from pwindow.window.orders import PlateOrders
    from pwindow.wording import Units


@click.command()
@FILES
@ARCHIVE
@PRODUCT
@STUDY
@PLANNED
@ASSURANCE
@TERMS
@LEAVE_OUT
@UNITS
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@guarded
def plates(
    *,
    files: Files,
    archive: str | None,
    product: Path,
    study: Path | None,
    planned: Sequence[str],
    assurance: float | None,
    confidence: float | None,
    terms: Form,
    leave_out: Sequence[str],
    units: str | None,
    as_json: bool,
) -> None:
    """Which plates to order for a product: artwork, plate width and plate gap for each plate process, best first."""
    from pwindow.plates import plate_making
    from pwindow.surfaces.checks.gap_reference import gap_reference
    from pwindow.surfaces.plate_effects import plate_effects
    from pwindow.window.orders import merging_on_order, plate_orders

    surfaces, declared = fitted(files, archive, study, terms, leave_out, planned)
    wanted = product_of(product, assurance, confidence)
    making = plate_making(surfaces.trial.plates, declared)
    found = plate_orders(surfaces, wanted, declared, making)
    shown = units_of(surfaces.trial, units)
    answer = orders_answer(found, surfaces, wanted)
    answer |= what_plates_do(
        plate_effects(surfaces),
        gap_reference(surfaces.trial),
        merging_on_order(found, surfaces, wanted, declared),
        shown,
    )
    reply(answer, partial(_text, units=shown), as_json=as_json)


def orders_answer(found: PlateOrders, surfaces: Surfaces, product: Product) -> dict:
    """The plates to order, what plates become of their artwork, and the plate to print next.

    Parameters
    ----------
    found : PlateOrders
    surfaces : Surfaces
    product : Product
    """
    from pwindow.cli.answers import evidence
    from pwindow.outputs import plain

    key = surfaces.trial.pressure_key
    return plain(
        {
            "product": product.name,
            "assurance": product.assurance.level,
            "orders": [order.to_dict(key) for order in found.orders],
            "making": found.making.table().to_dict("records"),
            "depths": list(found.making.of_gaps()),
            "least_certain": found.telling and found.telling.to_dict(key),
            "trial": evidence(surfaces),
            "notes": list(found.notes),
        }
    )


def what_plates_do(
    effects: PlateEffects, gaps: GapReference | None, merged: Merging | None, units: Units
) -> dict:
    """What plates do to lines and to gaps, and where close lines merge, with sentences.

    Parameters
    ----------
    effects : PlateEffects
    gaps : GapReference or None
    merged : Merging or None
    units : Units
        Of the sentences.
    """
    from pwindow.outputs import plain

    return plain(
        {
            "lines": {
                "place": effects.place(units),
                "effects": effects.to_frame().to_dict("records"),
                "sentences": [one.sentence for one in effects.effects],
                "notes": list(effects.notes),
            },
            "gaps": None
            if gaps is None
            else {
                "chosen": gaps.chosen,
                "sentence": gaps.words,
                "candidates": gaps.to_frame().to_dict("records"),
            },
            "merging": None
            if merged is None
            else {
                "curves": merged.curves.to_dict("records"),
                "plate_gaps": merged.plate_gaps.to_dict("records"),
                "sentences": list(merged.sentences(units)),
            },
        }
    )


def _text(answer: Mapping, units: Units) -> str:
    import pandas as pd

    from pwindow.cli.tables import assumed_notes
    from pwindow.wording import asked, at_least, percent

    level, length = answer["assurance"], units.length

    def size(order: Mapping, name: str) -> str:
        return "–" if order[name] is None else length.number(order[name])

    rows = [
        {
            "plate": order["plate"] or "–",
            "best in": order["best_in"],
            f"artwork line × gap, {length.name}": f"{size(order, 'artwork_width_um')} × {size(order, 'artwork_gap_um')}",
            f"on the plate, {length.name}": f"{size(order, 'plate_width_um')} × {size(order, 'plate_gap_um')}",
            "roll": order["roll"],
            f"pressure, {units.pressure.name}": units.pressure.number(_pressure(order)),
            f"fastest speed, {units.speed.name}": "none"
            if order["fastest_speed_m_min"] is None
            else units.speed.number(order["fastest_speed_m_min"]),
            "probability": percent(order["conformance"], level),
            f"at least ({asked(order['conformance_interval']['confidence'])} confidence)": at_least(
                order["conformance_interval"]["at_least"], level
            ),
        }
        for order in answer["orders"]
    ]
    making = pd.DataFrame(
        {
            "plate": row["process"],
            "of": row["of"],
            f"on the plate beyond the artwork, {length.name}": f"{row['added']:+.1f} ± {row['se']:.1f}",
            f"a new plate differs by, {length.name}": f"{row['new']:.1f} ({row['new_low']:.1f} to {row['new_high']:.1f})",
            "known from": row["known_from"],
        }
        for row in answer["making"]
    )
    parts = [
        f"{answer['product']}: plates to order, so that all requirements are met with a probability of at least {asked(level)}",
        "\n".join(f"note: {note}" for note in [*assumed_notes(answer), *answer["notes"]]),
        pd.DataFrame(rows).to_string(index=False) if rows else "no plate within what was tried",
        "what plates become of their artwork (standard error; standard deviation with 95 % interval)\n"
        + making.to_string(index=False)
        if len(making)
        else "no plate was measured: lines and gaps are taken to be as wide on the plate as in the artwork, give or take what is stated",
        _sentences("gaps on plates (95 % interval of the average)", answer["depths"]),
        _least_certain(answer["least_certain"], units),
        _sentences(
            f"lines {answer['lines']['place']}", answer["lines"]["sentences"] + answer["lines"]["notes"]
        ),
        _sentences("gaps", [answer["gaps"]["sentence"]]) if answer["gaps"] else "",
        _sentences("close lines", answer["merging"]["sentences"]) if answer["merging"] else "",
    ]
    return "\n\n".join(part for part in parts if part)


def _sentences(head: str, sentences: Sequence[str]) -> str:
    return "\n  ".join([f"{head}:", *sentences]) if sentences else ""


def _pressure(row: Mapping) -> float:
    return next(value for name, value in row.items() if name.startswith("pressure_"))


def _least_certain(found: Mapping | None, units: Units) -> str:
    from pwindow.wording import percent

    if found is None:
        return ""
    sizes = [
        f"{word} {units.length.words(found[name])}"
        for word, name in (("line", "plate_width_um"), ("gap", "plate_gap_um"))
        if found[name] is not None
    ]
    return (
        f"least certain of all plates tried: {found['plate']}, {', '.join(sizes)} on the plate; even at its best set-up (roll {found['roll']}, "
        f"{units.pressure.words(_pressure(found))}, {units.speed.words(found['speed_m_min'])}) all requirements are met with "
        f"{percent(found['conformance'], 0.5)}: printing it would tell most"
    )
