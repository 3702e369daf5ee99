"""One family of pictures: the colours and type that all charts share."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Palette:
    """The colours of a picture, all of them seen on `paper`.

    Attributes
    ----------
    name : str
        The theme of a page that they belong to.
    ink, quiet, faint, paper : str
        What is read, what stands back, thin lines, the ground.
    mark : str
        What is chosen or recommended.
    hatched : str
        The ground under the hatching of what was not tried.
    roll : str
        Lines of the rolls, which cross a map and what is hatched.
    veil : str
        A see-through ground under labels.
    rolls : tuple of str
        Lines that each stand for a roll, in steps of lightness, so that they are distinguished without
        colour too.
    scale : tuple of str
        Of probabilities, from 0 up, in even steps of lightness that end at a calm blue on which `ink` is read.
    """

    name: str
    ink: str
    quiet: str
    faint: str
    paper: str
    mark: str
    hatched: str
    roll: str
    veil: str
    rolls: tuple[str, ...]
    scale: tuple[str, ...]

    @property
    def look(self) -> dict:
        """What every figure's layout starts from."""
        return {
            "template": "none",
            "paper_bgcolor": self.paper,
            "plot_bgcolor": self.paper,
            "showlegend": False,
        }

    @property
    def axis(self) -> dict:
        """What an axis with marks on its outside starts from."""
        return {
            "showgrid": False,
            "tickmode": "auto",
            "zeroline": False,
            "ticks": "outside",
            "tickcolor": self.quiet,
            "linecolor": self.quiet,
        }


HIDDEN_AXIS = {"range": [0, 1], "visible": False, "fixedrange": True}
"""An axis for what is placed by shares of the plot."""


PERCENT_TICKS = {
    "tickmode": "array",
    "tickvals": [0.0, 0.2, 0.4, 0.6, 0.8, 1.0],
    "ticktext": ["0 %", "20 %", "40 %", "60 %", "80 %", "100 %"],
}
"""Of an axis of probabilities."""


def placed_title(text: str) -> dict:
    """A title, at the top left of every picture."""
    return {
        "text": text, "x": 0.0, "xanchor": "left", "y": 1.0, "yanchor": "top", "pad": {"l": 12, "t": 20},
    }  # fmt: skip


LIGHT = Palette(
    name="light",
    ink="#22252b",
    quiet="#676e77",
    faint="#d9dce1",
    paper="#ffffff",
    mark="#8a2b06",
    hatched="#f1f2f4",
    roll="#d9dce1",
    veil="rgba(255,255,255,0.85)",
    rolls=("#0a1029", "#5c1a3a", "#14528a", "#8263b3", "#3a9984", "#c3a550"),
    scale=("#eafcfd", "#c0e5e8", "#95cfd8", "#72b8cd", "#599fc4", "#4886bb"),
)
DARK = Palette(
    name="dark",
    ink="#f0f3f6",
    quiet="#818a95",
    faint="#3a434d",
    paper="#14181d",
    mark="#fda468",
    hatched="#1d2329",
    roll="#aab3bd",
    veil="rgba(20,24,29,0.78)",
    rolls=("#ffffff", "#ffc6f3", "#8db8f3", "#54a3b1", "#119061", "#9e5339"),
    scale=("#191933", "#2c2a57", "#3a3c7d", "#3e53a0", "#3e6db2"),
)
PALETTES = {palette.name: palette for palette in (LIGHT, DARK)}


def palette_named(colours: str | None) -> Palette:
    """The palette of that name; the light one where none has it."""
    return LIGHT if colours is None else PALETTES.get(colours, LIGHT)


FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"
