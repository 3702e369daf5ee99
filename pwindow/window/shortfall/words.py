"""A shortfall in sentences, the same on the page, in the report and on the command line."""

from __future__ import annotations

from collections.abc import Iterator

from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import Reach, Remedy, Shortfall, Side
from pwindow.wording import METRIC, Units, asked, bound, listed, metric, percent, setup_words


def promise(found: Shortfall, units: Units = METRIC) -> str:
    """The highest probability that can be reached, and with which set-up.

    Parameters
    ----------
    found : Shortfall
    units : Units
        To write it in, as in `conflicts` and `remedies`.
    """
    closest = found.closest
    return (
        f"No set-up reaches {found.assurance.words}. The closest is {_setup(closest.setup, units)}, at "
        f"{percent(closest.joint, found.level)}{_sure(found)}."
    )


def _sure(found: Shortfall) -> str:
    """What the closest set-up reaches with the confidence that was asked for; "" where none was."""
    at_least, confidence = found.closest.at_least, found.assurance.confidence
    if at_least is None or confidence is None:
        return ""
    return bound({"at_least": at_least, "confidence": confidence})


def conflicts(found: Shortfall, units: Units = METRIC) -> tuple[str, ...]:
    """Which limits are out of reach, and which two of the others conflict."""
    sentences = [
        f"{_first(one.sides[0].words(units))} is out of reach even on its own: the best set-up of any cell volume has "
        f"{percent(one.joint, found.level)} probability of meeting it."
        for one in found.out_of_reach
    ]
    if found.conflict is not None:
        sentences.append(_conflict(found, found.conflict, units))
    elif not sentences and found.closest.joint >= found.level:
        sentences.append(
            f"No limits conflict: {percent(found.closest.joint, found.level)} is stated, but the trial is too small to be "
            f"so sure of {asked(found.level)}; more make-readies would help."
        )
    elif not sentences and found.pairs:
        lowest = found.pairs[0]
        sentences.append(
            f"No two limits conflict: each pair reaches {asked(found.level)} (the lowest, "
            f"{_both(lowest, units)}, {percent(lowest.joint, found.level)}). Only all of them together do not."
        )
    return tuple(sentences)


def _conflict(found: Shortfall, pair: Reach, units: Units) -> str:
    alone = [one.joint for side in pair.sides for one in found.alone if one.sides == (side,)]
    each = listed([percent(joint, found.level) for joint in alone])
    return (
        f"{_first(_both(pair, units))} conflict: the best probability at any cell volume of meeting each alone is {each} respectively, but "
        f"{_only(pair.joint, found.level)} of meeting both in the same print."
    )


def _both(pair: Reach, units: Units) -> str:
    return listed([side.words(units) for side in pair.sides])


def remedies(found: Shortfall, units: Units = METRIC) -> tuple[str, ...]:
    """Which limit, cell volume or plate would be enough on its own; that none would, where none is."""
    sentences = [
        f"{_first(one.side.at(one.value, units))} instead of {_limit(one.side, units)} would be enough"
        f"{_with(found, one.remedy, units)}"
        for one in found.loosenings
        if one.value is not None and one.remedy is not None
    ]
    sentences += [_volume(found, found.volume, units)] if found.volume is not None else []
    sentences += [
        f"Plate {one.plate} would be enough{_with(found, one.remedy, units)}"
        for one in found.plates
        if one.remedy is not None
    ]
    return (*sentences, *_what_would_not(found, units, something=bool(sentences)))


def _limit(side: Side, units: Units) -> str:
    return units.of(side.requirement.kind.unit).limit(side.value)


def _volume(found: Shortfall, remedy: Remedy, units: Units) -> str:
    setup = remedy.setup
    plate = f", plate {setup.plate}" if setup.plate else ""
    return (
        f"A cell volume of {units.volume.words(setup.roll.cell_volume)} (a roll you do not have) would be enough: "
        f"{units.pressure.words(setup.pressure)}, {units.speed.words(setup.speed)}{plate} "
        f"({percent(remedy.joint, found.level)})."
    )


def _with(found: Shortfall, remedy: Remedy, units: Units) -> str:
    return f": {_setup(remedy.setup, units)} ({percent(remedy.joint, found.level)})."


def _what_would_not(found: Shortfall, units: Units, *, something: bool) -> Iterator[str]:
    """What was tried and is not enough on its own."""
    low, high = found.volumes_tried
    tried = [f"loosening “{one.side.words(units)}”" for one in found.loosenings if one.remedy is None]
    if found.volume is None and low < high:
        tried.append(f"another cell volume from {units.volume.span(low, high)}")
    tried += [f"plate {one.plate}" for one in found.plates if one.remedy is None and not one.why_not]
    if tried and something:
        yield f"Not enough on its own: {', '.join(tried)}."
    elif tried:
        yield f"No single change is enough; tried: {', '.join(tried)}."
    if low == high:
        yield f"Only {units.volume.words(low)} was tried, so nothing is known of other cell volumes."
    for one in found.plates:
        if one.why_not:
            yield (
                f"Plate {one.plate} was not considered: {one.why_not}. “Plates” on the page Trade-offs compares "
                "plates at one width."
            )


def _setup(setup: Setup, units: Units) -> str:
    return setup_words(setup.roll.label, setup.pressure, units, setup.speed, setup.plate)


def _only(probability: float, level: float) -> str:
    words = percent(probability, level)
    return words.replace("under", "less than") if words.startswith("under") else f"only {words}"


def _first(text: str) -> str:
    return text[:1].upper() + text[1:]


def shortfall_dict(found: Shortfall, units: Units | None = None) -> dict:
    """A shortfall as values that JSON can hold: its sentences, in metric units unless others are given, and its table."""
    units = units or metric(found.pressure_unit)
    return {
        "promise": promise(found, units),
        "conflicts": list(conflicts(found, units)),
        "remedies": list(remedies(found, units)),
        "table": found.to_frame().to_dict("records"),
    }
