"""How a roll is drawn, the same in every picture: colour, dash and shape, in the order of cell volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pwindow.charts.palette import LIGHT, Palette
from pwindow.study import Roll

_DASHES = (
    "solid", "12px,5px", "3px,4px", "12px,4px,3px,4px", "24px,6px", "20px,4px,3px,4px,3px,4px",
)  # fmt: skip


@dataclass(frozen=True)
class RollLook:
    """Colour and dash of a roll's lines, and its name in words."""

    colour: str
    dash: str
    words: str

    def pale(self, opacity: float) -> str:
        """The colour as a transparent fill."""
        red, green, blue = (int(self.colour[at : at + 2], 16) for at in (1, 3, 5))
        return f"rgba({red},{green},{blue},{opacity:g})"


def roll_looks(rolls: Sequence[Roll], palette: Palette = LIGHT) -> dict[str, RollLook]:
    """The look of each roll of an inventory, by id; beyond six rolls colours repeat with other dashes.

    Planned rolls come last, so that the others keep their looks when one is added.
    """
    looks, colours = {}, palette.rolls
    for at, roll in enumerate(sorted(rolls, key=lambda roll: roll.planned)):
        turn, place = divmod(at, len(colours))
        dash = _DASHES[(place + turn) % len(_DASHES)]
        looks[roll.id] = RollLook(colours[place], dash, f"roll {roll.label}")
    return looks
