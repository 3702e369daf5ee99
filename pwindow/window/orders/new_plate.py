"""A plate that is still to be made: what it is asked to be, and by how much it may differ."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pwindow.plates import ProcessMaking
from pwindow.product import Product
from pwindow.study import Study
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.requirements.tolerances import Tolerance
from pwindow.window.window import Window, find_window


@dataclass(frozen=True)
class NewPlate:
    """A plate to order, of one process: what its lines and gaps are to measure. µm; NaN where it does not matter.

    Attributes
    ----------
    making : ProcessMaking
        What the process makes of artwork.
    width, gap : float
        Line width and gap on the plate.
    beyond : float or None
        By what the lip-to-lip width of its gaps exceeds their width at the surface, where the product says it.
    """

    making: ProcessMaking
    width: float
    gap: float
    beyond: float | None = None

    @property
    def lips(self) -> float:
        """Lip-to-lip width of its gaps, as the process makes them unless the product says it; NaN where neither does."""
        return self.making.lip_width(self.gap).value if self.beyond is None else self.gap + self.beyond

    @property
    def lip_spread(self) -> float:
        """Standard deviation of the lip-to-lip width of one gap about `lips`; NaN where the product says it."""
        return self.making.lip_width(self.gap).spread if self.beyond is None else np.nan

    def product(self, product: Product) -> Product:
        """A product on this plate.

        Parameters
        ----------
        product : Product
        """
        width, gap, lips = (
            float(size) if np.isfinite(size) else None for size in (self.width, self.gap, self.lips)
        )
        plate = self.making.process or None
        pattern = replace(product.pattern, plate=plate, plate_width=width, plate_gap=gap, lip_width=lips)
        return replace(product, pattern=pattern)

    def tolerances(self) -> tuple[Tolerance, ...]:
        """By what its features may differ from what is asked for.

        A half-width of √3 standard deviations: `Tolerance` is the half-width of a rectangle (JCGM 100:2008, 4.3.7).
        """
        found = (
            Tolerance("plate_width", step=np.sqrt(3.0) * self.making.width_spread),
            Tolerance("plate_gap", step=np.sqrt(3.0) * self.making.gap_spread, along=("lip_width",)),
            Tolerance("lip_width", step=np.sqrt(3.0) * self.lip_spread),
        )
        sizes = (self.width, self.gap, self.lips)
        return tuple(one for one, size in zip(found, sizes) if np.isfinite([one.step, size]).all())

    def window(self, surfaces: Surfaces, product: Product, study: Study) -> Window:
        """The window of a product on such a plate, which differs from plate to plate.

        Parameters
        ----------
        surfaces : Surfaces
        product : Product
        study : Study

        Raises
        ------
        WindowProblem
            If such a plate was not tried.
        """
        return find_window(surfaces, self.product(product), study, self.tolerances())
