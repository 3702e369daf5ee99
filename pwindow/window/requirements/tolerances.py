"""How far a setting may deviate from what is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.errors import UnitProblem, WindowProblem
from pwindow.product import Product
from pwindow.surfaces.posterior.joint import JointSurfaces
from pwindow.surfaces.surfaces import Surfaces
from pwindow.units import read_quantity


@dataclass(frozen=True)
class Tolerance:
    """The most that a setting deviates: a share of the setting, or a step in the trial's unit.

    Attributes
    ----------
    setting : str
    share, step : float
    along : tuple of str
        Other columns of a set-up that move by as much.
    """

    setting: str
    share: float = 0.0
    step: float = 0.0
    along: tuple[str, ...] = ()

    def half_width(self, values: pd.Series) -> pd.Series:
        """The most that settings deviate, in their own unit."""
        return self.share * values + self.step


def drifts(tolerances: Sequence[Tolerance], joint: JointSurfaces, setups: pd.DataFrame) -> np.ndarray:
    """Change of the responses' means when each setting deviates by all of its tolerance.

    Parameters
    ----------
    tolerances : sequence of Tolerance
    joint : JointSurfaces
    setups : DataFrame

    Returns
    -------
    ndarray, shape (len(tolerances), len(setups), q)
        Closure beside the plate gap that is asked for: a plate whose gap is wider closes by that much less.
    """
    if not tolerances:
        return np.zeros((0, len(setups), len(joint.names)))
    copies = {name: np.tile(setups[name].to_numpy(), 2 * len(tolerances)) for name in setups}
    for at, tolerance in enumerate(tolerances):
        half = tolerance.half_width(setups[tolerance.setting])
        moved = np.zeros((len(tolerances), 2, len(setups)))
        moved[at] = -half, half
        for setting in (tolerance.setting, *tolerance.along):
            copies[setting] = copies[setting] + moved.ravel()
    means = joint.means(pd.DataFrame(copies)).reshape(len(tolerances), 2, len(setups), -1)
    found = (means[:, 1] - means[:, 0]) / 2
    for at, tolerance in enumerate(tolerances):
        if tolerance.setting == "plate_gap" and "gap_closure" in joint.names:
            half = tolerance.half_width(setups["plate_gap"])
            found[at, :, joint.names.index("gap_closure")] -= half.to_numpy(float)
    return found


def product_tolerances(product: Product, surfaces: Surfaces) -> tuple[Tolerance, ...]:
    """The tolerances that a product states.

    Raises
    ------
    WindowProblem
        If a tolerance is in another kind of unit than the trial's pressure.
    """
    assurance = product.assurance
    found = (
        Tolerance("speed", share=assurance.speed_tolerance),
        Tolerance("cell_volume", share=assurance.volume_tolerance),
        Tolerance("pressure", step=_pressure_step(product, surfaces.trial.pressure_unit)),
    )
    return tuple(one for one in found if one.share or one.step)


def without_effect(tolerances: tuple[Tolerance, ...], surfaces: Surfaces) -> tuple[str, ...]:
    """A note for each tolerance of a setting that no surface depends on."""
    known = {factor.name for surface in surfaces.by_name.values() for factor in surface.design.factors}
    return tuple(
        f"the trial did not vary {one.setting.replace('_', ' ')}, so the probabilities do not allow for its tolerance"
        for one in tolerances
        if one.setting not in known
    )


def _pressure_step(product: Product, unit: str) -> float:
    stated = product.assurance.pressure_tolerance
    if not stated:
        return 0.0
    try:
        return read_quantity(stated, unit)
    except UnitProblem as problem:
        raise WindowProblem(
            f"pressure_tolerance “{stated}”: the trial's pressure is in {unit}; give the tolerance in that unit"
        ) from problem
