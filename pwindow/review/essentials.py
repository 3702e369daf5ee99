"""What a report and a run sheet both say of one set-up, and the set-up they are about."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.product import Product
from pwindow.review.provenance import Origin, Provenance, provenance_of
from pwindow.review.settings import RollVolume, Setting, settings_of
from pwindow.review.words import at_words, changed_requirements
from pwindow.trials.summary import TrialSummary, summarise
from pwindow.window.bands import SpeedBand, bands_at
from pwindow.window.confidence import ConformanceInterval, conformance_interval
from pwindow.window.run.first_prints import FirstPrint, Stops, first_prints, gaps_to_inspect, stops
from pwindow.window.search.recommendation import Recommendation, recommend
from pwindow.window.search.starting import Choice, StartingSetup, starting_setup
from pwindow.window.setup import Setup
from pwindow.window.tails import TailRange, tail_range
from pwindow.window.window import Window
from pwindow.wording import METRIC, Units, listed, metric, setup_words


@dataclass(frozen=True, kw_only=True)
class Promise:
    """What is stated of a set-up; every probability is of the next run.

    Attributes
    ----------
    product : Product
    setup : Setup
    chosen : Choice
        Whose choice the set-up is; the closest where no set-up is assured.
    joint : float
        Joint conformance probability.
    interval : ConformanceInterval
        Where it may lie.
    tails : TailRange or None
        Where more gaps are asked for than the trial compares, what it is under the tails that are possible.
    band : SpeedBand or None
        The speed band that holds the set-up.
    settings : tuple of Setting
    volume : RollVolume
    pressure_unit, pressure_key : str
        What pressures are kept in, and what they are called in JSON.
    units : Units
        What the document is written in.
    """

    product: Product
    setup: Setup
    chosen: Choice
    joint: float
    interval: ConformanceInterval
    tails: TailRange | None
    band: SpeedBand | None
    settings: tuple[Setting, ...]
    volume: RollVolume
    pressure_unit: str
    pressure_key: str
    units: Units

    @property
    def level(self) -> float:
        """Joint conformance probability asked for."""
        return self.product.assurance.level

    @property
    def assured(self) -> bool:
        """Whether the set-up reaches it, and with the confidence that is asked for."""
        held = self.joint if self.product.assurance.confidence is None else self.interval.at_least
        return held >= self.level

    @property
    def shown_settings(self) -> tuple[Setting, ...]:
        """The settings in the units of the document."""
        return tuple(setting.shown_in(self.units) for setting in self.settings)

    @property
    def at_words(self) -> str:
        """The set-up as ``--at`` takes it."""
        return at_words(self.setup, self.pressure_unit)


@dataclass(frozen=True)
class FirstPrintChecks:
    """What to measure on the first prints.

    Attributes
    ----------
    limits : tuple of FirstPrint
    gaps : int or None
        Gaps of one part, none of which may be bridged.
    stops : Stops
        How often a first print is held up though the press prints as in the trial.
    """

    limits: tuple[FirstPrint, ...]
    gaps: int | None
    stops: Stops

    @property
    def guarded(self) -> bool:
        """Whether an average answers for the worst of many gaps."""
        return any(limit.every is not None and limit.every > 1 for limit in self.limits)


@dataclass(frozen=True, kw_only=True)
class Essentials:
    """What every document says of a set-up.

    Attributes
    ----------
    promise : Promise
    trial : TrialSummary
    assumption : str
        What the probabilities assume where the trial does not show how much make-readies differ, else "".
    changes : tuple of (str, str)
        What is not as it was or as it is declared, each with what follows from it.
    first_prints : FirstPrintChecks
    provenance : Provenance
    """

    promise: Promise
    trial: TrialSummary
    assumption: str
    changes: tuple[tuple[str, str], ...]
    first_prints: FirstPrintChecks
    provenance: Provenance


@dataclass(frozen=True, kw_only=True)
class Subject:
    """The set-up that documents are about, in its window.

    Attributes
    ----------
    window : Window
    setup : Setup
    chosen : Choice
        Whose choice the set-up is.
    start : StartingSetup
        The recommended set-up, or the closest where none is assured.
    recommended : Recommendation or None
    bands : DataFrame
        Speed bands at the pressures that were tried.
    volumes : mapping of str to RollVolume
        Measured volumes of rolls, by their id.
    origin : Origin
    made : date
    units : Units
        What documents are written in.
    declared : Product or None
        The product before its limits were changed, where they may have been.
    """

    window: Window
    setup: Setup
    chosen: Choice
    start: StartingSetup
    recommended: Recommendation | None
    bands: pd.DataFrame
    volumes: Mapping[str, RollVolume] = field(default_factory=dict)
    origin: Origin = Origin()
    made: datetime.date = field(default_factory=datetime.date.today)
    units: Units = METRIC
    declared: Product | None = None

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The set-up as a table of one row."""
        return self.setup.frame(self.window)

    @cached_property
    def conformance(self) -> pd.Series:
        """Conformance probability of each requirement, and of all, as of `Window.conformance`."""
        return self.window.conformance(self.frame).iloc[0]

    @cached_property
    def bands_here(self) -> pd.DataFrame:
        """Speed bands at the set-up's plate and pressure."""
        return bands_at(self.window, self.bands, self.setup.plate, self.setup.pressure)

    @cached_property
    def essentials(self) -> Essentials:
        """What every document says of the set-up."""
        return Essentials(
            promise=_promise(self),
            trial=summarise(self.window.surfaces.trial),
            assumption=self.window.surfaces.mountings.sentence,
            changes=tuple(_changes(self)),
            first_prints=_first_print_checks(self),
            provenance=provenance_of(self.window, self.frame, self.origin, self.made),
        )


