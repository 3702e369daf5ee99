"""All surfaces of a trial, and how they are fitted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import NoneType
from typing import Literal, get_args

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from pwindow.errors import SurfaceProblem, expect, shown
from pwindow.overview import Overview, Viewed
from pwindow.study import MakeReadies
from pwindow.surfaces.checks.checked import Judged, judge
from pwindow.surfaces.checks.drift import Drift, drift, progress_of
from pwindow.surfaces.fingerprint import fit_fingerprint
from pwindow.surfaces.model.departures import bending
from pwindow.surfaces.model.responses import (
    COVARIATES,
    FACTORS,
    RESPONSE_KINDS,
    ResponseData,
    complete,
    response_data,
    section_factor,
)
from pwindow.surfaces.model.terms import Design, label, second_order
from pwindow.surfaces.posterior.gap_shape import GapShape
from pwindow.surfaces.posterior.joint import JointSurfaces, join_responses
from pwindow.surfaces.posterior.make_readies import Mountings
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.surfaces.region import TrialRegion
from pwindow.surfaces.single.spread_growth import SpreadGrowth
from pwindow.surfaces.single.surface import Surface, fit_surface
from pwindow.surfaces.single.term_selection import (
    choose_terms,
    learn_factors,
    make_design,
    refuse_without_spread,
)
from pwindow.trials.press_order import PROGRESS
from pwindow.trials.trial import Trial
from pwindow.wording import Units, counted, listed

Form = Literal["all", "chosen", "bending"]
"""All second-order terms, those chosen from them, or all of them with a smooth correction."""
_FORM_WORDS: Mapping[Form, str] = {
    "all": "second order",
    "chosen": "chosen terms of second order",
    "bending": "second order with a smooth correction",
}


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Surfaces(Viewed):
    """The surfaces of a trial.

    Attributes
    ----------
    trial : Trial
    by_name : mapping of str to Surface
        Keys ``line_height``, ``line_width``, ``resistivity``, ``gap_closure`` as measured.
    joint : JointSurfaces
        The joint predictive distribution of all responses.
    judged : mapping of str to Judged
        What the checks say; without the responses that cannot be checked.
    mountings : Mountings
        Which prints shared a make-ready, and whether the trial shows how much make-readies differ.
    section_factor : float
        k, area over height times width.
    region : TrialRegion
    drifts : mapping of str to Drift
        How responses change during the trial, where the order of the prints is known and the drift can be estimated.
    form_notes : tuple of str
        Which columns and terms were left out, and the section factor used.
    terms : str
        As `fit` was asked for them.
    left_out : tuple of str
    """

    trial: Trial
    by_name: Mapping[str, Surface]
    joint: JointSurfaces
    judged: Mapping[str, Judged]
    mountings: Mountings
    section_factor: float
    region: TrialRegion
    drifts: Mapping[str, Drift]
    form_notes: tuple[str, ...]
    terms: Form = "all"
    left_out: tuple[str, ...] = ()

    @property
    def fingerprint(self) -> str:
        """Twelve hexadecimal digits of data, terms and versions."""
        return fit_fingerprint(self.trial, self.terms, self.left_out, self.mountings.declared)

    @cached_property
    def gap_shape(self) -> GapShape:
        """How closures vary between the gaps of a print."""
        return GapShape.of(self.trial)

    @property
    def notes(self) -> tuple[str, ...]:
        """Notes on the fit, in the units of the trial file."""
        return self.notes_in(self.trial.units)

    def notes_in(self, units: Units) -> tuple[str, ...]:
        """The same in units that are asked for."""
        followed = {
            name: self.drifts[name]
            for name, surface in self.by_name.items()
            if (PROGRESS,) in surface.design.terms
        }
        return (*self.form_notes, *_drift_notes(followed, units))

    def overview(self) -> Overview:
        """Responses, form, prints and the fit's fingerprint."""
        responses = ", ".join(surface.kind.label for surface in self.by_name.values())
        prints = counted(len(self.trial.prints), "print", "prints")
        form = _FORM_WORDS[self.terms] + (f" without {listed(self.left_out)}" if self.left_out else "")
        rows = {
            "Fit": self.fingerprint,
            "Trial": f"{self.trial.title}, {prints}",
            "Responses": responses,
            "Form": form,
        }
        return Overview("Surfaces", "", (f"fit {self.fingerprint}", prints, form, responses), rows)

    @property
    def bends(self) -> bool:
        """Whether predictions may depart smoothly from the second-order form."""
        return any(self.joint.bends(name) for name in self.joint.names)

    def predict(self, name: str, setups: pd.DataFrame, level: float = 0.95) -> pd.DataFrame:
        """One response at set-ups with its intervals, as `Surface.predict`.

        By its own second-order surface, or by the joint predictive where that holds more than it.

        Parameters
        ----------
        name : str
            Key of `by_name`.
        setups : DataFrame
            One row per set-up, with the columns `setup_columns`.
        level : float, default 0.95
            Of the intervals.

        Returns
        -------
        DataFrame
            As of `Surface.predict`, in the response's own unit.
        """
        if name not in self.joint.misses and not self.joint.bends(name) and self.mountings.measured:
            return self.by_name[name].predict(setups, level)
        surface = self.by_name[name]
        frame = self.joint.predict_response(name, setups, level, surface.components.typical_count)
        return frame.apply(np.exp) if surface.kind.log else frame

    @property
    def counts_only(self) -> bool:
        """Whether gaps were counted and none was measured, so that closures have no true unit."""
        return "gap_closure" in self.by_name and _counts_only(self.trial)

    @property
    def setup_columns(self) -> tuple[str, ...]:
        """Columns a set-up needs: settings, and the covariates that any surface uses."""
        used = {name for surface in self.by_name.values() for name in surface.design.needs}
        return (*FACTORS, *(name for name in COVARIATES if name in used or name == "plate"))


