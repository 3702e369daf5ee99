"""Settings whose effect has a direction that printing does not show.

More ink and more pressure spread a line and close its gaps; a film falls with speed and rises with the volume of the
roll (common practice, no source). A surface that says otherwise is one of a trial with a wrong setting or unit more often
than one of a press.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from pwindow.surfaces.model.terms import model_matrices
from pwindow.surfaces.posterior.processes import Processes

EXPECTED: Mapping[tuple[str, str], int] = {
    ("line_height", "speed"): -1,
    ("line_height", "cell_volume"): 1,
    ("line_width", "pressure"): 1,
    ("line_width", "cell_volume"): 1,
    ("gap_closure", "pressure"): 1,
    ("gap_closure", "cell_volume"): 1,
}
"""Whether a response rises (1) or falls (-1) with a setting."""
SURE = 0.95
"""Posterior probability of the other direction from which on it is told."""


@dataclass(frozen=True)
class Unexpected:
    """A response that goes the other way with a setting.

    Attributes
    ----------
    response, setting : str
    rises : bool
        What it does, from the lowest to the highest value of the setting, on average over the tried set-ups.
    probability : float
        Posterior probability that it does.
    """

    response: str
    setting: str
    rises: bool
    probability: float


def unexpected(processes: Processes, cells: Mapping[str, pd.DataFrame]) -> Iterator[Unexpected]:
    """Effects whose direction is not the expected one, with a posterior probability of more than `SURE`.

    Parameters
    ----------
    processes : Processes
    cells : mapping of str to DataFrame
        Of each response, at whose set-ups effects are averaged.
    """
    for at, (response, design) in enumerate(zip(processes.joint.names, processes.joint.designs)):
        for factor in design.factors:
            sign = EXPECTED.get((response, factor.name))
            if sign is None:
                continue
            ends = [cells[response].assign(**{factor.name: value}) for value in (factor.low, factor.high)]
            low, high = (model_matrices((design,), end)[0].mean(axis=0) for end in ends)
            probability = float((sign * (processes.coefficients[at] @ (high - low)) < 0.0).mean())
            if probability > SURE:
                yield Unexpected(response, factor.name, sign < 0, probability)
