"""Cells of invented responses for the tests of surfaces."""

import numpy as np
import pandas as pd

from pwindow.surfaces.model.responses import RESPONSE_KINDS, ResponseData
from pwindow.surfaces.model.terms import parents

SETTINGS = ("speed", "cell_volume", "pressure")


def make_cells(set_ups, seed=7, **columns) -> pd.DataFrame:
    """Cells, one a print, from set-ups of speed, cell volume and pressure."""
    table = pd.DataFrame(set_ups, columns=SETTINGS).astype(float)
    noise = np.random.default_rng(seed).normal(0.0, 0.05, len(table))
    return table.assign(
        print=[f"P{at:03d}" for at in range(len(table))],
        make_ready=None,
        plate=None,
        plate_width=np.nan,
        plate_gap=np.nan,
        direction=np.nan,
        count=1,
        value=0.8 * np.log(table["cell_volume"]) - 0.3 * np.log(table["speed"]) + noise,
    ).assign(**columns)


def line_height(cells, **more) -> ResponseData:
    """Line heights of cells."""
    return ResponseData(kind=RESPONSE_KINDS["line_height"], cells=cells, **more)


def respects_heredity(terms) -> bool:
    """Whether every product and square stands beside its linear terms, and all beside the intercept."""
    return all(parents(term) <= set(terms) for term in terms)
