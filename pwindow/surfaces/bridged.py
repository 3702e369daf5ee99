"""Mean gap closure of a cell when some of its gaps are bridged.

A bridged gap has closed by at least the plate gap: it is a censored closure, not a missing one.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import optimize
from scipy.special import log_ndtr, ndtri

from pwindow.surfaces.pooling import pooled_variance


def cell_closures(
    features: pd.DataFrame, keys: list[str]
) -> tuple[pd.DataFrame, float, int, tuple[str, ...]]:
    """Mean closure of each cell of gaps.

    Parameters
    ----------
    features : DataFrame
        Features of a trial, in the project's units.
    keys : list of str
        Columns that make a cell.

    Returns
    -------
    cells : DataFrame
        Keys, ``value`` (mean closure, µm) and ``count`` (features it stands on).
    feature_variance : float
        Pooled variance of the measured closures in a cell, µm².
    feature_df : int
    notes : tuple of str
    """
    seen = features["gap"].notna() | (features["gaps_bridged"] > 0)
    table = features.loc[seen, [*keys, "gap", "gaps_inspected", "gaps_bridged"]]
    bridged = table["gaps_bridged"].fillna(0.0)
    unmeasured = (table["gaps_inspected"].fillna(0.0) - bridged - table["gap"].notna()).clip(lower=0.0)
    closure = table["plate_gap"] - table["gap"]
    groups = table.assign(closure=closure, bridged=bridged, unmeasured=unmeasured).groupby(
        keys, sort=False, dropna=False
    )
    variance, df = pooled_variance(groups["closure"])
    cells = groups.agg(
        value=("closure", "mean"),
        measured=("closure", "count"),
        bridged=("bridged", "sum"),
        unmeasured=("unmeasured", "sum"),
    ).reset_index()
    notes = _fill_censored(cells, np.sqrt(variance))
    cells["count"] = cells["measured"] + cells["bridged"]
    return cells.drop(columns=["bridged", "measured", "unmeasured"]), variance, df, notes


def _fill_censored(cells: pd.DataFrame, spread: float) -> tuple[str, ...]:
    """Replace the mean of the open gaps by the mean of all gaps, where some are bridged."""
    partly = cells["bridged"] > 0
    wholly = partly & (cells["measured"] + cells["unmeasured"] == 0)
    cells.loc[partly, "value"] = [
        censored_mean(
            cell.value, cell.measured, cell.bridged, cell.plate_gap, spread, unmeasured=cell.unmeasured
        )
        for cell in cells[partly].itertuples()
    ]
    notes = []
    if partly.any():
        notes.append(f"{int(cells['bridged'].sum())} bridged gaps count as closed by at least the plate gap")
    if wholly.any():
        notes.append(
            f"{wholly.sum()} sets of gaps are bridged throughout: their closure is taken as just large "
            "enough for that, so beyond them the closure surface is a lower bound"
        )
    return tuple(notes)


def censored_mean(
    open_mean: float, measured: float, bridged: float, plate_gap: float, spread: float, unmeasured: float = 0
) -> float:
    """Most likely mean closure, µm, of gaps of which some are bridged.

    Maximises the censored normal likelihood (Tobin 1958, Econometrica 26, 24-36) with a known
    spread. Where nothing is open it has no maximum: the mean at which all `bridged` gaps close
    with probability one half is returned.

    Parameters
    ----------
    open_mean : float
        Mean closure of the measured gaps, µm; not used where `measured` is 0.
    measured, bridged, unmeasured : float
        Number of measured (open), of bridged, and of open but not measured gaps.
    plate_gap : float
        Gap on the plate, µm.
    spread : float
        Standard deviation of closure between gaps, µm.

    Examples
    --------
    >>> censored_mean(40.0, 3, 0, 50.0, 2.0)
    40.0
    >>> 46.0 < censored_mean(46.0, 3, 1, 50.0, 2.0) < 50.0
    True
    """
    if bridged == 0:
        return float(open_mean)
    if measured == 0:
        open_mean = plate_gap
    if spread == 0.0:
        return float((measured * open_mean + bridged * plate_gap) / (measured + bridged))
    if measured + unmeasured == 0:
        return float(plate_gap + spread * ndtri(0.5 ** (1.0 / bridged)))

    def misfit(mean: float) -> float:
        beyond = (mean - plate_gap) / spread
        squares = measured * (open_mean - mean) ** 2 / (2 * spread**2)
        return squares - bridged * log_ndtr(beyond) - unmeasured * log_ndtr(-beyond)

    ends = (min(open_mean, plate_gap) - 6 * spread, plate_gap + 6 * spread)
    return float(optimize.minimize_scalar(misfit, bounds=ends, method="bounded").x)
