"""One family of pictures: the colours and type that all charts share."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
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

    @property
    def look(self) -> dict:
        """What every figure's layout starts from."""
        return {
            "template": "none",
            "paper_bgcolor": self.paper,
            "plot_bgcolor": self.paper,
            "showlegend": False,
        }


LIGHT = Palette(
    name="light",
    ink="#22252b",
    quiet="#697079",
    faint="#d9dce1",
    paper="#ffffff",
    mark="#8a2b06",
    hatched="#f1f2f4",
    roll="#d9dce1",
    veil="rgba(255,255,255,0.85)",
)
DARK = Palette(
    name="dark",
    ink="#e4e8ec",
    quiet="#8d96a1",
    faint="#3a434d",
    paper="#14181d",
    mark="#fb8a45",
    hatched="#1d2329",
    roll="#aab3bd",
    veil="rgba(20,24,29,0.78)",
)
PALETTES = {palette.name: palette for palette in (LIGHT, DARK)}

INK, QUIET, FAINT, PAPER, MARK, LOOK = (
    LIGHT.ink,
    LIGHT.quiet,
    LIGHT.faint,
    LIGHT.paper,
    LIGHT.mark,
    LIGHT.look,
)
SCALE = "Cividis"
"""Of probabilities, the same in every theme; what is drawn on it keeps the colours of the light theme."""
ROLLS = ("#0a1029", "#5c1a3a", "#14528a", "#8263b3", "#3a9984", "#c3a550")
"""Dark to light, so that they are told apart without colour too."""
FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"
