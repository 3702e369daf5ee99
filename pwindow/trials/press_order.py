"""How far through its trial each print was made: what a drift during the trial is seen by."""

from __future__ import annotations

import numpy as np
import pandas as pd

PROGRESS, IN_FILE = "progress", "in_file"
"""Columns of `Trial.prints`: from 0 for the first print of its trial to 1 for the last, by the time or the order that the
file tells, and by the place in the file."""


def places(prints: pd.DataFrame) -> pd.DataFrame:
    """Where the prints of one trial stand in it.

    Parameters
    ----------
    prints : DataFrame
        One row per print, in the order of the file; with ``time`` or ``order`` where it tells them.

    Returns
    -------
    DataFrame
        Columns `PROGRESS`, missing where not every print has a time or every one an order, and `IN_FILE`.
    """
    told = next((prints[name] for name in ("time", "order") if _tells(prints, name)), None)
    if told is not None and told.name == "order":
        told = told.rank(method="dense")
    missing = pd.Series(np.nan, prints.index)
    place = pd.Series(np.arange(len(prints), dtype=float), prints.index)
    return pd.DataFrame(
        {PROGRESS: missing if told is None else _from_0_to_1(told), IN_FILE: _from_0_to_1(place)}
    )


def _tells(prints: pd.DataFrame, name: str) -> bool:
    return name in prints and bool(prints[name].notna().all()) and prints[name].nunique() > 1


def _from_0_to_1(values: pd.Series) -> pd.Series:
    values = values.astype(float)
    return (values - values.min()) / max(values.max() - values.min(), 1e-300)
