"""From measured features to one mean per print: what the surfaces are fitted to.

A *cell* is one kind of feature on one print: the lines of one plate width and direction, or the
gaps of one plate gap. Most prints have one cell of lines and one of gaps for each plate gap.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from pwindow.surfaces.bridged import cell_closures
from pwindow.surfaces.pooling import pooled_variance
from pwindow.trials.columns import DOME_SECTION_FACTOR
from pwindow.trials.trial import Trial

FACTORS = MappingProxyType({"speed": "log", "cell_volume": "log", "pressure": "linear"})
COVARIATES = MappingProxyType(
    {"plate": "category", "plate_width": "log", "plate_gap": "linear", "direction": "linear"}
)


@dataclass(frozen=True)
class ResponseKind:
    """A modelled response: how it is named, in which unit, and which covariates bear on it."""

    name: str
    label: str
    unit: str
    key: str
    log: bool
    covariates: tuple[str, ...]


_LINE = ("plate", "plate_width", "direction")
KINDS: Mapping[str, ResponseKind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            ResponseKind("line_height", "line height", "µm", "line_height_um", True, _LINE),
            ResponseKind("line_width", "line width", "µm", "line_width_um", True, _LINE),
            ResponseKind("resistivity", "resistivity", "Ω·m", "resistivity_ohm_m", True, _LINE),
            ResponseKind("gap_closure", "gap closure", "µm", "gap_closure_um", False, (*_LINE, "plate_gap")),
        )
    }
)


@dataclass(frozen=True)
class ResponseData:
    """Cell means of one response.

    Attributes
    ----------
    kind : ResponseKind
    cells : DataFrame
        One row per cell: print, make_ready, settings, covariates, ``value`` (mean on the modelled
        scale) and ``count`` (features in the mean).
    feature_variance : float
        Pooled variance between the features of a cell, on the modelled scale.
    feature_df : int
        Degrees of freedom it stands on; 0 where no cell has two features.
    notes : tuple of str
    """

    kind: ResponseKind
    cells: pd.DataFrame
    feature_variance: float = 0.0
    feature_df: int = 0
    notes: tuple[str, ...] = ()

    @property
    def typical_count(self) -> float:
        """Harmonic mean of the number of features in a cell."""
        return float(len(self.cells) / (1.0 / self.cells["count"]).sum())


def section_factor(trial: Trial) -> tuple[float, str]:
    """k = area ÷ (height × width): the median of the measured sections, else 2/3 with a note."""
    features = trial.features
    ratio = (features["section_area"] / (features["line_height"] * features["line_width"])).dropna()
    if len(ratio):
        return float(ratio.median()), f"section factor {ratio.median():.3f} from {len(ratio)} measured areas"
    return DOME_SECTION_FACTOR, "no section area measured: section factor taken as 2/3, a dome"


def response_data(trial: Trial) -> dict[str, ResponseData]:
    """Cell means of every response that the trial measured."""
    data = {}
    for name in ("line_height", "line_width"):
        if trial.features[name].notna().any():
            data[name] = _means(trial, KINDS[name], np.log(trial.features[name]))
    resistivity = _resistivity(trial, data)
    if resistivity is not None:
        data["resistivity"] = resistivity
    closure = _closure(trial)
    if closure is not None:
        data["gap_closure"] = closure
    return data


def _cell_keys(kind: ResponseKind) -> list[str]:
    return ["print", *(name for name in kind.covariates if name != "plate")]


def _means(trial: Trial, kind: ResponseKind, values: pd.Series) -> ResponseData:
    table = trial.features[_cell_keys(kind)].assign(value=values).dropna(subset="value")
    groups = table.groupby(_cell_keys(kind), sort=False, dropna=False)["value"]
    cells = groups.agg(value="mean", count="count").reset_index()
    variance, df = pooled_variance(groups)
    return ResponseData(kind, _with_setups(trial, cells), variance, df)


def _with_setups(trial: Trial, cells: pd.DataFrame) -> pd.DataFrame:
    return cells.join(trial.prints[["make_ready", *FACTORS, "plate"]], on="print")


def _resistivity(trial: Trial, data: dict[str, ResponseData]) -> ResponseData | None:
    """ρ = R k w h ÷ L from the mean section of the lines of the same cell."""
    measured = trial.features["resistance"].notna()
    if not measured.any() or not {"line_height", "line_width"} <= set(data):
        return None
    kind, keys = KINDS["resistivity"], _cell_keys(KINDS["resistivity"])
    features = trial.features
    per_metre = np.log(features["resistance"] / (features["line_length"] * 1e-3))
    result = _means(trial, kind, per_metre)
    area = sum(data[name].cells.set_index(keys)["value"] for name in ("line_height", "line_width"))
    log_area = np.log(section_factor(trial)[0] * 1e-12) + area
    joined = result.cells.join(log_area.rename("log_area"), on=keys)
    lost = joined["log_area"].isna()
    cells = joined.assign(value=joined["value"] + joined["log_area"])[~lost].drop(columns="log_area")
    notes = (
        (f"{lost.sum()} prints have a resistance but no section: not used for resistivity",)
        if lost.any()
        else ()
    )
    if cells.empty:
        return None
    return ResponseData(kind, cells.reset_index(drop=True), result.feature_variance, result.feature_df, notes)


def _closure(trial: Trial) -> ResponseData | None:
    kind = KINDS["gap_closure"]
    if trial.features["gap"].isna().all():
        return None  # counts alone do not say how far a gap has closed
    keys = _cell_keys(kind)
    cells, variance, df, notes = cell_closures(trial.features, keys)
    if cells.empty:
        return None
    return ResponseData(kind, _with_setups(trial, cells), variance, df, notes)
