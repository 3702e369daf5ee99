"""From measured features to one mean per print: what the surfaces are fitted to.

A *cell* is one kind of feature on one print: the lines of one plate width and direction, or the
gaps of one plate gap. Most prints have one cell of lines and one of gaps for each plate gap.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import pandas as pd

from pwindow.surfaces.bridged import Censored, closure_cells, expected_closures
from pwindow.surfaces.pooling import pooled_variance
from pwindow.surfaces.terms import Design
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


COUNTS_ONLY = "gaps were counted and none was measured: only whether gaps of the tried plate gaps stay open can be judged"
_FAR = 4.5  # standard deviations from bridging beyond which an open gap says nothing by being open
_NOMINAL_SPREAD = 0.05  # of the plate gap: the unit in which closures known from counts alone are told
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
    feature_sd : float or None
        Standard deviation between features where nothing was measured that tells it.
    """

    kind: ResponseKind
    cells: pd.DataFrame
    feature_variance: float = 0.0
    feature_df: int = 0
    notes: tuple[str, ...] = ()
    feature_sd: float | None = None

    @property
    def censored(self) -> bool:
        """Whether some of its features are known only to lie beyond an edge."""
        return "bridged" in self.cells and bool(self.cells[["bridged", "unmeasured"]].to_numpy().any())

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
    """ρ = R k w h ÷ L, from the section of the probed stretch, else from the mean section of its cell."""
    measured = trial.features["resistance"].notna()
    if not measured.any() or not {"line_height", "line_width"} <= set(data):
        return None
    kind, keys = KINDS["resistivity"], _cell_keys(KINDS["resistivity"])
    features = trial.features[measured]
    of_cell = sum(data[name].cells.set_index(keys)["value"] for name in ("line_height", "line_width"))
    log_area = np.log(features["line_height"] * features["line_width"])
    log_area = log_area.fillna(features[keys].join(of_cell.rename("log_area"), on=keys)["log_area"])
    lost = features.loc[log_area.isna(), "print"].nunique()
    notes = (f"{lost} prints have a resistance but no section: not used for resistivity",) if lost else ()
    if log_area.isna().all():
        return None
    per_metre = np.log(features["resistance"] / (features["line_length"] * 1e-3))
    values = per_metre + log_area + np.log(section_factor(trial)[0] * 1e-12)
    return replace(_means(trial, kind, values.reindex(trial.features.index)), notes=notes)


def _closure(trial: Trial) -> ResponseData | None:
    kind = KINDS["gap_closure"]
    cells, variance, df = closure_cells(trial.features, _cell_keys(kind))
    if cells.empty:
        return None
    cells = cells.assign(
        measured_mean=cells["value"], count=cells[["measured", "bridged", "unmeasured"]].sum(axis=1)
    )
    bridged = int(cells["bridged"].sum())
    notes = [f"{bridged} bridged gaps count as closed by at least the plate gap"] if bridged else []
    if not cells["measured"].any():
        notes.append(COUNTS_ONLY)
    return ResponseData(kind, _with_setups(trial, cells), variance, df, tuple(notes))


def complete(data: ResponseData, design: Design) -> ResponseData:
    """The response with expected means for its censored cells, by a first fit.

    Open gaps that were counted and not measured are kept where being open says something: near
    bridging, or where nothing else is known of the cell.
    """
    if not data.censored:
        return data
    rows, inside = design.matrix(data.cells), data.feature_variance * data.feature_df
    sd = None if data.cells["measured"].any() else _NOMINAL_SPREAD * float(data.cells["plate_gap"].min())
    _, beta, spread = expected_closures(Censored.of(data.cells), rows, inside, sd)
    far = (data.cells["plate_gap"] - rows @ beta > _FAR * spread) & (data.cells["measured"] > 0)
    cells = data.cells.assign(unmeasured=data.cells["unmeasured"].mask(far, 0.0))
    cells["count"] = cells[["measured", "bridged", "unmeasured"]].sum(axis=1)
    means, _, _ = expected_closures(Censored.of(cells), rows, inside, sd)
    return replace(data, cells=cells.assign(value=means), feature_sd=sd)
