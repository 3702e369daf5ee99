"""Reading of reference data, and comparison with figures as they were printed."""

import json
import os
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

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
