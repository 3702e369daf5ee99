"""What features reduce to: counts, means and squares of each kind of feature on each print.

A *cell* is one kind of feature on one print: the lines of one plate width and direction, the gaps of one plate gap and
lip-to-lip width, or the corners of one radius on the plate. Surfaces are fitted to cells, and never look at single features.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pwindow.trials.columns import CORNERS, RAGGEDNESS

LINE_KEYS = ["print", "plate_width", "direction"]
GAP_KEYS = [*LINE_KEYS, "plate_gap", "lip_width"]
CORNER_KEYS = ["print", "corner", "corner_radius"]
CELL_KEYS = [*GAP_KEYS, *CORNER_KEYS[1:]]
_LOGARITHMS = ["line_height", "line_width"]
STATISTICS = [
    "count",
    "mean",
    "squares",
    "bridged",
    "unmeasured",
    "gap_length",
    "error",
    "raggedness",
    "correlation",
]


def reduce_features(features: pd.DataFrame) -> pd.DataFrame:
    """The cells of a table of features.

    Parameters
    ----------
    features : DataFrame
        Features of a trial, in the project's units.

    Returns
    -------
    DataFrame
        One row per cell and quantity, in the order of their first features: the keys of the cell,
        ``quantity``, and

        - ``count``, ``mean``, ``squares``: number of measured values, their mean, and the sum of squares
          about it. Of the quantities ``line_height``, ``line_width`` (logarithms of µm), ``per_section``
          (logarithm of resistance over length times height times width, Ω µm²/m; a cell with a
          resistance and no section has a count of 0), ``section_ratio`` (area over height times
          width; its mean is a median), ``gap_closure`` (µm), and ``inner_radius`` and ``outer_radius`` (logarithms of
          printed radii of corners, µm).
        - ``bridged``, ``unmeasured``: numbers of gaps that are bridged, and that are open and not
          measured; 0 for lines.
        - ``gap_length``: the shortest, mm.
        - ``raggedness``, ``correlation``: mean variance of a gap's width along it, µm², and the mean distance at which
          widths are alike, µm, where they are told.
        - ``error``: mean square of the standard uncertainties of the measured values, where they are told.
    """
    logs = features[_LOGARITHMS].apply(np.log)
    ratio = features["section_area"] / (features["line_height"] * features["line_width"])
    probed = features["resistance"].notna()
    parts = [
        *(
            _lines(features, name, logs[name].dropna(), error=features[f"u_{name}"] / features[name])
            for name in _LOGARITHMS
        ),
        _lines(features, "per_section", _per_section(features, logs)[probed]),
        _lines(features, "section_ratio", ratio.dropna(), middle="median"),
        _gaps(features),
        *(_corners(features, corner) for corner in CORNERS),
    ]
    cells = pd.concat([part for part in parts if len(part)], ignore_index=True)
    cells = cells.reindex(columns=[*CELL_KEYS, "quantity", *STATISTICS])
    return cells.fillna({"bridged": 0.0, "unmeasured": 0.0})


def _lines(
    features: pd.DataFrame,
    quantity: str,
    values: pd.Series,
    middle: str = "mean",
    error: pd.Series | None = None,
) -> pd.DataFrame:
    squared = np.nan if error is None else error.loc[values.index] ** 2
    table = features.loc[values.index, LINE_KEYS].assign(value=values, error=squared)
    groups = table.groupby(LINE_KEYS, sort=False, dropna=False)
    return (
        groups.agg(
            count=("value", "count"),
            mean=("value", middle),
            squares=("value", "var"),
            error=("error", "mean"),
        )
        .reset_index()
        .pipe(_squared)
        .assign(quantity=quantity)
    )


def _per_section(features: pd.DataFrame, logs: pd.DataFrame) -> pd.Series:
    """By the section of the probed stretch, else by the mean section of its cell."""
    keys = [features[name] for name in LINE_KEYS]
    of_cell = sum(logs[name].groupby(keys, dropna=False).transform("mean") for name in logs)
    section = logs.sum(axis=1, skipna=False).fillna(of_cell)
    return np.log(features["resistance"] / (features["line_length"] * 1e-3)) + section


def _gaps(features: pd.DataFrame) -> pd.DataFrame:
    seen = features["gap"].notna() | (features["gaps_inspected"] > 0) | (features["gaps_bridged"] > 0)
    names = ["gap", "gap_length", "gaps_inspected", "gaps_bridged", "u_gap", *RAGGEDNESS]
    table = features.loc[seen, [*GAP_KEYS, *names]].assign(lip_width=_lip_widths(features)[seen])
    bridged = table["gaps_bridged"].fillna(0.0)
    unmeasured = (table["gaps_inspected"].fillna(0.0) - bridged - table["gap"].notna()).clip(lower=0.0)
    value, error = table["plate_gap"] - table["gap"], table["u_gap"] ** 2
    ragged = table["gap_raggedness"] ** 2
    table = table.assign(value=value, bridged=bridged, unmeasured=unmeasured, error=error, raggedness=ragged)
    cells = table.groupby(GAP_KEYS, sort=False, dropna=False).agg(
        count=("value", "count"),
        mean=("value", "mean"),
        squares=("value", "var"),
        bridged=("bridged", "sum"),
        unmeasured=("unmeasured", "sum"),
        gap_length=("gap_length", "min"),
        error=("error", "mean"),
        raggedness=("raggedness", "mean"),
        correlation=("gap_correlation", "mean"),
    )
    return cells.reset_index().pipe(_squared).assign(quantity="gap_closure")


def _lip_widths(features: pd.DataFrame) -> pd.Series:
    """Lip-to-lip widths of gaps; of one without lips on a print that has others with lips, its width at the surface."""
    with_lips = features["lip_width"].notna().groupby(features["print"]).transform("any")
    return features["lip_width"].fillna(features["plate_gap"].where(with_lips))


def _corners(features: pd.DataFrame, corner: str) -> pd.DataFrame:
    seen = features["printed_radius"].notna() & (features["corner"] == corner)
    if not seen.any():  # of no rows and keys that are all missing, pandas makes a group
        return pd.DataFrame()
    table = features.loc[seen, CORNER_KEYS].assign(value=np.log(features["printed_radius"]))
    cells = table.groupby(CORNER_KEYS, sort=False, dropna=False).agg(
        count=("value", "count"), mean=("value", "mean"), squares=("value", "var")
    )
    return cells.reset_index().pipe(_squared).assign(quantity=f"{corner}_radius")


def _squared(cells: pd.DataFrame) -> pd.DataFrame:
    """Variances turned into sums of squares."""
    freedom = (cells["count"] - 1).clip(lower=0)
    return cells.assign(squares=cells["squares"].fillna(0.0) * freedom)
