"""Where a product's requirements hold together, and the speeds to run."""

from pwindow.window.window import Window, find_window

__all__ = ["Window", "find_window"]
