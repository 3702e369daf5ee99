"""What the trade-offs page knows and works out, without any widget."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TypeVar
from urllib.parse import parse_qsl, quote, urlencode

import pandas as pd

from pwindow.errors import UnusableInput
from pwindow.panels.shared.address import Address, Opened, open_at
from pwindow.panels.shared.question import Question, ask
from pwindow.product import Product
from pwindow.review.essentials import Subject, subject_of
from pwindow.review.provenance import Origin
from pwindow.review.report import report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import run_sheet
from pwindow.review.run_sheet_page import run_sheet_html
from pwindow.review.settings import last_volumes
from pwindow.study import Roll
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import (
    LimitTrades,
    MovedLimits,
    PlatesCompared,
    along_speed,
    frontier,
    limit_trades,
    move_limits,
    plates_compared,
    sensitivities,
    side_by_side,
    silver_notes,
)
from pwindow.window.window import Window
from pwindow.wording import Units
from pwindow.workflows.evidence import ARCHIVED, with_planned, without_planned
from pwindow.workflows.given import given_archive

Found = TypeVar("Found")
OWN = ("pin", "show", "section")
"""Names of the address that are this page's alone."""
_MOST = 6
_WORTH = 0.01  # joint conformance below which a set-up is no choice


class Section(StrEnum):
    """What the page shows at a time."""

    ALONG = "Speed"
    STEPS = "One step"
    LIMITS = "Limits"
    BEST = "Best trade-offs"
    BESIDE = "Side by side"
    PLATES = "Plates"


@dataclass(frozen=True)
class TradeOffs:
    """What is worked out about one question, each once."""

    question: Question
    _kept: dict = field(default_factory=dict, repr=False, compare=False)

    @property
    def window(self) -> Window:
        return self.question.window

    def along(self, plate: str, pressure: float) -> pd.DataFrame:
        """What each roll does along the speed, as `along_speed`."""
        return self._kept_of(("along", plate, pressure), lambda: along_speed(self.window, plate, pressure))

    def _kept_of(self, key: tuple, work: Callable[[], Found]) -> Found:
        """What `work` finds, of which the last few are kept."""
        if key not in self._kept:
            if len(self._kept) > 50:
                self._kept.clear()
            self._kept[key] = work()
        return self._kept[key]

    @cached_property
    def frontier(self) -> pd.DataFrame:
        """The best trade-offs, without those that practically never conform."""
        found = frontier(self.window, bands=self.question.bands)
        return found[found["conformance"] >= _WORTH] if len(found) else found

    @cached_property
    def notes(self) -> tuple[str, ...]:
        return silver_notes(self.window)

    def steps(self, setup: Setup) -> pd.DataFrame:
        return sensitivities(self.window, setup)

    @cached_property
    def moved_limits(self) -> MovedLimits:
        return move_limits(self.window)

    def limits(self, setup: Setup) -> LimitTrades:
        """What moved limits give with the roll, plate and pressure of a set-up, worked out once for all its speeds."""
        key = ("limits", setup.plate, setup.pressure, setup.roll.id)
        return self._kept_of(key, lambda: limit_trades(self.window, setup, self.moved_limits))

    def beside(self, setups: Iterable[Setup]) -> pd.DataFrame:
        return side_by_side(self.window, list(setups))

    def plates(self, setup: Setup) -> PlatesCompared:
        return plates_compared(self.window, setup.roll, setup.pressure, setup.speed)

    def report(self, setup: Setup, origin: Origin, units: Units, declared: Product) -> str:
        """The report of a set-up, as a page that stands alone.

        Parameters
        ----------
        setup : Setup
        origin : Origin
        units : Units
            To write it in.
        declared : Product
            Before its limits were changed on the page.
        """
        return report_html(report(self._subject(setup, origin, units, declared)))

    def run_sheet(self, setup: Setup, origin: Origin, units: Units, declared: Product) -> str:
        """The sheet of a set-up for the press, as a page that stands alone.

        Parameters
        ----------
        setup : Setup
        origin : Origin
        units : Units
            To write it in.
        declared : Product
            Before its limits were changed on the page.
        """
        return run_sheet_html(run_sheet(self._subject(setup, origin, units, declared)))

    def _subject(self, setup: Setup, origin: Origin, units: Units, declared: Product) -> Subject:
        archived = self.question.evidence.source == ARCHIVED
        volumes = last_volumes(given_archive()) if archived else None
        return subject_of(self.window, setup, volumes=volumes, origin=origin, units=units, declared=declared)


