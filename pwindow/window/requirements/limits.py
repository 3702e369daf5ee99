"""Requirements as straight-line limits on the responses: lower ≤ a'Y + c + e ≤ upper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pwindow.product import Product, Requirement
from pwindow.study import Ink
from pwindow.surfaces.posterior.joint import JointSurfaces
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.requirements.extremes import ONE_GAP, Extremes
from pwindow.window.requirements.quantities import Errors, Quantity, gap_count, quantity, worst_of


@dataclass(frozen=True)
class Limit:
    """One requirement's bounds on one quantity, on the modelled scale."""

    requirement: str
    quantity: Quantity
    lower: float = -np.inf
    upper: float = np.inf


@dataclass(frozen=True, kw_only=True)
class Limits:
    """The limits of a product on the responses of a trial.

    Attributes
    ----------
    requirements : tuple of str
    quantities : mapping of str to Quantity
        What each requirement limits, at the print's mean.
    limits : tuple of Limit
    forms : ndarray, shape (k, q)
        Distinct straight lines a; several limits on one line share it.
    errors : ndarray, shape (k, k)
        Covariance of e.
    rows : tuple of int
        The line of each limit.
    """

    requirements: tuple[str, ...]
    quantities: Mapping[str, Quantity]
    limits: tuple[Limit, ...]
    forms: np.ndarray
    errors: np.ndarray
    rows: tuple[int, ...]

    @property
    def line_errors(self) -> tuple[str, ...]:
        """The part of e that each line carries, shape (k,)."""
        return tuple(self.limits[self.rows.index(row)].quantity.error for row in range(len(self.forms)))

    def bounds(self, requirement: str | None = None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Tightest bounds on a'Y + e of one requirement, or of all.

        Returns
        -------
        lines : ndarray of int, shape (j,)
            The lines that are bounded.
        lower, upper : ndarray, shape (j,)
        """
        lower, upper = np.full(len(self.forms), -np.inf), np.full(len(self.forms), np.inf)
        used = set()
        for row, limit in zip(self.rows, self.limits):
            if requirement in (None, limit.requirement):
                used.add(row)
                lower[row] = max(lower[row], limit.lower - limit.quantity.constant)
                upper[row] = min(upper[row], limit.upper - limit.quantity.constant)
        lines = np.array(sorted(used))
        return lines, lower[lines], upper[lines]


def product_limits(
    product: Product,
    surfaces: Surfaces,
    joint: JointSurfaces,
    ink: Ink,
    plate_gap: float,
    gaps: Extremes | None = None,
) -> Limits:
    """Turn a product's requirements into limits.

    Parameters
    ----------
    product : Product
    surfaces : Surfaces
    joint : JointSurfaces
        The surfaces' joint predictive, as the product's gaps need it.
    ink : Ink
    plate_gap : float
        µm; NaN where no gap is required.
    gaps : Extremes, optional
        How far off the worst of the product's gaps lies; by what the trial tells unless given.

    Raises
    ------
    WindowProblem
        If the trial cannot judge a requirement.
    """
    count = gap_count(product, surfaces)
    if gaps is None:
        gaps = ONE_GAP if count == 1 else Extremes.of(count, surfaces.gap_shape)
    quantities = {
        requirement.name: quantity(requirement, product, surfaces, ink, plate_gap)
        for requirement in product.requirements
    }
    limits = [
        limit
        for requirement in product.requirements
        for limit in _limits_on(requirement, quantities[requirement.name], joint, count, gaps)
    ]
    lines = {_line(limit.quantity): limit.quantity for limit in limits}
    order = list(lines)
    responses = joint.names
    return Limits(
        requirements=tuple(quantities),
        quantities=quantities,
        limits=tuple(limits),
        forms=np.array([[line.weights.get(name, 0.0) for name in responses] for line in lines.values()]),
        errors=Errors.of(joint, ink, gaps).covariance([line.error for line in lines.values()]),
        rows=tuple(order.index(_line(limit.quantity)) for limit in limits),
    )


def _line(item: Quantity) -> tuple:
    return tuple(sorted(item.weights.items())), item.error


def _limits_on(
    requirement: Requirement, item: Quantity, joint: JointSurfaces, count: float, gaps: Extremes
) -> list[Limit]:
    least = None if requirement.least is None else item.modelled(requirement.least)
    most = None if requirement.most is None else item.modelled(requirement.most)
    if requirement.name == "gap":
        spread = joint.between[joint.names.index("gap_closure")]
        most_closed, least_closed = worst_of(item, count, gaps, spread)
        found = [] if least is None else [Limit("gap", most_closed, upper=least)]
        return found if most is None else [*found, Limit("gap", least_closed, lower=most)]
    if item.falling:
        least, most = most, least
    return [
        Limit(requirement.name, item, -np.inf if least is None else least, np.inf if most is None else most)
    ]
