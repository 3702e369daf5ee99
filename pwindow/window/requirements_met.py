"""Did prints that were made meet what a product requires? As far as it was measured on them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pwindow.product import Requirement
from pwindow.surfaces.responses import response_data
from pwindow.trials.trial import Trial
from pwindow.window.quantities import Quantity
from pwindow.window.window import Window

COLUMNS = ("print", "requirement", "unit", "low", "high", "bridged", "met")
_SLACK = 1e-9


def requirements_met(window: Window, trial: Trial) -> pd.DataFrame:
    """Each requirement on each print of a trial that the product can be printed with.

    Parameters
    ----------
    window : Window
    trial : Trial
        With its measured features.

    Returns
    -------
    DataFrame
        ``print``, ``requirement`` and its ``unit``; ``low`` and ``high``: the print's mean, or the narrowest
        and the widest measured gap at the product's plate gap; ``bridged`` gaps; ``met``. No row where
        nothing was measured that tells it.
    """
    prints = trial.prints[trial.prints["plate"].isin(window.plates) | trial.prints["plate"].isna()]
    means = _means(window, trial)
    rows = []
    for name, plate in prints["plate"].items():
        plate = "" if pd.isna(plate) else str(plate)
        gap, quantities = float(window.patterns[plate]["plate_gap"]), window.limits[plate].quantities
        for requirement in window.product.requirements:
            if requirement.name == "gap":
                rows += _gaps(requirement, trial, str(name), gap)
            else:
                rows += _mean(requirement, quantities[requirement.name], str(name), means)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _means(window: Window, trial: Trial) -> dict[str, pd.Series]:
    """Mean of each response on each print, on the modelled scale."""
    found = {}
    for name, data in response_data(trial, window.surfaces.section_factor).items():
        cells = data.cells.dropna(subset="value")
        weighted = (cells["value"] * cells["count"]).groupby(cells["print"]).sum()
        found[name] = weighted / cells.groupby("print")["count"].sum()
    return found


def _mean(
    requirement: Requirement, quantity: Quantity, name: str, means: dict[str, pd.Series]
) -> Iterator[tuple]:
    told = [means.get(response, pd.Series(dtype=float)).get(name, np.nan) for response in quantity.weights]
    at = float(np.dot(told, list(quantity.weights.values())) + quantity.constant)
    if np.isfinite(at):
        value = float(quantity.natural(at))
        yield (
            name,
            requirement.name,
            requirement.kind.unit,
            value,
            value,
            0,
            _within(requirement, value, value),
        )


def _gaps(requirement: Requirement, trial: Trial, name: str, plate_gap: float) -> Iterator[tuple]:
    rows = trial.features[
        (trial.features["print"] == name) & np.isclose(trial.features["plate_gap"], plate_gap)
    ]
    gaps, bridged = rows["gap"].dropna(), int(rows["gaps_bridged"].fillna(0).sum())
    if len(gaps) or bridged:
        low, high = (0.0 if bridged else float(gaps.min())), float(gaps.max()) if len(gaps) else 0.0
        yield name, "gap", requirement.kind.unit, low, high, bridged, _within(requirement, low, high)


def _within(requirement: Requirement, low: float, high: float) -> bool:
    least, most = requirement.least, requirement.most
    above = least is None or low >= least - _SLACK
    return bool(above and (most is None or high <= most + _SLACK))
