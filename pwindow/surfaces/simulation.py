"""Trials as they could have come out: the layout of a trial, filled with new values from its fitted surfaces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.checks.drift import progress_of
from pwindow.surfaces.model.terms import Design, model_matrices
from pwindow.surfaces.posterior.joint import Growth, deviations
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.press_order import PROGRESS
from pwindow.trials.trial import MeasuredTrial, Trial


@dataclass(frozen=True, kw_only=True)
class Truth:
    """A process that is known: the fitted surfaces and variances, taken as true.

    Attributes
    ----------
    names : tuple of str
        Responses, q of them.
    designs : tuple of Design
    coefficients : tuple of ndarray
    make_ready, print_ : ndarray, shape (q, q)
        Covariance of the effects, where `growths` do not change it.
    feature : ndarray, shape (q,)
        Standard deviation between features of a print.
    section_factor : float
    of_print : Series
        Make-ready of each print of the trial.
    progress : Series or None
        How far through its trial each print was made, where that is known: a drift that is followed depends on it.
    growths : mapping of str to Growth
        How the effects on responses grow with the settings; of those without, they do not.
    """

    names: tuple[str, ...]
    designs: tuple[Design, ...]
    coefficients: tuple[np.ndarray, ...]
    make_ready: np.ndarray
    print_: np.ndarray
    feature: np.ndarray
    section_factor: float
    of_print: pd.Series
    progress: pd.Series | None
    growths: Mapping[str, Growth]

    @classmethod
    def of(cls, surfaces: Surfaces) -> Truth:
        """The fit of a trial as a known process."""
        joint = surfaces.joint
        if joint.draws is None:
            make_ready, print_ = np.zeros_like(joint.spread), joint.spread
        else:
            make_ready, print_ = joint.draws.make_ready.mean(axis=0), joint.draws.print_.mean(axis=0)
        return cls(
            names=joint.names,
            designs=joint.designs,
            coefficients=joint.centres,
            make_ready=make_ready,
            print_=print_,
            feature=np.array(joint.between),
            section_factor=surfaces.section_factor,
            of_print=surfaces.mountings.of_print,
            progress=progress_of(surfaces.trial.prints, surfaces.mountings.declared),
            growths=joint.growths,
        )

    def means(self, rows: pd.DataFrame) -> np.ndarray:
        """Means on the modelled scale, shape (len(rows), q); NaN where a response's covariate is absent."""
        present = {name: rows[name].notna().to_numpy() for design in self.designs for name in design.needs}
        columns = []
        for design, matrix, beta in zip(self.designs, model_matrices(self.designs, rows), self.coefficients):
            known = np.all([present[name] for name in design.needs], axis=0)
            columns.append(np.where(known, matrix @ beta, np.nan))
        return np.column_stack(columns)

    def deviations(self, rows: pd.DataFrame) -> np.ndarray:
        """Size of the effects beside that of `make_ready` and `print_`, shape (len(rows), q)."""
        return deviations(self.names, self.growths, rows)

    def effects(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Effects of new prints in new make-readies where they do not grow, shape (count, q)."""
        return _normal(self.make_ready + self.print_, count, rng)


def simulate_trial(trial: Trial, truth: Truth, rng: np.random.Generator) -> Trial:
    """The same prints, make-readies and features, with new measured values.

    Parameters
    ----------
    trial : Trial
    truth : Truth
    rng : numpy.random.Generator

    Returns
    -------
    Trial
        With a value wherever `trial` has one; gaps bridge as they fall.
    """
    features = trial.features.copy()
    prints = trial.prints
    ready = pd.factorize(truth.of_print.reindex(prints.index))[0]
    effects = _normal(truth.make_ready, ready.max() + 1, rng)[ready] + _normal(truth.print_, len(prints), rng)
    rows = features
    if truth.progress is not None:
        rows = features.assign(**{PROGRESS: features["print"].map(truth.progress)})
    own = effects[prints.index.get_indexer(pd.Index(features["print"]))]
    values = truth.means(rows) + truth.deviations(rows) * own
    centre = pd.DataFrame(values, columns=list(truth.names), index=features.index)
    drawn = centre + truth.feature * rng.standard_normal(values.shape)
    _fill_lines(features, centre, drawn, truth.section_factor, rng)
    if "gap_closure" in truth.names:
        spread = truth.feature[truth.names.index("gap_closure")]
        _fill_gaps(features, centre["gap_closure"], spread, rng)
    return MeasuredTrial(features, trial.pressure_unit, trial.files, trial.notes)


def _normal(covariance: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
    size, turn = np.linalg.eigh(covariance)
    return rng.standard_normal((count, len(covariance))) * np.sqrt(size.clip(min=0.0)) @ turn.T


def _fill_lines(
    features: pd.DataFrame, centre: pd.DataFrame, drawn: pd.DataFrame, factor: float, rng: np.random.Generator
) -> None:
    if {"line_height", "line_width"} <= set(drawn):
        # a stretch that was probed but not profiled has the section of its print
        profiled = features["line_height"].notna() & features["line_width"].notna()
        logs = drawn["line_height"] + drawn["line_width"]
        section = factor * logs.where(profiled, centre["line_height"] + centre["line_width"]).apply(np.exp)
        ratio = np.log(features["section_area"] / (features["line_height"] * features["line_width"]))
        noise = rng.normal(0.0, float(ratio.std()) if ratio.notna().sum() > 1 else 0.0, len(features))
        features["section_area"] = (section * np.exp(noise)).where(features["section_area"].notna())
        if "resistivity" in drawn:
            resistance = np.exp(drawn["resistivity"]) * features["line_length"] * 1e-3 / (section * 1e-12)
            features["resistance"] = resistance.where(features["resistance"].notna())
    for name in ("line_height", "line_width"):
        if name in drawn:
            features[name] = drawn[name].apply(np.exp).where(features[name].notna())


def _fill_gaps(features: pd.DataFrame, mean: pd.Series, spread: float, rng: np.random.Generator) -> None:
    """Inspect as many gaps as before; measure one of the open ones where one was, or would have been."""
    inspected, bridged = features["gaps_inspected"], features["gaps_bridged"].fillna(0.0)
    measured = features["gap"].notna()
    looked_at = measured | (inspected > 0) | (bridged > 0)
    for row in features.index[looked_at]:
        count = int(max(inspected[row] if inspected[row] > 0 else 1, bridged[row], 1))
        gaps = features.at[row, "plate_gap"] - (mean[row] + spread * rng.standard_normal(count))
        open_ = gaps[gaps > 0]
        was_measured = measured[row] or (measured.any() and bridged[row] >= count)
        features.at[row, "gap"] = open_[0] if was_measured and len(open_) else np.nan
        features.at[row, "gaps_inspected"] = count
        features.at[row, "gaps_bridged"] = count - len(open_)
