"""Second-order regression surfaces of a trial's responses."""

from pwindow.surfaces.surfaces import Form, Surfaces, fit

__all__ = ["Form", "Surfaces", "fit"]
