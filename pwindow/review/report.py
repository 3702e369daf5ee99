"""The report: what a design review needs to know of one set-up."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pwindow.product import Requirement
from pwindow.review.alternatives import Alternatives, alternatives_to
from pwindow.review.essentials import Essentials, Subject, subject_of
from pwindow.review.evidence import Evidence, evidence_of, not_tried
from pwindow.review.picture import Pictures, pictures
from pwindow.review.words import requirement_words
from pwindow.window.bands import SpeedBand
from pwindow.window.calibration import Calibration
from pwindow.window.search.recommendation import Recommendation
from pwindow.window.search.starting import Choice
from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import Shortfall, shortfall
from pwindow.window.window import Window
from pwindow.wording import Units


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """One requirement at the set-up: 95 % interval of the next print, and the probability that it is met."""

    name: str
    label: str
    unit: str
    words: str
    least: float | None
    most: float | None
    mean: float
    low: float
    high: float
    conformance: float


@dataclass(frozen=True, kw_only=True)
class Report:
    """What a report says of one set-up; every probability is of the next run.

    Attributes
    ----------
    essentials : Essentials
    judgements : tuple of Judgement
    recommended : Recommendation or None
    alternatives : Alternatives
    evidence : Evidence
    notes : tuple of str
        What the window leaves out or takes.
    untried : tuple of str
    shortfall : Shortfall or None
        What there is to say where no set-up is assured.
    pictures : Pictures
    """

    essentials: Essentials
    judgements: tuple[Judgement, ...]
    recommended: Recommendation | None
    alternatives: Alternatives
    evidence: Evidence
    notes: tuple[str, ...]
    untried: tuple[str, ...]
    shortfall: Shortfall | None
    pictures: Pictures

    @property
    def why(self) -> str:
        """Why the set-up is recommended; "" where it is not."""
        is_recommended = self.essentials.promise.chosen is Choice.RECOMMENDED
        units = self.essentials.promise.units
        return self.recommended.reason(units) if self.recommended and is_recommended else ""

    @property
    def recommended_here(self) -> bool:
        """Whether the recommended set-up lies on the map of this set-up's plate and pressure."""
        if self.recommended is None:
            return False
        best, here = self.recommended.setup, self.essentials.promise.setup
        return (best.plate, best.pressure) == (here.plate, here.pressure)

    @property
    def limiting(self) -> Judgement:
        """The requirement with the lowest conformance probability."""
        return _limiting(self.judgements)


def report(subject: Subject, *, calibration: Calibration | None = None) -> Report:
    """The report of a set-up.

    Parameters
    ----------
    subject : Subject
    calibration : Calibration, optional
        How often such probabilities are kept, by `pwindow.window.calibration.calibrate`.
    """
    window, setup, start = subject.window, subject.setup, subject.start
    promise, judgements = subject.essentials.promise, _judgements(subject)
    bands = [SpeedBand.of(row, window) for row in subject.bands.to_dict("records")]
    return Report(
        essentials=subject.essentials,
        judgements=judgements,
        recommended=subject.recommended,
        alternatives=alternatives_to(window, setup, bands, promise.band),
        evidence=evidence_of(window.surfaces, calibration, subject.units),
        notes=window.notes,
        untried=not_tried(window, setup, promise.settings, subject.units),
        shortfall=None if start.assured else shortfall(window, closest=start),
        pictures=pictures(
            window, setup, subject.bands_here, start, _limiting(judgements).name, subject.units
        ),
    )


def report_of(
    window: Window, setup: Setup | None = None, *, calibration: Calibration | None = None
) -> Report:
    """The report of a window.

    Parameters
    ----------
    window : Window
    setup : Setup, optional
        The recommended one unless given, or the closest where none is assured.
    calibration : Calibration, optional
        As of `report`.

    Raises
    ------
    WindowProblem
        As of `subject_of`.
    """
    return report(subject_of(window, setup), calibration=calibration)


def _limiting(judgements: tuple[Judgement, ...]) -> Judgement:
    return min(judgements, key=lambda judgement: judgement.conformance)


def _judgements(subject: Subject) -> tuple[Judgement, ...]:
    quantities = subject.window.quantities(subject.frame)
    return tuple(
        _judgement(
            requirement,
            quantities[requirement.name].iloc[0],
            subject.conformance[requirement.name],
            subject.units,
        )
        for requirement in subject.window.product.requirements
    )


def _judgement(requirement: Requirement, predicted: pd.Series, conformance: float, units: Units) -> Judgement:
    return Judgement(
        name=requirement.name,
        label=requirement.kind.label,
        unit=requirement.kind.unit,
        words=requirement_words(requirement, units),
        least=requirement.least,
        most=requirement.most,
        mean=float(predicted["mean"]),
        low=float(predicted["obs_ci_low"]),
        high=float(predicted["obs_ci_high"]),
        conformance=float(conformance),
    )
