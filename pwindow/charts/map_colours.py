"""What the colours of a map stand for: all probabilities, or where nothing is assured how close it comes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.map_content import MapContent
from pwindow.charts.palette import Palette
from pwindow.wording import percent, signed

_WORTH = 0.01  # highest probability below which probabilities say nothing about how close it comes
_CERTAIN = 0.999  # a tooltip is rounded, and must not round up to certainty
_STEPS = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.25)


@dataclass(frozen=True, kw_only=True)
class Colours:
    """A scale of colours.

    Attributes
    ----------
    values : ndarray, shape (v, s)
        What is coloured, over volumes and speeds.
    low, high : float
        Ends of the scale.
    ticks : tuple of float
    tick_words : tuple of str
    title, hover : str
        Words beside the scale, and the line of a tooltip.
    lines : tuple of float
        Levels of the thin lines.
    decimals : int
        Of the levels of thin lines, in percent.
    """

    values: np.ndarray
    low: float
    high: float
    ticks: tuple[float, ...]
    tick_words: tuple[str, ...]
    title: str
    hover: str
    lines: tuple[float, ...]
    decimals: int = 0


def colours_of(content: MapContent) -> Colours:
    """What the colours of a map stand for."""
    joint = content.window_map.joint
    if content.nearest is None:
        return _of_probability(joint)
    found = _up_to(joint, content.nearest.joint, content.level)
    return found if found.high >= _WORTH else _of_margins(content.window_map.margin)


def _of_probability(joint: np.ndarray) -> Colours:
    ticks = (0.0, 0.25, 0.5, 0.75, 1.0)
    return Colours(
        values=np.minimum(joint, _CERTAIN),
        low=0.0,
        high=1.0,
        ticks=ticks,
        tick_words=tuple(f"{100 * tick:.0f} %" for tick in ticks),
        title="probability that all requirements are met",
        hover="all requirements met: %{z:.1%}",
        lines=(0.25, 0.75),
    )


def _up_to(joint: np.ndarray, closest: float, level: float) -> Colours:
    """From 0 to the highest value of the map, or that of the closest set-up where that is higher."""
    here = float(np.nanmax(joint, initial=0.0))
    top, of = (here, "highest at any volume") if here >= closest else (closest, "closest set-up")
    step = next((one for one in _STEPS if top / one <= 4), _STEPS[-1])
    whole = [step * at for at in range(math.ceil(top / step)) if step * at < top - 0.4 * step]
    decimals = 1 if step < 0.01 else 0
    words = [f"{100 * tick:.{decimals}f} %" for tick in whole] + [f"<b>{percent(top, level)}</b>"]
    return Colours(
        values=np.minimum(joint, _CERTAIN),
        low=0.0,
        high=top,
        ticks=(*whole, top),
        tick_words=tuple(words),
        title=f"probability that all requirements are met<br>({of}: {percent(top, level)})",
        hover="all requirements met: %{z:.1%}",
        lines=tuple(dict.fromkeys([*whole[1:2], *whole[1:][-1:]])),
        decimals=decimals,
    )


def _of_margins(margin: np.ndarray) -> Colours:
    """Where probabilities are all next to nothing: how far outside the limits the predicted means are."""
    finite = margin[np.isfinite(margin)]
    low, high = (float(finite.min()), float(finite.max())) if len(finite) else (0.0, 1.0)
    ticks = tuple(np.linspace(low, high, 4).tolist())
    return Colours(
        values=margin,
        low=low,
        high=high if high > low else low + 1.0,
        ticks=ticks,
        tick_words=tuple(signed(tick, 1) for tick in ticks),
        title="predicted averages inside (+) or outside (−)<br>the limit missed most, standard deviations",
        hover="averages %{z:+.1f} standard deviations inside the limit missed most",
        lines=(),
    )


def hatched_ground(palette: Palette) -> go.Scatter:
    """A hatched ground: what map or curve leave uncovered was not tried.

    It has axes of its own below the others, because a filled area is drawn above any map of its axes.
    """
    return go.Scatter(
        name="outside",
        x=[0, 0, 1, 1],
        y=[0, 1, 1, 0],
        fill="toself",
        mode="none",
        hoverinfo="skip",
        fillpattern={
            "shape": "/",
            "fgcolor": palette.quiet,
            "bgcolor": palette.hatched,
            "size": 9,
            "solidity": 0.12,
        },
        showlegend=False,
    )
