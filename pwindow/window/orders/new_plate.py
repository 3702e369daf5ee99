"""A plate that is still to be made: what it is asked to be, and by how much it may differ."""

from __future__ import annotations

from collections.abc import Iterator
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
        """Standard deviation of `lips` from plate to plate; NaN where the product says them."""
        fitted = self.making.lips.fitted
        if self.beyond is not None or fitted is None:
            return np.nan
        return self.making.lip_width(self.gap).shared

    @property
    def between_gaps(self) -> float:
        """Variance of printed gaps between the gaps of one such plate, µm²: they print by as much wider as they are."""
        if not np.isfinite(self.gap):
            return 0.0
        fitted = self.making.lips.fitted
        lips = 0.0 if self.beyond is not None or fitted is None else fitted.components.feature
        return self.making.gap.spreads.feature.sd**2 + lips

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
        """By what it may differ from what is asked for: its line, and all of its gaps together.

        A half-width of √3 standard deviations: `Tolerance` is the half-width of a rectangle (JCGM 100:2008, 4.3.7).
        """
        sizes = {"plate_width": self.width, "plate_gap": self.gap, "lip_width": self.lips}
        found = [
            Tolerance(name, step=np.sqrt(3.0) * spread, along=("lip_width",) * (name == "plate_gap"))
            for name, spread in self._spreads()
            if np.isfinite([spread, sizes[name]]).all()
        ]
        return tuple(found)

    def _spreads(self) -> Iterator[tuple[str, float]]:
        """Of the line, one feature; of gaps and lips, what all of a plate share; and what is not known of the average."""
        making = self.making
        if np.isfinite(self.width):
            line = making.plate_width(making.artwork_width(self.width).value)
            yield "plate_width", line.spread
        if np.isfinite(self.gap):
            gap = making.plate_gap(making.artwork_gap(self.gap).value)
            yield "plate_gap", gap.shared
        yield "lip_width", self.lip_spread

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
        return find_window(surfaces, self.product(product), study, self.tolerances(), self.between_gaps)
