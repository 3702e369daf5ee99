"""Whether a response drifts while its trial is printed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pwindow.study import MakeReadies
from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design, Factor
from pwindow.surfaces.single.surface import Surface, fit_surface
from pwindow.trials.press_order import IN_FILE, PROGRESS

LEVEL = 0.95
"""Of the interval of a drift."""
_RANK = 1e-7


@dataclass(frozen=True)
class Drift:
    """How a response changes from the first print of a trial to the last, at the same settings.

    Attributes
    ----------
    change, low, high : float
        On the modelled scale, with its interval at `LEVEL`.
    p : float
        Probability of a change as large where there is none.
    """

    change: float
    low: float
    high: float
    p: float

    @classmethod
    def of(cls, surface: Surface) -> Drift:
        """The drift that a surface follows."""
        found = surface.coefficients(LEVEL).to_dict("index")[PROGRESS]
        change, low, high = (
            2.0 * found[name] for name in ("coefficient", "ci_low", "ci_high")
        )  # from -1 to 1
        return cls(change, low, high, found["p"])


def progress_of(prints: pd.DataFrame, declared: MakeReadies) -> pd.Series | None:
    """How far through its trial each print was made, from 0 to 1; None where that is not known.

    Parameters
    ----------
    prints : DataFrame
        As `Trial.prints`.
    declared : MakeReadies
        What the study states, which may be that prints stand in the file in press order.
    """
    for name, known in ((PROGRESS, True), (IN_FILE, declared.in_file_order)):
        if known and name in prints and prints[name].notna().all() and prints[name].nunique() > 1:
            return prints[name].astype(float)
    return None


def drift(data: ResponseData, design: Design, progress: pd.Series) -> Drift | None:
    """The drift of a response beside the terms of its surface; None where the settings follow the order of the prints.

    Variances are estimated beside it: a drift that is left out makes make-readies differ.

    Parameters
    ----------
    data : ResponseData
    design : Design
        Without a drift.
    progress : Series
        As of `progress_of`.
    """
    cells = data.cells.assign(**{PROGRESS: data.cells["print"].map(progress).to_numpy(float)})
    drifting = Design((*design.factors, Factor(PROGRESS, "progress", 0.0, 1.0)), (*design.terms, (PROGRESS,)))
    matrix = drifting.matrix(cells)
    full = np.linalg.matrix_rank(matrix, tol=_RANK * np.linalg.norm(matrix, 2)) == matrix.shape[1]
    if not full or data.cells["print"].nunique() <= matrix.shape[1]:
        return None
    return Drift.of(fit_surface(replace(data, cells=cells), drifting))
