"""The modelled responses of a trial, one mean per cell: what the surfaces are fitted to.

Most prints have one cell of lines and one of gaps for each plate gap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

import numpy as np
import pandas as pd

from pwindow.metrology.raggedness import unseen_by_mean
from pwindow.surfaces.model.censoring import Censored, expected_closures
from pwindow.surfaces.model.terms import Design, Scale
from pwindow.trials.columns import CORNERS, DOME_SECTION_FACTOR
from pwindow.trials.press_order import PROGRESS
from pwindow.trials.reduction import CORNER_KEYS, GAP_KEYS, LINE_KEYS
from pwindow.trials.trial import Trial
from pwindow.wording import METRIC, Units, amount, counted

FACTORS: Mapping[str, Scale] = MappingProxyType({"speed": "log", "cell_volume": "log", "pressure": "linear"})
COVARIATES: Mapping[str, Scale] = MappingProxyType(
    {
        "plate": "category",
        "plate_width": "log",
        "plate_gap": "linear",
        "direction": "angle",
        "lip_width": "linear",
        "corner_radius": "log",
    }
)

STATE: Literal["state"] = "state"
"""Column of the prints of trials that were accepted with an effect of their own: since which of them
the process is in its present state."""


@dataclass(frozen=True, kw_only=True)
class ResponseKind:
    """A modelled response: its name, its unit, and which covariates affect it."""

    name: str
    label: str
    unit: str
    key: str
    log: bool
    covariates: tuple[str, ...]

    def amount(self, shift: float, units: Units = METRIC) -> str:
        """A shift in words: in percent where the logarithm is modelled, else in the unit the response is shown in."""
        shown = units.of(self.unit)
        size = 100.0 * abs(np.expm1(shift)) if self.log else shown.of(abs(float(shift)))
        number = f"{size:.2g}" if size < 99.5 else f"{size:.0f}"
        return f"{number} %" if self.log else f"{number} {shown.name}"


COUNTS_ONLY = (
    "gaps were counted but not measured, so only whether gaps of the tried plate gaps stay open can be judged"
)
RESOLVED = 1e-4
"""Smallest spread, as a share of what is measured, that any instrument resolves (common practice, no source:
a ten-thousandth of a line's width is a few nanometres)."""
_FAR = 4.5  # standard deviations from bridging beyond which an open gap says nothing by being open
_NOMINAL_SPREAD = 0.05  # of the plate gap: the unit of closures known from counts alone
_LINE = ("plate", "plate_width", "direction")
RESPONSE_KINDS: Mapping[str, ResponseKind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            ResponseKind(
                name="line_height",
                label="line height",
                unit="µm",
                key="line_height_um",
                log=True,
                covariates=_LINE,
            ),
            ResponseKind(
                name="line_width",
                label="line width",
                unit="µm",
                key="line_width_um",
                log=True,
                covariates=_LINE,
            ),
            ResponseKind(
                name="resistivity",
                label="resistivity",
                unit="Ω·m",
                key="resistivity_ohm_m",
                log=True,
                covariates=_LINE,
            ),
            ResponseKind(
                name="gap_closure",
                label="gap closure",
                unit="µm",
                key="gap_closure_um",
                log=False,
                covariates=(*_LINE, "plate_gap", "lip_width"),
            ),
            ResponseKind(
                name="inner_radius",
                label="radius of inner corners",
                unit="µm",
                key="inner_radius_um",
                log=True,
                covariates=("plate", "corner_radius"),
            ),
            ResponseKind(
                name="outer_radius",
                label="radius of outer corners",
                unit="µm",
                key="outer_radius_um",
                log=True,
                covariates=("plate", "corner_radius"),
            ),
        )
    }
)


