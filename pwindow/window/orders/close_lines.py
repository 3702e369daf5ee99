"""Where close lines merge on a plate that is to be ordered."""

from __future__ import annotations

from pwindow.product import Product
from pwindow.study import Study
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.merging import Merging, merging
from pwindow.window.orders.orders import PlateOrders
from pwindow.window.window import find_window


def merging_on_order(
    found: PlateOrders, surfaces: Surfaces, product: Product, study: Study
) -> Merging | None:
    """How probably lines bridge with the process, roll and speed of the first order; None where gaps were not measured.

    Lips of gaps that are cut into a solid, and what they differ by, have no part in it.

    Parameters
    ----------
    found : PlateOrders
    surfaces : Surfaces
    product : Product
    study : Study
    """
    if not found.orders or "gap_closure" not in surfaces.by_name or surfaces.counts_only:
        return None
    order = found.orders[0]
    window = find_window(surfaces, order.as_plate(found.making).product(product), study)
    return merging(window, order.plate, order.speed, order.roll.cell_volume)
