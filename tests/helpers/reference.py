"""Reading of reference data, and comparison with figures as they were printed."""

import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.responses import ResponseData, ResponseKind
from pwindow.surfaces.single.surface import Surface, fit_surface

DATA = Path(__file__).parents[1] / "reference"


def read_json(name: str) -> dict:
    """A JSON file beside the tests."""
    return json.loads((DATA / name).read_text(encoding="utf-8"))


def read_table(name: str, **options) -> pd.DataFrame:
    """A CSV file beside the tests."""
    return pd.read_csv(DATA / name, **options)


def printed(text: str):
    """A figure as printed, equal to what rounds to it: within half a unit of its last digit."""
    half = Decimal(1).scaleb(Decimal(text).as_tuple().exponent) / 2
    return pytest.approx(float(text), rel=0, abs=float(half))


def assert_printed(found: float, text: str, digits: int | None = None) -> None:
    """Check that a value is within half a unit of a figure, and of neither of its neighbours.

    The unit is that of the last printed digit, or of the last of so many `digits`; the neighbours are
    the figure changed by one unit.
    """
    figure = Decimal(text)
    place = figure.as_tuple().exponent if digits is None else figure.adjusted() - digits + 1
    unit = Decimal(1).scaleb(place)
    for steps in (-1, 0, 1):
        against = figure + steps * unit
        agrees = abs(Decimal(float(found)) - against) <= unit / 2
        assert agrees == (steps == 0), f"found {found}, against {against} to {unit / 2}"


def as_response(values, feature_variance=0.0, feature_df=0, **columns) -> ResponseData:
    """A response of values, each a print of one feature and of no make-ready unless told."""
    values = np.asarray(values, float)
    cells = {"print": [f"run {at:03d}" for at in range(len(values))], "make_ready": None, "count": 1}
    cells |= {name: np.asarray(column) for name, column in columns.items()}
    data = pd.DataFrame(cells | {"value": values})
    kind = ResponseKind(name="response", label="response", unit="", key="", log=False, covariates=())
    return ResponseData(kind=kind, cells=data, feature_variance=feature_variance, feature_df=feature_df)


def fit_values(values, design, *more, **columns) -> Surface:
    """The surface of values, which are as `as_response` takes them."""
    return fit_surface(as_response(values, *more, **columns), design)


def covariance(surface: Surface) -> np.ndarray:
    """Covariance of the coefficients of a surface, by which its means are predicted."""
    return surface.scale * surface.solution.unscaled_cov


def wald(surface: Surface, rows) -> float:
    """F of some coefficients of a surface against their covariance (Wald 1943)."""
    params, spread = surface.solution.params[rows], covariance(surface)[np.ix_(rows, rows)]
    return float(params @ np.linalg.solve(spread, params)) / len(rows)
