"""Second-order regression surfaces of a trial's responses."""

from pwindow.surfaces.surfaces import Surfaces, fit

__all__ = ["Surfaces", "fit"]
