"""Which plate to order: what a product needs of the plate, within what was tried."""

from pwindow.window.orders.orders import PlateOrder, PlateOrders, Telling, plate_orders
from pwindow.window.orders.over_plates import OrderMap, order_map

__all__ = ["OrderMap", "PlateOrder", "PlateOrders", "Telling", "order_map", "plate_orders"]
