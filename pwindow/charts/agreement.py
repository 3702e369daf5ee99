"""The picture of a new trial: what was measured against what was predicted."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from pwindow.charts.labels import as_text
from pwindow.charts.palette import FONT, LIGHT, Palette, placed_title
from pwindow.surfaces.agreement.new_trial import Agreement, ResponseAgreement
from pwindow.wording import METRIC, Units


def agreement_figure(found: Agreement, palette: Palette = LIGHT, units: Units = METRIC) -> go.Figure:
    """Draw measured against predicted means of every response, each with its 95 % interval.

    Parameters
    ----------
    found : Agreement
    palette : Palette
    units : Units
        That lengths are shown in.
    """
    names = list(found.by_name)
    columns = min(2, max(len(names), 1))
    rows = max(math.ceil(len(names) / columns), 1)
    titles = [_title(found.by_name[name], units) for name in names]
    figure = make_subplots(
        rows, columns, subplot_titles=titles, vertical_spacing=0.22 / rows + 0.04, horizontal_spacing=0.12
    )
    for at, name in enumerate(names):
        cells = _shown(found.by_name[name], units)
        _draw(figure, cells, palette, {"row": at // columns + 1, "col": at % columns + 1})
    figure.update_layout(
        palette.look,
        font={"family": FONT, "size": 13, "color": palette.ink},
        height=100 + 380 * rows,
        margin={"l": 70, "r": 30, "t": 120, "b": 60},
        title=placed_title(
            f"{as_text(', '.join(found.trial.files))}: measured against predicted<br>"
            "<sub>dotted: measured as predicted · bars: 95 % prediction intervals</sub><br>"
            f"<sub>filled: outside its interval · fit {found.against}</sub>"
        ),
    )
    return figure


_NUMBERS = ["measured", "predicted", "low", "high"]


def _title(one: ResponseAgreement, units: Units) -> str:
    kind = one.surface.kind
    return f"{kind.label}, {units.of(kind.unit).name}"


def _shown(one: ResponseAgreement, units: Units) -> pd.DataFrame:
    """The cells in the units of the title."""
    return one.cells.assign(**units.of(one.surface.kind.unit).of(one.cells[_NUMBERS]))


def _draw(figure: go.Figure, cells: pd.DataFrame, palette: Palette, place: Mapping[str, int]) -> None:
    ends = [cells[["measured", "low"]].min().min(), cells[["measured", "high"]].max().max()]
    figure.add_scatter(
        x=ends,
        y=ends,
        mode="lines",
        line={"color": palette.quiet, "width": 1, "dash": "dot"},
        hoverinfo="skip",
        **place,
    )
    outside = ~cells["inside"]
    figure.add_scatter(
        x=cells["predicted"],
        y=cells["measured"],
        mode="markers",
        marker={
            "size": 9,
            "color": [palette.mark if out else palette.paper for out in outside],
            "symbol": ["diamond" if out else "circle" for out in outside],
            "line": {"color": [palette.mark if out else palette.ink for out in outside], "width": 1.5},
        },
        error_x={
            "type": "data",
            "symmetric": False,
            "array": cells["high"] - cells["predicted"],
            "arrayminus": cells["predicted"] - cells["low"],
            "color": palette.quiet,
            "thickness": 1,
            "width": 0,
        },
        customdata=[as_text(name) for name in cells["print"]],
        hovertemplate="print %{customdata}<br>predicted %{x:.3g}, measured %{y:.3g}<extra></extra>",
        **place,
    )
    values = cells[_NUMBERS].to_numpy(float)
    room = 0.06 * (np.ptp(values) or abs(values.max()) or 1.0)
    ends = [values.min() - room, values.max() + room]  # on one scale: a run is often at one set-up
    axis = {"gridcolor": palette.faint, "zeroline": False, "range": ends, **place}
    figure.update_xaxes(title={"text": "predicted", "standoff": 8}, **axis)
    figure.update_yaxes(title={"text": "measured", "standoff": 8}, **axis)
