"""How a roll is drawn, the same in every picture: colour, dash and shape, in the order of cell volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pwindow.charts.palette import LIGHT, Palette
from pwindow.study import Roll
from pwindow.wording import METRIC, Units

_DASHES = (
    "solid", "12px,5px", "3px,4px", "12px,4px,3px,4px", "24px,6px", "20px,4px,3px,4px,3px,4px",
)  # fmt: skip


@dataclass(frozen=True)
class RollLook:
    """Colour and dash of a roll's lines, its name short and in words, and whether its lines are hollow."""

    colour: str
    dash: str
    name: str
    words: str
    hollow: bool = False

    def pale(self, opacity: float) -> str:
        """The colour as a transparent fill."""
        red, green, blue = (int(self.colour[at : at + 2], 16) for at in (1, 3, 5))
        return f"rgba({red},{green},{blue},{opacity:g})"


def roll_looks(rolls: Sequence[Roll], palette: Palette = LIGHT, units: Units = METRIC) -> dict[str, RollLook]:
    """The look of each roll of an inventory, by id; beyond six rolls colours repeat with other dashes.

    Planned rolls have hollow lines in a colour of no other roll, which keep their looks.

    Parameters
    ----------
    rolls : sequence of Roll
    palette : Palette
    units : Units
        Of the volume that is written beside a planned roll.
    """
    looks, colours = {}, palette.rolls
    there, planned = ([roll for roll in rolls if roll.planned == wanted] for wanted in (False, True))
    for at, roll in enumerate(there):
        turn, place = divmod(at, len(colours))
        dash = _DASHES[(place + turn) % len(_DASHES)]
        looks[roll.id] = RollLook(colours[place], dash, f"roll {roll.id}", f"roll {roll.id}")
    for at, roll in enumerate(planned):
        words = f"roll {roll.id} (planned, {units.volume.words(roll.cell_volume)})"
        dash = _DASHES[at % len(_DASHES)]
        looks[roll.id] = RollLook(palette.quiet, dash, f"roll {roll.id}", words, hollow=True)
    return looks
