"""Cells of invented responses for the tests of surfaces."""

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.responses import RESPONSE_KINDS, ResponseData, ResponseKind
from pwindow.surfaces.model.terms import parents

SETTINGS = ("speed", "cell_volume", "pressure")


@pytest.fixture(scope="session")
def make_cells():
    """Maker of cells, one a print, from set-ups of speed, cell volume and pressure."""

    def cells(set_ups, seed=7, **columns):
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

    return cells


@pytest.fixture(scope="session")
def line_height():
    """Maker of line heights from cells."""
    return lambda cells, **more: ResponseData(kind=RESPONSE_KINDS["line_height"], cells=cells, **more)


@pytest.fixture(scope="session")
def plain_kind():
    """A response modelled as it is, without covariates."""
    return ResponseKind(name="response", label="response", unit="", key="response", log=False, covariates=())


@pytest.fixture(scope="session")
def respects_heredity():
    """Whether every product and square stands beside its linear terms, and all beside the intercept."""
    return lambda terms: all(parents(term) <= set(terms) for term in terms)
