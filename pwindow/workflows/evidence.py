"""The evidence of a session: trials as fitted, the study, and the products that they are asked about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache

from pwindow.errors import UnusableInput, WindowProblem
from pwindow.product import Product
from pwindow.study import Study
from pwindow.surfaces import Form, Surfaces, fit
from pwindow.surfaces.findings import Finding, findings
from pwindow.surfaces.posterior.make_readies import Known
from pwindow.window import Window, find_window
from pwindow.window.setup import planned_study, unplanned_study
from pwindow.wording import Units

ARCHIVED, UPLOADED = "the archive", "uploaded files"
"""Where trials came from that an archive keeps, or that a visitor loaded."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Evidence:
    """A fit and what it may be asked for; each is only itself.

    Attributes
    ----------
    surfaces : Surfaces or None
        None where there is no trial yet.
    study : Study
    products : mapping of str to Product
    terms : str
        Form of the surfaces, as `fit` names it.
    source : str
        Where the trials came from.
    made : datetime
        When they were read and fitted, UTC.
    """

    surfaces: Surfaces | None
    study: Study
    products: Mapping[str, Product]
    terms: Form = "all"
    source: str = "files"
    made: datetime = field(default_factory=lambda: datetime.now(UTC), compare=False)

    @property
    def unrecorded(self) -> str | None:
        """What is stated of make-readies that the trial does not record, as `MakeReadies`; None where it does."""
        if self.surfaces is None or self.surfaces.mountings.known is Known.RECORDED:
            return None
        return self.study.make_readies.unrecorded

    def findings(self, units: Units | None = None) -> tuple[Finding, ...]:
        """What speaks against the fit; in the trial file's units unless others are given."""
        return (
            () if self.surfaces is None else _findings_of(self.surfaces, units or self.surfaces.trial.units)
        )


@lru_cache(maxsize=4)
def _findings_of(surfaces: Surfaces, units: Units) -> tuple[Finding, ...]:
    """The same fit is asked whatever product is looked at."""
    return findings(surfaces, units)


class NothingToJudge(WindowProblem):
    """There is no trial yet, or none of the products can be judged by it.

    Attributes
    ----------
    why : tuple of str
        For each product why the trial cannot judge it; empty where there is no trial.
    """

    def __init__(self, text: str, why: Sequence[str] = ()):
        self.why = tuple(why)
        super().__init__(text)


def window_of(evidence: Evidence, product: Product) -> Window:
    """The window of a product; raises UnusableInput where the trial cannot judge it."""
    if evidence.surfaces is None:
        raise NothingToJudge("there is no trial yet")
    return find_window(evidence.surfaces, product, evidence.study)


def first_window(evidence: Evidence, wanted: str | None = None) -> Window:
    """The window of the wanted product, else of the first that the trial can judge.

    Raises
    ------
    NothingToJudge
        If there is no trial yet, or it can judge no product; says why for each.
    """
    if evidence.surfaces is None:
        raise NothingToJudge("there is no trial yet; load one, or add one to the archive")
    names = [wanted] if wanted is not None and wanted in evidence.products else []
    reasons = []
    for name in [*names, *(name for name in evidence.products if name not in names)]:
        try:
            return window_of(evidence, evidence.products[name])
        except UnusableInput as problem:
            reasons.append(f"{name}: {problem}")
    raise NothingToJudge(
        "the trial was read, but it cannot judge any product here: "
        + "; ".join(reasons)
        + ". Load a product file (TOML) that it can judge",
        reasons,
    )


def why_not(evidence: Evidence, product: str) -> str:
    """Why the trial cannot judge a product; "" where it can."""
    try:
        window_of(evidence, evidence.products[product])
    except UnusableInput as problem:
        return str(problem)
    return ""


def reshaped(evidence: Evidence, terms: Form, unrecorded: str | None = None) -> Evidence:
    """The same trial fitted otherwise.

    Parameters
    ----------
    evidence : Evidence
    terms : str
        Form of the surfaces, as `fit` names it.
    unrecorded : str, optional
        What is stated of make-readies that the trial does not record; as it was unless given.
    """
    if evidence.surfaces is None:
        return replace(evidence, terms=terms)
    study = evidence.study
    if unrecorded is not None:
        study = replace(study, make_readies=replace(study.make_readies, unrecorded=unrecorded))
    surfaces = fit(evidence.surfaces.trial, terms, make_readies=study.make_readies)
    return Evidence(
        surfaces=surfaces, study=study, products=evidence.products, terms=terms, source=evidence.source
    )


def replaced_product(evidence: Evidence, product: Product) -> Evidence:
    """The evidence with a product in place of the one of its name."""
    return replace(evidence, products={**evidence.products, product.name: product})


def with_planned(evidence: Evidence, cell_volume: float) -> Evidence:
    """The evidence with a planned roll of a cell volume, cm³/m², in the inventory; no archive ever has it.

    Raises
    ------
    UnusableInput
        If the roll cannot be judged or is there already; see `planned_study`.
    """
    if evidence.surfaces is None:
        raise NothingToJudge("there is no trial yet")
    return replace(evidence, study=planned_study(evidence.study, evidence.surfaces.trial, cell_volume))


def without_planned(evidence: Evidence) -> Evidence:
    """The evidence without planned rolls; itself where there is none."""
    study = unplanned_study(evidence.study)
    return evidence if study == evidence.study else replace(evidence, study=study)
