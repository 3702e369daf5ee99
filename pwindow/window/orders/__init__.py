"""Which plate to order: what a product needs of the plate, within what was tried."""

from pwindow.window.orders.close_lines import merging_on_order
from pwindow.window.orders.orders import PlateOrder, PlateOrders, Telling, plate_orders
from pwindow.window.orders.over_plates import OrderMap, order_map

__all__ = [
    "OrderMap",
    "PlateOrder",
    "PlateOrders",
    "Telling",
    "merging_on_order",
    "order_map",
    "plate_orders",
]
