"""Which plate to order: what a product needs of the plate, within what was tried."""

from pwindow.window.orders.order_map import OrderMap, order_map
from pwindow.window.orders.orders import PlateOrder, PlateOrders, Telling, plate_orders

__all__ = ["OrderMap", "PlateOrder", "PlateOrders", "Telling", "order_map", "plate_orders"]
