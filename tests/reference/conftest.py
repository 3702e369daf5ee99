"""Reading of reference data, and comparison with figures as they were printed."""

import json
import os
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.model.responses import ResponseData, ResponseKind
from pwindow.surfaces.single.surface import fit_surface

HERE = Path(__file__).parent


@pytest.fixture(scope="session")
def read_json():
    """Reader of a JSON file beside the tests."""
    return lambda name: json.loads((HERE / name).read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def read_table():
    """Reader of a CSV file beside the tests."""
    return lambda name, **options: pd.read_csv(HERE / name, **options)


@pytest.fixture(scope="session")
def fetched() -> Path:
    """Folder of reference files that are not part of the project."""
    folder = os.environ.get("PWINDOW_REFERENCE_DIR")
    if not folder:
        pytest.skip("PWINDOW_REFERENCE_DIR does not name a folder of reference data")
    return Path(folder) / "fetched"


@pytest.fixture(scope="session")
def printed():
    """A figure as printed, equal to what rounds to it: within half a unit of its last digit."""

    def figure(text: str):
        half = Decimal(1).scaleb(Decimal(text).as_tuple().exponent) / 2
        return pytest.approx(float(text), rel=0, abs=float(half))

    return figure


@pytest.fixture(scope="session")
def assert_printed():
    """Assertion that a value is within half a unit of a figure, and of neither of its neighbours.

    The unit is that of the last printed digit, or of the last of so many `digits`; the neighbours are
    the figure changed by one unit.
    """

    def check(found: float, text: str, digits: int | None = None) -> None:
        figure = Decimal(text)
        place = figure.as_tuple().exponent if digits is None else figure.adjusted() - digits + 1
        unit = Decimal(1).scaleb(place)
        for steps in (-1, 0, 1):
            against = figure + steps * unit
            agrees = abs(Decimal(float(found)) - against) <= unit / 2
            assert agrees == (steps == 0), f"found {found}, against {against} to {unit / 2}"

    return check


@pytest.fixture(scope="session")
def as_response():
    """Maker of a response of values, each a print of one feature and of no make-ready unless told."""

    def made(values, feature_variance=0.0, feature_df=0, **columns):
        values = np.asarray(values, float)
        cells = {"print": [f"run {at:03d}" for at in range(len(values))], "make_ready": None, "count": 1}
        cells |= {name: np.asarray(column) for name, column in columns.items()}
        data = pd.DataFrame(cells | {"value": values})
        kind = ResponseKind(name="response", label="response", unit="", key="", log=False, covariates=())
        return ResponseData(kind=kind, cells=data, feature_variance=feature_variance, feature_df=feature_df)

    return made


@pytest.fixture(scope="session")
def fit_values(as_response):
    """Fitter of a surface to values as `as_response` takes them."""
    return lambda values, design, *more, **columns: fit_surface(as_response(values, *more, **columns), design)


@pytest.fixture(scope="session")
def covariance():
    """Covariance of the coefficients of a surface, by which its means are predicted."""
    return lambda surface: surface.scale * surface.solution.unscaled_cov


@pytest.fixture(scope="session")
def wald(covariance):
    """F of some coefficients of a surface against their covariance (Wald 1943)."""

    def f(surface, rows) -> float:
        params, spread = surface.solution.params[rows], covariance(surface)[np.ix_(rows, rows)]
        return float(params @ np.linalg.solve(spread, params)) / len(rows)

    return f