def with_roll(question: Question, cell_volume: float) -> tuple[Question, Roll]:
    """The question with a planned roll of a cell volume, cm³/m², in the inventory, and that roll.

    Raises
    ------
    UnusableInput
        As of `with_planned`.
    """
    evidence = with_planned(question.evidence, cell_volume)
    return ask(evidence, question.product), evidence.study.rolls[-1]


def without_rolls(question: Question) -> Question:
    """The question without planned rolls."""
    return ask(without_planned(question.evidence), question.product)


def pinned(pins: tuple[Setup, ...], setup: Setup) -> tuple[Setup, ...]:
    """The pins with one more.

    Raises
    ------
    UnusableInput
        If it is already pinned, or there are six.
    """
    if setup in pins:
        raise UnusableInput("this set-up is already pinned")
    if len(pins) >= _MOST:
        raise UnusableInput(
            f"{_MOST} set-ups are pinned, the most that fit side by side; clear the pins first"
        )
    return (*pins, setup)


def own_query(pins: Iterable[Setup], shown: str, section: Section) -> str:
    """What the address says of this page alone: pinned set-ups, the quantity drawn, the section.

    Parameters
    ----------
    pins : iterable of Setup
    shown : str
        Name of the quantity drawn.
    section : Section
        The one that is shown.

    Examples
    --------
    >>> own_query([Setup("", Roll("0412", 2.4), 50.0, 80.0)], "line_width", Section.BEST)
    'pin=80%3B50%3B0412%3B&show=line_width&section=best'
    """
    parts = [("pin", f"{pin.speed:.10g};{pin.pressure:.10g};{pin.roll.id};{pin.plate}") for pin in pins]
    return urlencode([*parts, ("show", shown), ("section", section.name.lower())], quote_via=quote)


@dataclass(frozen=True)
class Own:
    """What an address says of this page alone, as text; `pins` as (speed, pressure, roll, plate)."""

    pins: tuple[tuple[str, ...], ...] = ()
    shown: str | None = None
    section: Section | None = None

    @classmethod
    def read(cls, query: str | None) -> Own:
        found = [(name, text) for name, text in parse_qsl(query or "", max_num_fields=200) if name in OWN]
        pins = tuple(tuple(text.split(";", 3)) for name, text in found if name == "pin")
        shown = [text for name, text in found if name == "show"]
        sections = {one.name.lower(): one for one in Section}
        section = next(
            (sections[text] for name, text in found if name == "section" and text in sections), None
        )
        return cls(pins[:_MOST], shown[-1] if shown else None, section)


def setup_of(window: Window, pin: tuple[str, ...]) -> Setup:
    """A pinned set-up of an address.

    Raises
    ------
    UnusableInput
        If it is not a set-up of this window.
    """
    try:
        speed, pressure, name, plate = pin
        numbers = float(pressure), float(speed)
    except ValueError as problem:
        raise UnusableInput(f"pin={';'.join(pin)[:60]}: not a set-up; ignored") from problem
    roll = next((roll for roll in window.rolls if roll.id == name), None)
    if roll is None or plate not in window.plates:
        what = f"roll {name}" if roll is None else f"plate “{plate}”"
        raise UnusableInput(f"pin={';'.join(pin)[:60]}: {what} does not exist here; ignored")
    return Setup(plate, roll, *numbers)


@dataclass(frozen=True)
class AllOpened(Opened):
    """What the page opens at, with its pins."""

    pins: tuple[Setup, ...]


def open_all(address: Address, own: Own, ready: Question) -> AllOpened:
    """Find what an address asks for, as far as the evidence has it: the set-up, and pins.

    Parameters
    ----------
    address : Address
    own : Own
    ready : Question
        One that is worked out already, and taken where it is the one asked for.
    """
    opened = open_at(address, ready.evidence, ready)
    left_out = []
    pins = []
    for pin in own.pins:
        try:
            pins.append(setup_of(opened.question.window, pin))
        except UnusableInput as problem:
            left_out.append(str(problem))
    return AllOpened(opened.question, opened.setup, (*left_out, *opened.left_out), tuple(pins))
