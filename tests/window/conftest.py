"""Products made in code, and windows of them."""

import pytest

import pwindow as pw
from pwindow.product import Assurance, Pattern, Product, Requirement


@pytest.fixture(scope="session")
def make_product():
    """Maker of products: requirements as name=(least, most, parameters), no tolerances."""

    def make(pattern=None, assurance=None, **limits):
        pattern = {"plate": "laser-imaged", "plate_gap": 60.0} | (pattern or {})
        return Product(
            "part",
            tuple(Requirement(name, least, most, more) for name, (least, most, more) in limits.items()),
            Pattern(**pattern),
            Assurance(**(assurance or {})),
        )

    return make


@pytest.fixture(scope="session")
def window_of(demo_surfaces, make_product):
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
