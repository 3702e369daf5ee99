"""Where all requirements of a product are met, and the speeds to run."""

from pwindow.window.window import Window, find_window

__all__ = ["Window", "find_window"]