def fit(
    trial: Trial,
    terms: Form = "all",
    leave_out: Sequence[str] = (),
    plan: Plan | None = None,
    make_readies: MakeReadies | None = None,
) -> Surfaces:
    """Fit the second-order surfaces of every measured response.

    Parameters
    ----------
    trial : Trial
    terms : {'all', 'chosen', 'bending'}
        All second-order terms; those that the corrected Akaike criterion keeps, whose intervals
        ignore that they were chosen; or all of them and smooth departures from them, for the
        predictions and probabilities.
    leave_out : sequence of str
        Terms to leave out, named as the fit names them, such as ``"pressure²"``.
    plan : Plan, optional
        How the posterior is drawn, and under which prior.
    make_readies : MakeReadies, optional
        What the study states of make-readies, for a trial that does not record them.

    Returns
    -------
    Surfaces

    Raises
    ------
    TypeError
        If the trial is no Trial, or another argument of another type.
    SurfaceProblem
        If the trial is too small or cannot separate the terms; says which prints to add.

    Examples
    --------
    >>> import pwindow as pw
    >>> surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    >>> list(surfaces.by_name)
    ['line_height', 'line_width', 'resistivity', 'gap_closure']
    """
    expect("fit", trial, Trial, "a Trial, as read_trial returns it")
    expect("fit", leave_out, (list, tuple), "leave_out as a list of terms")
    expect("fit", plan, (Plan, NoneType), "plan as a Plan")
    expect("fit", make_readies, (MakeReadies, NoneType), "make_readies of a Study")
    if terms not in get_args(Form):
        raise SurfaceProblem(
            f"“{shown(terms)}” is not a form of surface; use one of {', '.join(get_args(Form))}"
        )
    # the matrices are small: threads of the linear algebra library only wait for one another
    with threadpool_limits(1, user_api="blas"):
        try:
            return _fit(trial, terms, leave_out, plan, make_readies or MakeReadies())
        except np.linalg.LinAlgError as problem:
            raise SurfaceProblem(_UNDETERMINED) from problem


