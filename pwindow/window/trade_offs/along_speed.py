"""What each roll does along the press speed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from pwindow.study import Roll
from pwindow.window.confidence import reached
from pwindow.window.trade_offs.shown import conformances, predict_shown, shown_quantities
from pwindow.window.window import Window

_SPEEDS = 60


def along_speed(
    window: Window, plate: str, pressure: float, rolls: Sequence[Roll] | None = None, speeds: int = _SPEEDS
) -> pd.DataFrame:
    """Predictions and conformances of each roll along the speeds of the trial region.

    Parameters
    ----------
    window : Window
    plate : str
    pressure : float
        In the trial's unit of pressure.
    rolls : sequence of Roll, optional
        The inventory unless given.
    speeds : int
        Speeds of a roll, evenly spaced by ratio, both ends of the region included.

    Returns
    -------
    DataFrame
        One row per roll × speed: ``roll``, ``planned``, ``cell_volume_cm3_m2``, ``speed_m_min``; for each
        of `shown_quantities` the columns of `predict_shown`; then those of `conformances` and ``assured``.
        No row for a roll outside the trial region.
    """
    keys = [
        key
        for roll in (window.rolls if rolls is None else rolls)
        for key in _keys(window, plate, pressure, roll, speeds)
    ]
    columns = ["roll", "planned", "cell_volume_cm3_m2", "speed_m_min"]
    table = pd.DataFrame(keys, columns=columns)
    setups = window.setups(plate, table["speed_m_min"], table["cell_volume_cm3_m2"], pressure)
    shown = shown_quantities(window, plate)
    if table.empty:
        return table.reindex(columns=[*columns, *(name for one in shown.values() for name in one.columns)])
    chances = conformances(window, setups)
    assured = reached(window, setups, stated=chances["conformance"].to_numpy()) >= window.level
    return pd.concat([table, predict_shown(window, setups, shown), chances], axis=1).assign(assured=assured)


def _keys(window: Window, plate: str, pressure: float, roll: Roll, count: int) -> list[tuple]:
    ends = window.surfaces.region.speed_range(plate, roll.cell_volume, pressure)
    if ends is None:
        return []
    speeds = np.unique(np.clip(np.geomspace(*ends, count), *ends))
    return [(roll.id, roll.planned, roll.cell_volume, speed) for speed in speeds]