def subject_of(
    window: Window,
    setup: Setup | None = None,
    *,
    volumes: Mapping[str, RollVolume] | None = None,
    origin: Origin | None = None,
    made: datetime.date | None = None,
    units: Units | None = None,
    declared: Product | None = None,
) -> Subject:
    """The set-up that a report or a run sheet is to be about.

    Parameters
    ----------
    window : Window
    setup : Setup, optional
        The recommended one unless given, or the closest where none is assured.
    volumes : mapping of str to RollVolume, optional
        Measured volumes of rolls, by their id.
    origin : Origin, optional
        How the document is made again.
    made : date, optional
        Today unless given.
    units : Units, optional
        What documents are written in; the trial file's unless given.
    declared : Product, optional
        The product before its limits were changed, where they may have been.

    Raises
    ------
    WindowProblem
        If the set-up lies outside the trial region, or no roll of the inventory lies in it.

    Examples
    --------
    >>> import pwindow as pw
    >>> surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    >>> subject = subject_of(pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml"))))
    >>> subject.setup.roll.id, subject.essentials.promise.assured
    ('2047', True)
    """
    bands = window.speed_bands()
    best = recommend(window, bands)
    start = started(window, best)
    _refuse_untried(window, setup or start.setup)
    return Subject(
        window=window,
        setup=setup or start.setup,
        chosen=_chosen(start, setup),
        start=start,
        recommended=best,
        bands=bands,
        volumes=volumes or {},
        origin=origin or Origin(),
        made=made or datetime.date.today(),
        units=units or window.surfaces.trial.units,
        declared=declared,
    )


def started(
    window: Window, best: Recommendation | None, pressures: Sequence[float] | None = None
) -> StartingSetup:
    """The recommended set-up, or the closest where there is none; errors as of `subject_of`.

    Parameters
    ----------
    window : Window
    best : Recommendation or None
        As `recommend` gives it.
    pressures : sequence of float, optional
        In the trial's unit of pressure; those that were tried unless given.
    """
    start = starting_setup(window, best, pressures)
    if start is None:
        raise WindowProblem(
            "no roll of the inventory lies in the trial region, so this product cannot be judged; add a "
            "roll that was tried to the inventory, or print a trial with one of its rolls"
        )
    return start


def recommended_setup(window: Window) -> Setup:
    """The recommended set-up, or the closest where none is assured; errors as of `subject_of`."""
    return started(window, window.recommended()).setup


def _chosen(start: StartingSetup, setup: Setup | None) -> Choice:
    """Whose choice the set-up is; the closest one is asked for where it is named."""
    if setup is None or start.assured and setup == start.setup:
        return start.choice
    return Choice.ASKED_FOR


def _refuse_untried(window: Window, setup: Setup) -> None:
    if window.in_trial_region(setup.frame(window))[0]:
        return
    units = metric(window.surfaces.trial.pressure_unit)
    raise WindowProblem(
        f"{setup_words(setup.roll.label, setup.pressure, units, setup.speed, setup.plate)} lies outside the trial "
        "region, where nothing was tried, so it cannot be judged; choose a set-up inside, or print a trial there"
    )


def _changes(subject: Subject) -> Iterator[tuple[str, str]]:
    """What of the process and of the product is not what it was."""
    since = subject.window.surfaces.trial.changed_since
    if since:
        yield (
            "The process has changed.",
            f"All here is for ink, film and dryer as they are since {since}, not as before.",
        )
    product, declared = subject.window.product, subject.declared
    changed = () if declared is None else changed_requirements(declared, product, subject.units)
    if changed:
        yield "Not the declared requirements.", f"The product file requires {listed(changed)}."


def _promise(subject: Subject) -> Promise:
    window, roll = subject.window, subject.setup.roll
    return Promise(
        product=window.product,
        setup=subject.setup,
        chosen=subject.chosen,
        joint=float(subject.conformance["joint"]),
        interval=conformance_interval(window, subject.frame),
        tails=tail_range(window, subject.frame),
        band=_band_of(subject),
        settings=settings_of(window, subject.setup),
        volume=subject.volumes.get(roll.id, RollVolume(roll.cell_volume)),
        pressure_unit=window.surfaces.trial.pressure_unit,
        pressure_key=window.surfaces.trial.pressure_key,
        units=subject.units,
    )


def _band_of(subject: Subject) -> SpeedBand | None:
    """The speed band that holds the set-up."""
    bands, setup = subject.bands_here, subject.setup
    inside = bands[
        (bands["roll"] == setup.roll.id)
        & (bands["speed_low_m_min"] <= setup.speed + 1e-9)
        & (bands["speed_high_m_min"] >= setup.speed - 1e-9)
    ]
    return None if inside.empty else SpeedBand.of(inside.iloc[0].to_dict(), subject.window)


def _first_print_checks(subject: Subject) -> FirstPrintChecks:
    window, frame = subject.window, subject.frame
    limits = first_prints(window, frame)
    return FirstPrintChecks(limits, gaps_to_inspect(window), stops(window, frame, limits))