@dataclass(frozen=True, kw_only=True)
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
        Standard deviation between features where none was measured twice.
    settled : bool
        Whether the fit of the censored cells came to its end.
    """

    kind: ResponseKind
    cells: pd.DataFrame
    feature_variance: float = 0.0
    feature_df: int = 0
    notes: tuple[str, ...] = ()
    feature_sd: float | None = None
    settled: bool = True

    @property
    def censored(self) -> bool:
        """Whether some of its features are known only to lie beyond an edge."""
        return "bridged" in self.cells and bool(self.cells[["bridged", "unmeasured"]].to_numpy().any())

    @property
    def resolved(self) -> float:
        """Smallest spread on the modelled scale that any instrument resolves."""
        return RESOLVED * (1.0 if self.kind.log else float(self.cells["plate_gap"].min()))

    @property
    def copied(self) -> bool:
        """Whether the features of each print agree more closely than any instrument measures."""
        return self.feature_variance < self.resolved**2

    @property
    def typical_count(self) -> float:
        """Harmonic mean of the number of features in a cell."""
        return float(len(self.cells) / (1.0 / self.cells["count"]).sum())


def section_factor(trial: Trial) -> tuple[float, str]:
    """k = area ÷ (height × width): the median of the prints, else 2/3 with a note."""
    ratios = trial.of_quantity("section_ratio")
    if len(ratios):
        middle, areas = float(ratios["mean"].median()), int(ratios["count"].sum())
        return (
            middle,
            f"cross-section area is {middle:.3f} of line height times line width, from {counted(areas, 'measured area', 'measured areas')}",
        )
    return (
        DOME_SECTION_FACTOR,
        "no cross-section area was measured: it is taken as 2/3 of line height times line width (a dome)",
    )


def response_data(
    trial: Trial, factor: float | None = None, progress: pd.Series | None = None
) -> dict[str, ResponseData]:
    """Cell means of every response that the trial measured.

    Parameters
    ----------
    trial : Trial
    factor : float, optional
        Section factor of the lines; that of the trial unless given.
    progress : Series, optional
        How far through its trial each print was made, from 0 to 1, where surfaces are to follow a drift.
    """
    data = {}
    for name in ("line_height", "line_width"):
        data[name] = _means(trial, RESPONSE_KINDS[name], trial.of_quantity(name))
    data["resistivity"] = _resistivity(trial, section_factor(trial)[0] if factor is None else factor)
    data["gap_closure"] = _closure(trial)
    for name in (f"{corner}_radius" for corner in CORNERS):
        data[name] = _means(trial, RESPONSE_KINDS[name], trial.of_quantity(name), CORNER_KEYS)
    return {name: _drifting(found, progress) for name, found in data.items() if found is not None}


def _drifting(data: ResponseData, progress: pd.Series | None) -> ResponseData:
    if progress is None:
        return data
    return replace(
        data, cells=data.cells.assign(**{PROGRESS: data.cells["print"].map(progress).to_numpy(float)})
    )


def _means(
    trial: Trial, kind: ResponseKind, cells: pd.DataFrame, keys: Sequence[str] = LINE_KEYS
) -> ResponseData | None:
    if cells.empty:
        return None
    table = cells[list(keys)].assign(value=cells["mean"], count=cells["count"].astype(int))
    variance, df = _pooled_variance(cells)
    return ResponseData(
        kind=kind,
        cells=_with_setups(trial, table),
        feature_variance=variance,
        feature_df=df,
        notes=_of_measuring(kind, cells, variance),
    )


def _of_measuring(kind: ResponseKind, cells: pd.DataFrame, variance: float) -> tuple[str, ...]:
    """What of the variance between the features of a print is measuring, where its uncertainty is told."""
    told = cells[cells["error"].notna() & (cells["count"] > 0)]
    if told.empty or variance == 0.0:
        return ()
    error = float((told["count"] * told["error"]).sum() / told["count"].sum())
    size = f"{amount(100 * error**0.5)} %" if kind.log else f"{amount(error**0.5)} {kind.unit}"
    if error >= variance:
        return (
            f"{kind.label}: the stated uncertainty of measuring ({size}) is larger than what the features of a print "
            "differ by; check it",
        )
    share = f"{amount(100 * error / variance)} %"
    return (
        f"{kind.label}: measuring error (standard uncertainty {size}) is {share} of the variance between the features of a print; "
        "the fit leaves it in",
    )


def _of_raggedness(cells: pd.DataFrame, variance: float) -> tuple[str, ...]:
    """What of the variance between the gaps of a print is the raggedness that the inspected length does not average out."""
    told = cells[cells["raggedness"].notna() & cells["correlation"].notna() & cells["gap_length"].gt(0.0)]
    if told.empty or variance == 0.0:
        return ()
    deviation, alike = float(told["raggedness"].mean()) ** 0.5, float(told["correlation"].mean())
    length = float(told["gap_length"].min())
    share = deviation**2 * unseen_by_mean(alike, 1e3 * length) / variance
    return (
        f"gap closure: gaps are ragged along their length (standard deviation {amount(deviation)} µm, alike over "
        f"{amount(alike)} µm); {amount(100 * min(share, 1.0))} % of the variance between the gaps of a print is what the inspected "
        f"{amount(length)} mm do not average out of it",
    )


def _with_setups(trial: Trial, cells: pd.DataFrame) -> pd.DataFrame:
    names = [name for name in ("make_ready", *FACTORS, "plate", STATE) if name in trial.prints]
    return cells.join(trial.prints[names], on="print")


def _pooled_variance(cells: pd.DataFrame) -> tuple[float, int]:
    """Variance inside cells, and the degrees of freedom it stands on; 0 where none has two values."""
    df = int((cells["count"] - 1).clip(lower=0).sum())
    return (float(cells["squares"].sum() / df) if df else 0.0), df


def _resistivity(trial: Trial, factor: float) -> ResponseData | None:
    """ρ = R k w h ÷ L."""
    cells = trial.of_quantity("per_section")
    lost = cells.loc[cells["count"] == 0, "print"].nunique()
    without = counted(lost, "print has", "prints have")
    notes = (f"{without} a resistance but no line section: not used for resistivity",) if lost else ()
    cells = cells[cells["count"] > 0]
    cells = cells.assign(mean=cells["mean"] + np.log(factor * 1e-12))
    found = _means(trial, RESPONSE_KINDS["resistivity"], cells.reset_index(drop=True))
    return None if found is None else replace(found, notes=notes)


def _closure(trial: Trial) -> ResponseData | None:
    cells = trial.of_quantity("gap_closure")
    if cells.empty:
        return None
    variance, df = _pooled_variance(cells)
    told = (*_of_measuring(RESPONSE_KINDS["gap_closure"], cells, variance), *_of_raggedness(cells, variance))
    cells = cells.rename(columns={"mean": "value", "count": "measured"})
    cells = cells[[*GAP_KEYS, "value", "measured", "bridged", "unmeasured"]].assign(
        measured_mean=cells["value"], count=cells[["measured", "bridged", "unmeasured"]].sum(axis=1)
    )
    bridged = int(cells["bridged"].sum())
    gaps = counted(bridged, "bridged gap counts", "bridged gaps count")
    notes = [f"{gaps} as closed by at least the plate gap"] if bridged else []
    if not cells["measured"].any():
        notes.append(COUNTS_ONLY)
    notes += [*_without_lips(cells), *told]
    return ResponseData(
        kind=RESPONSE_KINDS["gap_closure"],
        cells=_with_setups(trial, cells),
        feature_variance=variance,
        feature_df=df,
        notes=tuple(notes),
    )


def _without_lips(cells: pd.DataFrame) -> list[str]:
    """That gaps without lips count with their width at the surface, where others have lips."""
    if not (cells["lip_width"] > cells["plate_gap"]).any():
        return []
    gaps = cells.loc[cells["lip_width"] == cells["plate_gap"], "plate_gap"].nunique()
    if not gaps:
        return []
    what = counted(gaps, "plate gap has", "plate gaps have")
    return [f"{what} no lip-to-lip width: it is taken as the width at the surface of the plate"]


def complete(data: ResponseData, design: Design) -> ResponseData:
    """The response with expected means for its censored cells, by a first fit.

    Open gaps that were counted and not measured are kept where being open says something: near
    bridging, or where nothing else is known of the cell.
    """
    if not data.censored:
        return data
    rows, inside = design.matrix(data.cells), data.feature_variance * data.feature_df
    sd = None if data.cells["measured"].any() else _NOMINAL_SPREAD * float(data.cells["plate_gap"].min())
    first = expected_closures(Censored.of(data.cells), rows, inside, sd)
    away = data.cells["plate_gap"] - rows @ first.coefficients
    far = (away > _FAR * first.spread) & (data.cells["measured"] > 0)
    cells = data.cells.assign(unmeasured=data.cells["unmeasured"].mask(far, 0.0))
    cells["count"] = cells[["measured", "bridged", "unmeasured"]].sum(axis=1)
    found = expected_closures(Censored.of(cells), rows, inside, sd)
    return replace(data, cells=cells.assign(value=found.means), feature_sd=sd, settled=found.settled)
