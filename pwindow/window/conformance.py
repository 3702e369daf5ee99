"""How probably a product's requirements are met at set-ups, on a trial's surfaces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pwindow.product import Product
from pwindow.study import Roll, Study
from pwindow.surfaces.model.responses import FACTORS
from pwindow.surfaces.posterior.joint import JointSurfaces
from pwindow.surfaces.single.intervals import intervals, turned
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.probability.rectangle import POINTS, rectangle_probability
from pwindow.window.requirements.limits import Limits, product_limits
from pwindow.window.requirements.pattern import PlatePattern
from pwindow.window.requirements.quantities import Quantity
from pwindow.window.requirements.tolerances import Tolerance, drifts


@dataclass(frozen=True)
class LimitPredictive:
    """Predictive distribution of the quantities that are limited, at m set-ups.

    Attributes
    ----------
    mean : ndarray, shape (m, k)
    scale : ndarray, shape (m, k, k)
    df : float
    """

    mean: np.ndarray
    scale: np.ndarray
    df: float


@dataclass(frozen=True, kw_only=True)
class Conformance:
    """How probably a product's requirements are met, for the next run.

    Attributes
    ----------
    surfaces : Surfaces
    product : Product
    study : Study
    patterns : mapping of str to PlatePattern
        For each plate process the covariates at which the product is judged.
    joint : JointSurfaces
        The surfaces' joint predictive, as the product's gaps need it.
    limits : mapping of str to Limits
        For each plate process.
    tolerances : tuple of Tolerance
    notes : tuple of str
        What the reader of a probability must know.
    """

    surfaces: Surfaces
    product: Product
    study: Study
    patterns: Mapping[str, PlatePattern]
    joint: JointSurfaces
    limits: Mapping[str, Limits]
    tolerances: tuple[Tolerance, ...]
    notes: tuple[str, ...]

    @property
    def level(self) -> float:
        """Joint conformance probability that the assured window must reach."""
        return self.product.assurance.level

    @property
    def confidence(self) -> float | None:
        """Confidence with which a set-up must reach the level; None where none is asked for."""
        return self.product.assurance.confidence

    @property
    def least_stated(self) -> float:
        """The joint conformance below which no set-up is assured.

        What reaches the level under a share of all possible processes averages at least that share of it.
        """
        return self.level if self.confidence is None else self.level * self.confidence

    @property
    def plates(self) -> tuple[str, ...]:
        """Plate processes the product can be judged for; "" where the trial names none."""
        return tuple(self.patterns)

    @cached_property
    def rolls(self) -> tuple[Roll, ...]:
        """The roll inventory: the study's, else the rolls of the trial."""
        rolls = self.study.rolls or self.surfaces.trial.rolls
        return tuple(sorted(rolls, key=lambda roll: roll.cell_volume))

    def roll(self, identity: str) -> Roll:
        """The roll of the inventory that has an id; LookupError where none has."""
        found = {roll.id: roll for roll in self.rolls}
        return found[identity]

    def setups(
        self, plate: str, speed: ArrayLike, cell_volume: ArrayLike, pressure: ArrayLike
    ) -> pd.DataFrame:
        """Set-ups of the product on one plate process; numbers or arrays of one length.

        Parameters
        ----------
        plate : str
        speed : float or array, m/min
        cell_volume : float or array, cm³/m²
        pressure : float or array, in the trial's unit of pressure
        """
        numbers = np.broadcast_arrays(*np.atleast_1d(speed, cell_volume, pressure))
        settings = dict(zip(FACTORS, (np.array(values, float) for values in numbers)))
        return pd.DataFrame({**settings, **self.patterns[plate]})

    def conformance(self, setups: pd.DataFrame, points: int = POINTS) -> pd.DataFrame:
        """Conformance probabilities of the next run at set-ups of one plate process.

        Parameters
        ----------
        setups : DataFrame
            As `setups` makes them, all of one plate process.
        points : int
            Points of the integration lattice.

        Returns
        -------
        DataFrame
            ``joint`` and one column for each requirement, between 0 and 1.
        """
        found = self.conformance_alone(setups, points)
        found.insert(0, "joint", self.joint_conformance(setups, points))
        return found

    def conformance_alone(self, setups: pd.DataFrame, points: int = POINTS) -> pd.DataFrame:
        """Conformance probability of each requirement by itself, in a column of its name; as of `conformance`."""
        limits, found = self.limits_for(setups), self.predictive(setups)
        names = limits.requirements
        return pd.DataFrame({name: conformance_probability(found, limits, name, points) for name in names})

    def joint_conformance(self, setups: pd.DataFrame, points: int = POINTS, least: float = 0.0) -> np.ndarray:
        """Joint conformance probability alone, shape (m,).

        Parameters
        ----------
        setups : DataFrame
            As `setups` makes them, all of one plate process.
        points : int
            Points of the integration lattice.
        least : float
            What is surely lower need not be exact; see `rectangle_probability`.
        """
        found, limits = self.predictive(setups), self.limits_for(setups)
        return conformance_probability(found, limits, None, points, least)

    def margin_of_means(self, plate: str, mean: np.ndarray) -> np.ndarray:
        """How far inside every limit the predicted means are, in standard deviations; shape (m,).

        The nominal window is where it is not negative. The worst of N gaps is not counted against
        the mean gap here: these are means.

        Parameters
        ----------
        plate : str
        mean : ndarray, shape (m, k)
            As `predictive` finds it at set-ups with the product's plate gap.
        """
        limits = self.limits[plate]
        spread = np.sqrt(np.einsum("ki,ij,kj->k", limits.forms, self.joint.spread, limits.forms))
        margins = []
        for row, limit in zip(limits.rows, limits.limits):
            at = mean[:, row] + limits.quantities[limit.requirement].constant
            margins += [(limit.upper - at) / spread[row], (at - limit.lower) / spread[row]]
        return np.min(margins, axis=0)

    def in_trial_region(self, setups: pd.DataFrame) -> np.ndarray:
        """Whether each set-up lies in the trial region, shape (m,)."""
        return self.surfaces.region.contains(setups)

    def quantities(self, setups: pd.DataFrame, level: float = 0.95) -> dict[str, pd.DataFrame]:
        """What each requirement limits, predicted in its own unit.

        Returns
        -------
        dict of str to DataFrame
            By requirement: columns as of `intervals`.
        """
        return self.predict(self.limits_for(setups).quantities, setups, level)

    def predict(
        self,
        quantities: Mapping[str, Quantity],
        setups: pd.DataFrame,
        level: float = 0.95,
        *,
        most: bool = True,
    ) -> dict[str, pd.DataFrame]:
        """Quantities of the next print at set-ups, each in its own unit.

        Parameters
        ----------
        quantities : mapping of str to Quantity
        setups : DataFrame
            As `setups` makes them, all of one plate process.
        level : float, default 0.95
            Of the intervals.
        most : bool, default True
            Whether to give ``most_low`` and ``most_high`` too, which take longer than all else.

        Returns
        -------
        dict of str to DataFrame
            By name: columns as of `intervals`.
        """
        joint = self.joint
        found = joint.predict(setups)
        frames = {}
        for name, quantity in quantities.items():
            weights = np.array([quantity.weights.get(response, 0.0) for response in joint.names])
            mean = found.mean @ weights + quantity.constant
            total = np.einsum("i,mij,j->m", weights, found.scale, weights)
            own = np.einsum("i,mij,j->m", weights, found.spread, weights)
            stated = self.study.ink.resistivity_spread**2 if quantity.error == "ink" else 0.0
            of_mean = (total - own).clip(min=0.0)
            columns = intervals(mean, of_mean, own + stated, joint.df, joint.df, level, most=most)
            if quantity.falling:
                columns = turned(columns)
            if name == "gap" and self.surfaces.counts_only:
                columns = dict.fromkeys(columns, np.full(len(setups), np.nan))
            frames[name] = pd.DataFrame({key: quantity.natural(values) for key, values in columns.items()})
        return frames

    def predictive(self, setups: pd.DataFrame) -> LimitPredictive:
        """Predictive distribution of the limited quantities, set-up tolerances included.

        A tolerance is a rectangular distribution, whose standard deviation is its half-width over √3
        (JCGM 100:2008, 4.3.7).
        """
        limits = self.limits_for(setups)
        found = self.joint.predict(setups)
        mean = found.mean @ limits.forms.T
        scale = limits.forms @ found.scale @ limits.forms.T + limits.errors
        for drift in drifts(self.tolerances, self.joint, setups):
            moved = drift @ limits.forms.T / np.sqrt(3.0)
            scale += moved[:, :, None] * moved[:, None, :]
        return LimitPredictive(mean, scale, found.df)

    def limits_for(self, setups: pd.DataFrame) -> Limits:
        """Limits at the plate gap of the set-ups, which is the product's unless they say another."""
        plate, gap = str(setups["plate"].iloc[0] or ""), float(setups["plate_gap"].iloc[0])
        if np.isclose(gap, self.patterns[plate]["plate_gap"], equal_nan=True):
            return self.limits[plate]
        return product_limits(self.product, self.surfaces, self.joint, self.study.ink, gap)


def conformance_probability(
    predictive: LimitPredictive,
    limits: Limits,
    requirement: str | None = None,
    points: int = POINTS,
    least: float = 0.0,
) -> np.ndarray:
    """Probability that one requirement, or all of them, hold at each of m set-ups, shape (m,).

    Parameters
    ----------
    predictive : LimitPredictive
        At the m set-ups, all of one plate process.
    limits : Limits
        Of that plate process.
    requirement : str, optional
        All together unless one is named.
    points : int
        Points of the integration lattice; see `rectangle_probability`.
    least : float
        What is surely lower need not be exact.
    """
    lines, lower, upper = limits.bounds(requirement)
    return rectangle_probability(
        lower,
        upper,
        predictive.mean[:, lines],
        predictive.scale[:, lines][:, :, lines],
        predictive.df,
        points,
        least=least,
    )
