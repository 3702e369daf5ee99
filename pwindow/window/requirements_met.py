"""Did prints that were made meet what a product requires? As far as it was measured on them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pwindow.product import Requirement
from pwindow.surfaces.responses import response_data
from pwindow.trials.trial import Trial
from pwindow.window.pattern import same_on_plate
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
        nothing was measured that tells it; NaN where counts of open gaps alone tell it.
    """
    means, plates = _means(window, trial), printable(window, trial.prints)["plate"]
    rows = []
    for name, plate in plates.items():
        gap, quantities = float(window.patterns[plate]["plate_gap"]), window.limits[plate].quantities
        for requirement in window.product.requirements:
            if requirement.name == "gap":
                rows += _gaps(requirement, trial, str(name), gap)
            else:
                rows += _mean(requirement, quantities[requirement.name], str(name), means)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def printable(window: Window, prints: pd.DataFrame) -> pd.DataFrame:
    """Prints on a plate process that the product can be judged for; "" where a print names none."""
    named = prints.assign(plate=prints["plate"].astype(object).where(prints["plate"].notna(), ""))
    return named[named["plate"].isin(window.plates)]


def _means(window: Window, trial: Trial) -> dict[str, pd.Series]:
    """Mean of each response on each print, on the modelled scale, of lines as the product has them."""
    found, pattern = {}, window.product.pattern
    for name, data in response_data(trial, window.surfaces.section_factor).items():
        cells = data.cells.dropna(subset="value")
        for covariate in ("plate_width", "direction"):
            asked = getattr(pattern, covariate)
            if asked is not None:
                cells = cells[cells[covariate].isna() | same_on_plate(cells[covariate], asked)]
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
    own = (trial.features["print"] == name) & same_on_plate(trial.features["plate_gap"], plate_gap)
    rows, unit = trial.features[own], requirement.kind.unit
    gaps, bridged = rows["gap"].dropna(), int(rows["gaps_bridged"].fillna(0).sum())
    if len(gaps) or bridged:
        low, high = (0.0 if bridged else float(gaps.min())), float(gaps.max()) if len(gaps) else 0.0
        short = bridged > 0 and requirement.least is not None
        yield name, "gap", unit, low, high, bridged, not short and _within(requirement, low, high)
    elif rows["gaps_inspected"].sum() > 0 and requirement.least == 0.0 and requirement.most is None:
        yield name, "gap", unit, np.nan, np.nan, 0, True


def _within(requirement: Requirement, low: float, high: float) -> bool:
    least, most = requirement.least, requirement.most
    above = least is None or low >= least - _SLACK
    return bool(above and (most is None or high <= most + _SLACK))
