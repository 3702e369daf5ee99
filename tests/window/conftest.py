"""Windows of products made in code."""

import pytest

import pwindow as pw
from tests.helpers.products import make_product


@pytest.fixture(scope="session")
def window_of(demo_surfaces):
    """Maker of windows on the demo trial."""

    def make(study=None, **options):
        return pw.find_window(demo_surfaces, make_product(**options), study)

    return make


@pytest.fixture(scope="session")
def places():
    """Set-ups inside the trial region, from safe to hopeless."""
    return {
        "speed": [30.0, 45.0, 60.0, 90.0, 118.0],
        "cell_volume": [3.3, 4.4, 5.6, 5.0, 4.4],
        "pressure": 50.0,
    }
