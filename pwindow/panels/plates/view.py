"""What the page of plates says; its markup is in ``templates/view.html.j2``."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd
from markupsafe import Markup

from pwindow.charts.merging import drawable
from pwindow.charts.order_content import OrderContent, outcome, size_words
from pwindow.markup import part
from pwindow.outputs import csv_of
from pwindow.panels.plates.model import DEMO, Answer, Wanted
from pwindow.panels.shared.words import link, table
from pwindow.plates import PlateMaking
from pwindow.surfaces.checks.gap_reference import Candidate, GapReference
from pwindow.surfaces.plate_effects import PlateEffects
from pwindow.window.merging import Merging
from pwindow.window.orders import PlateOrder, PlateOrders, Telling
from pwindow.wording import Units, at_least, mounting_words, percent, with_interval

_part = partial(part, __package__, "view")
_COMMAND = f"pwindow serve {DEMO[0]} {DEMO[1]} --product {DEMO[2]}"


def answer_card(wanted: Wanted, answer: Answer, units: Units) -> Markup:
    """The plate to order, first thing on the page; where there is none, why.

    Parameters
    ----------
    wanted : Wanted
    answer : Answer
    units : Units
    """
    product = wanted.asked
    content = answer.content(wanted, units)
    if content is None or not content.found.orders:
        return _part("no_order", product=product.name, sentences=_why_none(answer, units))
    first, *others = content.found.orders
    return _part(
        "order",
        first=_first(content, first),
        level=product.assurance.level,
        product=product.name,
        runners=_runners(content, others) if others else "",
        notes=_cautions(wanted, first),
    )


def _why_none(answer: Answer, units: Units) -> list[str]:
    if answer.found is None:
        return [answer.why]
    steps = {answer.making.of(one.process).resolution for one in answer.found.maps}
    step = " or ".join(units.length.words(one) for one in sorted(steps))
    return [
        f"artwork comes in steps of {step}, and no such artwork gives a plate of the sizes that were tried; "
        "the picture shows what those do"
    ]


def _first(content: OrderContent, order: PlateOrder) -> dict:
    """What the card says of the plate to order."""
    units, band = content.units, order.band
    step = content.found.making.of(order.plate).resolution
    there = {"line": order.plate_width, "gap": order.plate_gap}
    what = " × ".join(name for name, size in there.items() if not np.isnan(size))
    rows = [
        ("Plate process", order.plate or "not named"),
        ("On the plate", _known_sizes((order.plate_width, order.plate_gap), units)),
        ("Roll", f"{order.roll.label} ({units.volume.words(order.roll.cell_volume)})"),
        ("Pressure", units.pressure.words(order.pressure)),
    ]
    if band is None:
        rows += [("Most reliable speed", units.speed.words(order.speed))]
    else:
        rows += [
            ("Fastest speed", f"{units.speed.words(band.high)}{units.speed.beside(band.high)}"),
            ("Speed band", units.speed.span(band.low, band.high)),
        ]
    return {
        "assured": band is not None,
        "artwork": _known_sizes((order.artwork_width, order.artwork_gap), units),
        "artwork_of": f"artwork {what}, in steps of {units.length.words(step)}",
        "rows": rows,
        "conformance": order.conformance,
        "sure": order.interval.sentence(order.conformance),
        "between": _between(order, units),
    }


def _known_sizes(sizes: Sequence[float], units: Units) -> str:
    """Line × gap, or the one of them that matters."""
    known = [one for one in sizes if not np.isnan(one)]
    return size_words(known, units)


def _between(order: PlateOrder, units: Units) -> str:
    """How sure the fastest speed is."""
    low, high = order.speeds_between
    if order.band is None or np.isnan(high):
        return ""
    if np.isnan(low):
        return f"With 90 % probability the true fastest speed is at most {units.speed.words(high)}; it may be none."
    return f"With 90 % probability the true fastest speed is {units.speed.span(low, high)}."


def _cautions(wanted: Wanted, order: PlateOrder) -> list[str]:
    """What the reader of the order must know."""
    found = wanted.surfaces.mountings
    sentences = [] if found.measured else [found.brief]
    if not order.in_trial_region:
        sentences.append("this plate lies outside the trial region")
    if wanted.asked.assurance.confidence is not None:
        sentences.append(
            "the confidence that the product asks for is not looked at in the maps; check the plate on Set-up speed"
        )
    return sentences


def _runners(content: OrderContent, orders: Sequence[PlateOrder]) -> Markup:
    units, level = content.units, content.product.assurance.level
    names = (
        "runner-up",
        f"artwork, {units.length.name}",
        f"on the plate, {units.length.name}",
        "set-up",
        "fastest assured",
        "probability",
    )
    rows = [
        (
            one.plate or "not named",
            _numbers((one.artwork_width, one.artwork_gap), units),
            _numbers((one.plate_width, one.plate_gap), units),
            mounting_words(one.roll.label, one.pressure, units),
            outcome(content, one) if one.band is not None else "none",
            f"{percent(one.conformance, level)}, at least {at_least(one.interval.at_least, level)}",
        )
        for one in orders
    ]
    return table(names, rows)


def _numbers(sizes: Sequence[float], units: Units) -> str:
    return size_words(sizes, units).removesuffix(f" {units.length.name}")


def untold(wanted: Wanted, *, demo: bool) -> Markup | str:
    """What the trial cannot say of plates, and what to do; "" where it says all.

    Parameters
    ----------
    wanted : Wanted
    demo : bool
        Whether the page offers the demo trial.
    """
    if not wanted.untold:
        return ""
    return _part("untold", told=wanted.told, sentences=wanted.untold, offered=_COMMAND if demo else "")


def details(answer: Answer, units: Units) -> Markup:
    """What plates become of their artwork, the plate that would tell most, and notes.

    Parameters
    ----------
    answer : Answer
    units : Units
    """
    found = answer.found
    return _part(
        "making",
        table=_making(answer.making, units),
        gaps=answer.making.of_gaps(),
        notes=() if found is None else found.notes,
        certain="" if found is None or found.telling is None else _certain(found.telling, units),
    )


def _making(making: PlateMaking, units: Units) -> Markup | str:
    rows = [
        (
            row["process"] or "not named",
            f"{row['of']}s",
            "–" if pd.isna(row["artwork"]) else units.length.words(row["artwork"]),
            _added(row, units),
            _new(row, units),
            row["known_from"],
        )
        for row in making.table().to_dict("records")
    ]
    unit = units.length.name
    names = (
        "plate",
        "of",
        "artwork",
        f"added to the artwork, {unit}",
        f"a new plate differs by, {unit}",
        "known from",
    )
    return table(names, rows) if rows else ""


def _added(row: dict, units: Units) -> str:
    value, low, high = (units.length.of(row["added"] + by * row["se"]) for by in (0.0, -1.0, 1.0))
    if not np.isfinite(row["se"]):
        return with_interval(value, value, value, "+")[0]
    digits = max(0, 1 - int(np.floor(np.log10(max(high - low, 1e-9) / 2.0))))
    return f"{value:+.{digits}f} ± {(high - low) / 2.0:.{digits}f}".replace("-", "−")


def _new(row: dict, units: Units) -> str:
    value, low, high = with_interval(*(units.length.of(row[name]) for name in ("new", "new_low", "new_high")))
    return f"{value} ({low}\u00a0to\u00a0{high})"


def effects(found: PlateEffects, units: Units) -> Markup | str:
    """What plates do to lines; "" where nothing is known of it.

    Parameters
    ----------
    found : PlateEffects
    units : Units
    """
    sentences = [*(one.sentence for one in found.effects), *found.notes]
    return _part("effects", place=found.place(units), sentences=sentences) if sentences else ""


def reference(found: GapReference | None, units: Units) -> Markup | str:
    """Which dimension of a plate gap predicts the printed one; "" where lip-to-lip widths were not measured.

    Parameters
    ----------
    found : GapReference or None
    units : Units
    """
    if found is None:
        return ""
    unit = units.length
    names = ("dimension of the plate gap", "printed gap over it", f"error left out, {unit.name}")
    rows = [
        (one.name, _slope(one), unit.number(one.rmse) if np.isfinite(one.rmse) else "–")
        for one in found.candidates
    ]
    return _part("reference", words=found.words, table=table(names, rows) if rows else "")


def _slope(one: Candidate) -> str:
    value, low, high = with_interval(one.slope, one.low, one.high)
    return f"{value} ({low}\u00a0to\u00a0{high})"


def merging(answer: Answer, units: Units) -> Markup | str:
    """What bridges at each pressure; "" where it is not known.

    Parameters
    ----------
    answer : Answer
    units : Units
    """
    found = answer.merging
    if found is None or answer.found is None:
        return ""
    label = answer.found.orders[0].roll.label
    plate = f"{found.plate}, " if found.plate else ""
    return _part(
        "merging",
        at=f"{plate}roll {label}, {units.speed.words(found.speed)}",
        sentences=found.sentences(units)
        if drawable(found)
        else [
            f"less than 1 in 100,000 gaps bridge, at every pressure and plate gap tried ({_tried(found, units)})"
        ],
    )


def _tried(found: Merging, units: Units) -> str:
    low, high = found.tried
    return units.length.words(low) if low == high else units.length.span(low, high)


def _certain(telling: Telling, units: Units) -> str:
    """The plate whose print would tell most."""
    sizes = [
        f"{word} {units.length.words(size)}"
        for word, size in (("line", telling.plate_width), ("gap", telling.plate_gap))
        if not np.isnan(size)
    ]
    plate = f"{telling.plate} " if telling.plate else ""
    return (
        f"Of the plates tried, the least certain is a {plate}one with {' and '.join(sizes)} on the plate: at its best "
        f"set-up ({mounting_words(telling.roll.label, telling.pressure, units)}, {units.speed.words(telling.speed)}) the "
        f"probability of meeting all requirements is {percent(telling.conformance, 0.5)}. Printing it would tell most."
    )


def downloads(found: PlateOrders, pressure_key: str) -> Markup | str:
    """What saves the table of orders; "" where there is none."""
    if not found.orders:
        return ""
    return link("Save the orders (CSV)", "plate-orders.csv", csv_of(found.to_frame(pressure_key)))
