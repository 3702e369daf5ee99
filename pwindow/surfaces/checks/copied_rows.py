"""Features of a print that were entered more than once: they count as separate measurements, and are not."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from pwindow.trials.reduction import CELL_KEYS

_MEASURED = ["line_height", "line_width", "section_area", "gap", "resistance", "printed_radius"]
_LEAST_VALUES = 2  # measured values of a row: a single one may well be the same again
_FEWEST = 3  # rows, of which fewer may be chance where values are rounded


def copied_rows(features: pd.DataFrame) -> Sequence[str]:
    """Prints with rows whose measured values all stand there once more; none where there are hardly any.

    Parameters
    ----------
    features : DataFrame
        As of `Trial.features`.

    Returns
    -------
    sequence of str
        The name of the print for each such row, in the order of the file.
    """
    several = features[features[_MEASURED].notna().sum(axis=1) >= _LEAST_VALUES]
    again = several[several.duplicated([*CELL_KEYS, *_MEASURED])]
    return [] if len(again) < _FEWEST else again["print"].astype(str).tolist()
