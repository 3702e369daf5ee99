"""A shortfall in sentences, the same on the page, in the report and on the command line."""

from __future__ import annotations

from collections.abc import Iterator

from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import Reach, Remedy, Shortfall, Side
from pwindow.wording import asked, listed, percent, setup_words, speed, volume
from pwindow.wording import pressure as pressure_text


def promise(found: Shortfall) -> str:
    """The highest probability that can be reached, and with which set-up."""
    closest = found.closest
    return (
        f"No set-up reaches {asked(found.level)} assurance: the closest, {_setup(found, closest.setup)}, reaches "
        f"{_at_most(closest.joint, found.level)}."
    )


def conflicts(found: Shortfall) -> tuple[str, ...]:
    """Which limits are out of reach, and which two of the others conflict."""
    sentences = [
        f"{_first(one.sides[0].words)} is out of reach even on its own: the best set-up has "
        f"{percent(one.joint, found.level)} probability of meeting it."
        for one in found.out_of_reach
    ]
    if found.conflict is not None:
        sentences.append(_conflict(found, found.conflict))
    elif not sentences and found.pairs:
        lowest = found.pairs[0]
        sentences.append(
            f"No two limits conflict: each pair reaches {asked(found.level)} (the lowest, "
            f"{_both(lowest)}, {percent(lowest.joint, found.level)}). Only all of them together do not."
        )
    return tuple(sentences)


def _conflict(found: Shortfall, pair: Reach) -> str:
    alone = {one.sides[0].words: one.joint for one in found.alone}
    each = listed([percent(alone[side.words], found.level) for side in pair.sides])
    return (
        f"{_first(_both(pair))} conflict: the best set-ups have {each} probability of meeting each alone, but "
        f"{_at_most(pair.joint, found.level)} of meeting both in the same print."
    )


def _both(pair: Reach) -> str:
    return listed([side.words for side in pair.sides])


def remedies(found: Shortfall) -> tuple[str, ...]:
    """Which limit, cell volume or plate would be enough on its own; that none would, where none is."""
    sentences = [
        _limit(found, one.side, one.value, one.remedy)
        for one in found.loosenings
        if one.value is not None and one.remedy is not None
    ]
    sentences += [_volume(found, found.volume)] if found.volume is not None else []
    sentences += [_plate(found, one.plate, one.remedy) for one in found.plates if one.remedy is not None]
    return (*sentences, *_what_would_not(found, something=bool(sentences)))


def _limit(found: Shortfall, side: Side, value: float, remedy: Remedy) -> str:
    return (
        f"{_first(side.at(value))} instead of {side.value:g} {side.requirement.kind.unit} would be enough"
        f"{_with(found, remedy)}"
    )


def _volume(found: Shortfall, remedy: Remedy) -> str:
    setup = remedy.setup
    plate = f", plate {setup.plate}" if setup.plate else ""
    return (
        f"A cell volume of {volume(setup.roll.cell_volume)} cm³/m² (a roll you do not have) would be enough: "
        f"{pressure_text(setup.pressure)} {found.pressure_unit}, {speed(setup.speed)} m/min{plate} "
        f"({percent(remedy.joint, found.level)})."
    )


def _plate(found: Shortfall, plate: str, remedy: Remedy) -> str:
    return f"Plate {plate} would be enough{_with(found, remedy)}"


def _with(found: Shortfall, remedy: Remedy) -> str:
    return f": {_setup(found, remedy.setup)} ({percent(remedy.joint, found.level)})."


def _what_would_not(found: Shortfall, *, something: bool) -> Iterator[str]:
    """What was tried and is not enough on its own."""
    low, high = found.volumes_tried
    tried = [f"loosening {one.side.words}" for one in found.loosenings if one.remedy is None]
    if found.volume is None and low < high:
        tried.append(f"another cell volume from {volume(low)} to {volume(high)} cm³/m²")
    tried += [f"plate {one.plate}" for one in found.plates if one.remedy is None and not one.why_not]
    if tried and something:
        yield f"Not enough on its own: {', '.join(tried)}."
    elif tried:
        yield f"No single change is enough; tried: {', '.join(tried)}."
    if low == high:
        yield f"Only {volume(low)} cm³/m² was tried, so no other cell volume can be judged."
    for one in found.plates:
        if one.why_not:
            yield f"Plate {one.plate} cannot be judged: {one.why_not}."


def _setup(found: Shortfall, setup: Setup) -> str:
    return setup_words(setup.roll.label, setup.pressure, found.pressure_unit, setup.speed, setup.plate)


def _at_most(probability: float, level: float) -> str:
    words = percent(probability, level)
    return words.replace("under", "less than") if words.startswith("under") else f"at most {words}"


def _first(text: str) -> str:
    return text[:1].upper() + text[1:]


def shortfall_dict(found: Shortfall) -> dict:
    """A shortfall as values that JSON can hold: its sentences, and its table row by row."""
    return {
        "promise": promise(found),
        "conflicts": list(conflicts(found)),
        "remedies": list(remedies(found)),
        "table": found.to_frame().to_dict("records"),
    }
