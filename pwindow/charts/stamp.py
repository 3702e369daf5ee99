"""What a picture stands on, in a corner of it."""

from __future__ import annotations

from pwindow.charts.palette import LIGHT, Palette


def stamp(*fits: str, palette: Palette = LIGHT) -> dict:
    """An annotation at the lower right that names fits by their fingerprints."""
    return {
        "text": f"fit {' → '.join(fits)}",
        "xref": "paper",
        "yref": "paper",
        "x": 1,
        "y": 0,
        "xanchor": "right",
        "yanchor": "top",
        "yshift": -44,
        "showarrow": False,
        "font": {"size": 11, "color": palette.quiet},
    }
