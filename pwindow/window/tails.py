"""What is stated of the worst of more gaps than a trial compares, over the tails that it leaves possible."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd

from pwindow.product import Product
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.conformance import Conformance
from pwindow.window.requirements.extremes import extremes_of_each
from pwindow.window.requirements.limits import product_limits
from pwindow.window.requirements.quantities import gap_count
from pwindow.wording import percent

LEVEL = 0.9


@dataclass(frozen=True)
class TailRange:
    """Joint conformance of a set-up under the tails that a trial leaves possible, equal-tailed at `LEVEL`.

    Attributes
    ----------
    low, high : float
    """

    low: float
    high: float

    def to_dict(self) -> dict[str, float]:
        """As JSON has it."""
        return asdict(self)

    def sentence(self, level: float) -> str:
        """In words; `level` is the assurance level.

        Examples
        --------
        >>> TailRange(0.861, 0.972).sentence(0.95)
        'the trial compares fewer gaps than the part has: 86.1 % to 97.2 %, depending on how extreme the worst gap is'
        """
        return (
            f"the trial compares fewer gaps than the part has: {percent(self.low, level)} to {percent(self.high, level)}, "
            "depending on how extreme the worst gap is"
        )


def beyond_compared(product: Product, surfaces: Surfaces) -> bool:
    """Whether every one of more gaps must meet its limits than the trial can compare within prints."""
    count = gap_count(product, surfaces)
    if count == 1 or "gap_closure" not in surfaces.joint.names or surfaces.counts_only:
        return False
    return count > surfaces.gap_shape.inspected


def tail_range(window: Conformance, setup: pd.DataFrame) -> TailRange | None:
    """The range at one set-up; None where the trial compares as many gaps as the product asks for.

    Parameters
    ----------
    window : Conformance
    setup : DataFrame
        One row, as `Conformance.setups` makes it.
    """
    if not beyond_compared(window.product, window.surfaces):
        return None
    shape, gap = window.surfaces.gap_shape, float(setup["plate_gap"].iloc[0])
    each = extremes_of_each(gap_count(window.product, window.surfaces), shape)
    plate = str(setup["plate"].iloc[0] or "")
    shares = np.empty(len(shape.weights))
    for at in range(len(shares)):
        gaps = each.chosen(np.array(at))
        limits = product_limits(window.product, window.surfaces, window.joint, window.study.ink, gap, gaps)
        shares[at] = replace(window, limits={**window.limits, plate: limits}).joint_conformance(setup)[0]
    order = np.argsort(shares)
    below = np.cumsum(shape.weights[order])
    low, high = np.interp([0.5 - LEVEL / 2, 0.5 + LEVEL / 2], below, shares[order])
    return TailRange(float(low), float(high))
