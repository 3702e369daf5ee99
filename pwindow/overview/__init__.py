"""What an object is, at a glance: one line in a console, a small table in a notebook."""

from pwindow.overview.overview import Overview, Viewed

__all__ = ["Overview", "Viewed"]
