"""Products made in code."""

from __future__ import annotations

import dataclasses

from pwindow.product import Assurance, Pattern, Product, Requirement


def make_product(pattern: dict | None = None, assurance: dict | None = None, **limits: tuple) -> Product:
    """A product with requirements as name=(least, most, parameters), and no tolerances unless given."""
    pattern = {"plate": "laser-imaged", "plate_gap": 60.0} | (pattern or {})
    return Product(
        "part",
        tuple(Requirement(name, least, most, more) for name, (least, most, more) in limits.items()),
        Pattern(**pattern),
        Assurance(**(assurance or {})),
    )


def without_tolerances(product: Product) -> Product:
    """The product with settings that are held exactly."""
    exact = dataclasses.replace(
        product.assurance, speed_tolerance=0.0, volume_tolerance=0.0, pressure_tolerance=None
    )
    return dataclasses.replace(product, assurance=exact)