def _fit(
    trial: Trial, terms: Form, leave_out: Sequence[str], plan: Plan | None, declared: MakeReadies
) -> Surfaces:
    factor, factor_note = section_factor(trial)
    notes, designs, faults = [factor_note], {}, []
    progress = progress_of(trial.prints, declared)
    responses = response_data(trial, factor, progress if declared.drift else None)
    _refuse_unknown(leave_out, responses)
    for name, data in responses.items():
        notes += data.notes
        try:
            designs[name] = make_design(data, notes, leave_out)
            refuse_without_spread(data, designs[name])
        except SurfaceProblem as problem:
            faults.append(str(problem))
            continue
        responses[name] = complete(data, designs[name])
        if terms == "chosen":
            designs[name] = choose_terms(responses[name], designs[name])
    if faults:
        raise SurfaceProblem("\n".join(faults))
    if not designs:
        raise SurfaceProblem("no response can be fitted: measure line height and width, or gaps")
    shapes = designs
    if terms == "bending":
        shapes = {name: bending(design, responses[name].cells) for name, design in designs.items()}
        notes.append(_BENDING)
    mountings = Mountings.of(trial, responses, designs, declared)
    joint = join_responses(responses, shapes, plan, mountings)
    members = {name: fit_surface(data, designs[name]) for name, data in responses.items()}
    drifts = {} if progress is None else _drifts(responses, designs, members, progress)
    judged = _judged(members, joint, trial)
    joint = replace(
        joint,
        misses={name: one.misses for name, one in judged.items() if one.misses},
        growths={name: SpreadGrowth.of(surface) for name, surface in members.items()},
    )
    notes += [
        _COPIED.format(data.kind.label) for data in responses.values() if data.feature_df and data.copied
    ]
    notes += [_UNSETTLED.format(data.kind.label) for data in responses.values() if not data.settled]
    notes += [_HINTED.format(one.cleared.kind.label) for one in judged.values() if one.only_hinted]
    notes += [_DRIFT_UNCHECKED] * (progress is None)
    region = TrialRegion.of(trial)
    return Surfaces(
        trial=trial,
        by_name=members,
        joint=joint,
        judged=judged,
        mountings=mountings,
        section_factor=factor,
        region=region,
        drifts=drifts,
        form_notes=tuple(notes),
        terms=terms,
        left_out=tuple(leave_out),
    )


def _drifts(
    responses: Mapping[str, ResponseData],
    designs: Mapping[str, Design],
    members: Mapping[str, Surface],
    progress: pd.Series,
) -> dict[str, Drift]:
    """Those that surfaces follow, and else what each would follow."""
    found = {
        name: Drift.of(members[name])
        if (PROGRESS,) in design.terms
        else drift(responses[name], design, progress)
        for name, design in designs.items()
    }
    return {name: one for name, one in found.items() if one is not None}


def _drift_notes(followed: Mapping[str, Drift], units: Units) -> list[str]:
    changes = []
    for name, one in followed.items():
        kind = RESPONSE_KINDS[name]
        changes.append(f"{kind.label} {kind.amount(one.change, units)} {'up' if one.change > 0 else 'down'}")
    return [_FOLLOWED.format(listed(changes))] if changes else []


def _judged(members: Mapping[str, Surface], joint: JointSurfaces, trial: Trial) -> dict[str, Judged]:
    found = {
        name: judge(surface, bends=joint.bends(name))
        for name, surface in members.items()
        if not (name == "gap_closure" and _counts_only(trial))
    }
    return {name: one for name, one in found.items() if one is not None}


def _counts_only(trial: Trial) -> bool:
    """Gaps were counted and none was measured, so that closures have no true unit."""
    return not trial.of_quantity("gap_closure")["count"].any()


_UNDETERMINED = (
    "the surfaces cannot be computed from these numbers: check the file for a response that hardly varies, or whose "
    "values differ by many orders of magnitude, and correct it or leave its column out"
)
_DRIFT_UNCHECKED = "drift during the trial is not checked: add a column order or time to the trial file, or state press_order in the study"
_FOLLOWED = (
    "surfaces follow a drift from the first print to the last ({}): predictions and probabilities are for the process as it "
    "was at the end of the trial"
)
_COPIED = (
    "{}: the features of each print all have the same value, so the trial does not show how much they vary: where every "
    "one of many gaps must meet a limit, all variation is taken to be between gaps"
)
_UNSETTLED = (
    "{}: open and bridged gaps are divided so sharply that the reported surface has not settled; its coefficients and its "
    "checks are rough, the probabilities do not use them"
)
_HINTED = (
    "{} may have more curvature than second order, but not clearly: intervals and probabilities allow for it"
)
_BENDING = (
    "predictions and probabilities include a smooth correction to the second-order surfaces; coefficients and "
    "checks are of the second-order part alone"
)


def _refuse_unknown(leave_out: Sequence[str], responses: Mapping[str, ResponseData]) -> None:
    known = dict.fromkeys(
        label(term) for data in responses.values() for term in second_order(learn_factors(data, [])) if term
    )
    for name in leave_out:
        if name not in known:
            raise SurfaceProblem(
                f"“{name}” is not a term that can be left out; the terms are {', '.join(known)}"
            )


def setups_frame(rows: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Set-ups as a table with every setting and covariate as a column."""
    return pd.DataFrame(list(rows), columns=[*FACTORS, *COVARIATES])
