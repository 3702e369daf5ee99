"""Marks on curves along the speed: the selected set-up, and those that are pinned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.labels import as_text
from pwindow.charts.palette import Palette
from pwindow.window.setup import Setup
from pwindow.wording import Unit, listed

PINS, HALO, SELECTED = "pins", "halo", "selected"
Curves = Mapping[str, tuple[np.ndarray, np.ndarray]]
"""By id of the roll, speeds and what is drawn at them, in the units of the picture."""


def draw_marks(
    figure: go.Figure,
    curves: Curves,
    selected: Setup,
    pins: Mapping[int, Setup],
    speed: Unit,
    palette: Palette,
) -> None:
    """Add a ring for the selected set-up, as on the map, and the numbers of the pins.

    Parameters
    ----------
    figure : Figure
    curves : mapping
        As `Curves`, at the plate and pressure of all that is marked.
    selected : Setup
    pins : mapping of int to Setup
        By their numbers.
    speed : Unit
    palette : Palette
    """
    pin = {
        "symbol": "circle",
        "size": 19,
        "color": palette.paper,
        "line": {"color": palette.ink, "width": 1.5},
    }
    words = {"size": 12, "color": palette.ink}
    figure.add_trace(_marks(PINS, pin).update(mode="markers+text", textfont=words))
    figure.add_trace(_marks(HALO, _ring(palette.paper, 7)))
    figure.add_trace(_marks(SELECTED, _ring(palette.mark, 3)))
    figure.data[-2].hoverinfo = "skip"
    spots = {number: _spot(curves, one, speed) for number, one in pins.items()}
    there = {number: spot for number, spot in spots.items() if spot is not None}
    figure.data[-3].update(
        x=[spot[0] for spot in there.values()],
        y=[spot[1] for spot in there.values()],
        text=[str(number) for number in there],
        hovertext=[f"pin {number}: {_words(pins[number], speed)}" for number in there],
    )
    move_selected(figure, curves, selected, speed)


def move_selected(figure: go.Figure, curves: Curves, selected: Setup, speed: Unit) -> None:
    """Put the ring of a figure made with `draw_marks` at another set-up; away where its curve is not drawn there.

    Parameters
    ----------
    figure : Figure
    curves : mapping
        As `Curves`.
    selected : Setup
    speed : Unit
    """
    spot = _spot(curves, selected, speed)
    x, y = ([], []) if spot is None else ([spot[0]], [spot[1]])
    for trace in figure.data:
        if trace.name in (HALO, SELECTED):
            trace.update(x=x, y=y)
        if trace.name == SELECTED:
            trace.hovertext = [f"selected: {_words(selected, speed)}"] * len(x)


def told(pins: Sequence[int], elsewhere: Sequence[int]) -> list[str]:
    """What marks mean, in words.

    Parameters
    ----------
    pins : sequence of int
        Numbers of those on the picture.
    elsewhere : sequence of int
        Numbers of those at another plate or pressure.

    Examples
    --------
    >>> told([1, 3], [2])
    ['ring: selected', 'numbers: pins', 'pin 2 is at another plate or pressure']
    """
    found = ["ring: selected", *["numbers: pins"] * bool(pins)]
    if elsewhere:
        several = len(elsewhere) > 1
        found.append(
            f"pin{'s' * several} {listed([str(one) for one in elsewhere])} {'are' if several else 'is'} "
            "at another plate or pressure"
        )
    return found


def _marks(name: str, marker: dict) -> go.Scatter:
    return go.Scatter(
        name=name, mode="markers", cliponaxis=False, showlegend=False, marker=marker,
        hovertemplate="%{hovertext}<extra></extra>",
    )  # fmt: skip


def _ring(colour: str, width: float) -> dict:
    return {"symbol": "circle-open", "size": 20, "color": colour, "line": {"color": colour, "width": width}}


def _words(setup: Setup, speed: Unit) -> str:
    return f"roll {as_text(setup.roll.label)}, {speed.words(setup.speed)}"


def _spot(curves: Curves, setup: Setup, speed: Unit) -> tuple[float, float] | None:
    """Where a set-up lies on the curve of its roll; None where that was not drawn."""
    if setup.roll.id not in curves:
        return None
    (speeds, values), at = curves[setup.roll.id], speed.of(setup.speed)
    known = np.isfinite(values)
    if not known.any() or not speeds[known][0] - 1e-6 <= at <= speeds[known][-1] + 1e-6:
        return None
    return float(at), float(np.interp(at, speeds[known], values[known]))
