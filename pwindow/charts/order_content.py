"""What pictures of the plates to order show, and the looks that map and curve share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from pwindow.charts.labels import as_text, key_note
from pwindow.charts.palette import FONT, Palette, placed_title
from pwindow.product import Product
from pwindow.window.orders import OrderMap, PlateOrder, PlateOrders
from pwindow.wording import METRIC, Units, listed, percent

ORDERS = "orders"
"""Name of the traces that mark plates to order."""
CERTAIN = 0.999
"""A tooltip is rounded, and must not round up to certainty."""
_ABOVE, _BELOW, _LEFT, _RIGHT = 72, 76, 60, 20  # px round the plots
_KEY_BELOW = 50  # px from the plots
_AWAY = 30  # px from a mark to its words


@dataclass(frozen=True, kw_only=True)
class OrderContent:
    """What a picture of the plates to order shows.

    Attributes
    ----------
    product : Product
    found : PlateOrders
    fit : str
        Fingerprint of the fit.
    units : Units
        Of the picture.
    """

    product: Product
    found: PlateOrders
    fit: str
    units: Units = METRIC

    @property
    def first(self) -> PlateOrder | None:
        return self.found.orders[0] if self.found.orders else None

    @property
    def drawable(self) -> bool:
        """Whether several plate widths or gaps of some process were tried, so that there is something to draw."""
        maps = self.found.maps
        return any(one.tried.any() and max(len(one.widths), len(one.gaps)) > 1 for one in maps)

    @property
    def marks(self) -> tuple[str, ...]:
        """What the marks of the orders stand for, each beside a sign like it."""
        if self.first is None:
            return ()
        first = "◇ order" if self.first.band else "◇ closest"
        return (first, "○ runner-up") if len(self.found.orders) > 1 else (first,)

    def orders_of(self, process: str) -> list[PlateOrder]:
        return [one for one in self.found.orders if one.plate == process]


def outcome(content: OrderContent, order: PlateOrder) -> str:
    """The speed of an order where it is assured, else its probability."""
    if order.band is not None:
        return content.units.speed.words(order.band.high)
    return percent(order.conformance, content.product.assurance.level)


def place_words(content: OrderContent, shown: OrderMap) -> np.ndarray:
    """What each plate of a map does, in words without its probability; shape as of the map."""
    speed = content.units.speed
    words = [
        f"fastest assured speed {speed.words(fast)}, roll {as_text(shown.rows[row].roll.label)}"
        if np.isfinite(fast)
        else f"not assured; best at {speed.words(best)}, roll {as_text(shown.rows[row].roll.label)}"
        for fast, best, row in zip(
            shown.fastest.ravel(), shown.speed_at_best.ravel(), shown.of_row.ravel(), strict=True
        )
    ]
    return np.array(words, dtype=object).reshape(shown.best.shape)


def orders_trace(content: OrderContent, process: str, across: str, up: str, palette: Palette) -> go.Scatter:
    """The plates to order of a process: a diamond on the first of all, rings on others.

    Parameters
    ----------
    content : OrderContent
    process : str
    across, up : str
        What runs along the axes: ``plate_width``, ``plate_gap``, ``speed`` or ``conformance``.
    palette : Palette
    """
    orders = content.orders_of(process)
    first = [one is content.first for one in orders]
    return go.Scatter(
        name=ORDERS,
        x=[place_of(content, one, across) for one in orders],
        y=[place_of(content, one, up) for one in orders],
        mode="markers",
        cliponaxis=False,
        marker={
            "symbol": ["diamond" if one else "circle" for one in first],
            "size": [17 if one else 13 for one in first],
            "color": palette.paper,
            "line": {"color": palette.mark, "width": 3},
        },
        text=[_order_words(content, one) for one in orders],
        hovertemplate=f"%{{text}}<extra>{as_text(process)}</extra>",
    )


def place_of(content: OrderContent, order: PlateOrder, along: str) -> float:
    """Where an order lies on an axis.

    Parameters
    ----------
    content : OrderContent
    order : PlateOrder
    along : str
        What runs along the axis, as of `orders_trace`.
    """
    if along == "conformance":
        return order.conformance
    unit = content.units.speed if along == "speed" else content.units.length
    return unit.of(getattr(order, along))


def _order_words(content: OrderContent, order: PlateOrder) -> str:
    units, level = content.units, content.product.assurance.level
    sizes = "<br>".join(
        f"{what}: {size_words(one, units)}"
        for what, one in (
            ("artwork line × gap", (order.artwork_width, order.artwork_gap)),
            ("on the plate", (order.plate_width, order.plate_gap)),
        )
    )
    speed = "fastest assured speed" if order.band else "best speed"
    return (
        f"{sizes}<br>roll {as_text(order.roll.label)}, {units.pressure.words(order.pressure)}"
        f"<br>{speed}: {units.speed.words(order.speed)}"
        f"<br>all requirements met: {percent(order.conformance, level)}"
    )


def size_words(sizes: Sequence[float], units: Units) -> str:
    """Line and gap with their unit; a dash for one that does not matter.

    Examples
    --------
    >>> size_words((37.1, 47.7), METRIC), size_words((float("nan"), 47.7), METRIC)
    ('37.1 × 47.7 µm', '– × 47.7 µm')
    """
    words = ["–" if np.isnan(one) else units.length.number(one) for one in sizes]
    return f"{' × '.join(words)} {units.length.name}"


def order_notes(
    content: OrderContent, process: str, along: tuple[str, str], middle: Sequence[float], palette: Palette
) -> list[dict]:
    """Words beside the marks of a process, towards the middle of their plot.

    Parameters
    ----------
    content : OrderContent
    process : str
    along : (str, str)
        What runs along the axes, as of `orders_trace`.
    middle : sequence of float
        Of both axes.
    palette : Palette
    """
    notes = []
    for order in content.orders_of(process):
        x, y = (place_of(content, order, one) for one in along)
        left, above = x > middle[0], y < middle[1]
        words = outcome(content, order)
        notes.append(
            {
                "x": x,
                "y": y,
                "ax": -_AWAY if left else _AWAY,
                "ay": -_AWAY if above else _AWAY,
                "xanchor": "right" if left else "left",
                "text": f"<b>{words}</b>" if order is content.first else words,
                "showarrow": True,
                "arrowhead": 0,
                "standoff": 9,
                "arrowcolor": palette.ink,
                "font": {"size": 13, "color": palette.ink},
                "bgcolor": palette.veil,
                "borderpad": 3,
            }
        )
    return notes


def subtitle_of(content: OrderContent, left_out: Sequence[str] = ()) -> str:
    """That nothing is assured, which fit it stands on, and which processes are not drawn."""
    assurance = content.product.assurance
    assured = any(np.isfinite(one.fastest[one.tried]).any() for one in content.found.maps)
    parts = [
        "each plate at its best roll and pressure"
        if assured
        else f"<b>no plate reaches {assurance.words}</b>",
        f"not drawn: {as_text(listed(list(left_out)))} (one plate width or gap)" if left_out else "",
        f"fit {content.fit}",
    ]
    return " · ".join(filter(None, parts))


def layout(content: OrderContent, words: str, below: str, palette: Palette, height: int | None) -> dict:
    """Layout of a figure, with its title.

    Parameters
    ----------
    content : OrderContent
    words : str
        What is drawn.
    below : str
        Small line under the title.
    palette : Palette
    height : int, optional
        Px; None where the figure's place gives it one.
    """
    title = f'{as_text(content.product.name)}: {words}<br><span style="font-size:12px">{below}</span>'
    return {
        **palette.look,
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "margin": {"l": _LEFT, "r": _RIGHT, "t": _ABOVE, "b": _BELOW},
        "height": height,
        "hovermode": "closest",
        "dragmode": False,
        "title": placed_title(title) | {"pad": {"l": 12, "t": 12}, "font": {"size": 15}},
    }


def key_of(text: str, palette: Palette) -> dict:
    """What the marks stand for, under the plots."""
    return key_note(text, _LEFT, _KEY_BELOW, palette.ink)


def padded(values: np.ndarray) -> list[float]:
    """Range of an axis, with room at both ends."""
    low, high = float(values.min()), float(values.max())
    room = 0.04 * (high - low) or 0.1 * high
    return [low - room, high + room]
