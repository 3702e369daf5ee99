"""One product on one fit: what pages ask of it, without any widget."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TypeVar

import numpy as np
import pandas as pd

from pwindow.charts.map_content import MapContent, content_at
from pwindow.errors import UnusableInput
from pwindow.product import Product, Requirement, check_product
from pwindow.study import Roll
from pwindow.window import Window
from pwindow.window.bands import bands_at
from pwindow.window.search.inner import InnerSet, inner_set
from pwindow.window.search.maps import WindowMap, window_map
from pwindow.window.search.recommendation import Recommendation, neighbours, recommend
from pwindow.window.search.starting import StartingSetup, starting_setup
from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import Shortfall, shortfall
from pwindow.wording import Units
from pwindow.workflows.evidence import Evidence, first_window, window_of
from pwindow.workflows.given import given_evidence

Found = TypeVar("Found")
MAP_CELLS = 80
"""Speeds and volumes of a map on a page."""
_DRAWN = ["roll", "cell_volume_cm3_m2", "speed_low_m_min", "speed_high_m_min"]
_OUTLINED = 5  # pressures at most


@dataclass(frozen=True)
class Question:
    """One product on one fit: its window, bands and recommendation, each worked out once."""

    evidence: Evidence
    product: Product
    window: Window
    _maps: dict = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def bands(self) -> pd.DataFrame:
        return self.window.speed_bands()

    @cached_property
    def recommended(self) -> Recommendation | None:
        return recommend(self.window, self.bands)

    @cached_property
    def starting(self) -> StartingSetup | None:
        """The recommended set-up, or the closest; None where no roll lies in the trial region."""
        return starting_setup(self.window, self.recommended)

    def start(self) -> Setup:
        """The set-up that a page opens at; the middle of what was tried where no roll was."""
        if self.starting is not None:
            return self.starting.setup
        trial, rolls = self.window.surfaces.trial, self.window.rolls
        return Setup(
            self.window.plates[0],
            rolls[len(rolls) // 2],
            trial.pressures[len(trial.pressures) // 2],
            float(trial.prints["speed"].median()),
        )

    def roll(self, identity: str) -> Roll:
        return self.window.roll(identity)

    def frame(self, setup: Setup) -> pd.DataFrame:
        return setup.frame(self.window)

    def map(self, plate: str, pressure: float) -> WindowMap:
        """The map at a plate and pressure; the last few are kept."""
        return self._kept(
            ("map", plate, pressure), lambda: window_map(self.window, plate, pressure, MAP_CELLS)
        )

    def content(self, setup: Setup, units: Units | None = None, *, at_once: bool = False) -> MapContent:
        """What the picture shows for a set-up.

        Parameters
        ----------
        setup : Setup
        units : Units, optional
            Metric unless given.
        at_once : bool, default False
            Whether to outline the set-ups that reach the level all at once, where a confidence is asked for.
        """
        shown = self.map(setup.plate, setup.pressure)
        bands = self._bands_drawn(setup, shown)
        inner = self._inner(setup) if at_once and self.window.confidence is not None else None
        return content_at(
            self.window, setup, shown, bands, self.starting, self._elsewhere(setup), units, inner
        )

    def _inner(self, setup: Setup) -> InnerSet:
        plate, pressure = setup.plate, setup.pressure
        return self._kept(("inner", plate, pressure), lambda: inner_set(self.window, plate, pressure))

    def _elsewhere(self, setup: Setup) -> dict[float, WindowMap]:
        """Maps at the other pressures that were tried, or at some of many."""
        tried = self.window.surfaces.trial.pressures
        some = tried[:: -(-len(tried) // _OUTLINED)]
        return {at: self.map(setup.plate, at) for at in some if not math.isclose(at, setup.pressure)}

    @cached_property
    def shortfall(self) -> Shortfall | None:
        """What there is to say where nothing is assured; None where something is, or no roll was tried."""
        if self.starting is None or self.starting.assured:
            return None
        return shortfall(self.window, closest=self.starting)

    def _bands_drawn(self, setup: Setup, shown: WindowMap) -> pd.DataFrame:
        """Speed bands of a map; at a pressure that was not tried as exact as the map: a search would hold up a slider."""
        plate, pressure = setup.plate, setup.pressure
        tried = np.isclose(pressure, self.window.surfaces.trial.pressures).any()
        if tried or 1 in shown.joint.shape:
            return self._kept(
                ("bands", plate, pressure), lambda: bands_at(self.window, self.bands, plate, pressure)
            )
        spans = [
            (roll.id, roll.cell_volume, *span)
            for roll in self.window.rolls
            for span in shown.spans(roll.cell_volume, self.window.level)
        ]
        return pd.DataFrame(spans, columns=_DRAWN)

    def _kept(self, key: tuple, work: Callable[[], Found]) -> Found:
        """What `work` finds, of which the last few are kept."""
        if key not in self._maps:
            if len(self._maps) > 400:
                self._maps.clear()
            self._maps[key] = work()
        return self._maps[key]

    def neighbours(self, setup: Setup) -> pd.DataFrame:
        return neighbours(self.window, setup.plate, setup.roll.cell_volume, setup.pressure, setup.speed)


def ask(evidence: Evidence, product: Product) -> Question:
    """The question, where the trial can judge the product; raises UnusableInput otherwise."""
    return Question(evidence, product, window_of(evidence, product))


@lru_cache(maxsize=4)
def question_of(evidence: Evidence, name: str) -> Question:
    """What the product of that name asks, found out once; raises UnusableInput as `ask`."""
    return ask(evidence, evidence.products[name])


def kept_setup(before: Question, after: Question, chosen: Setup) -> Setup:
    """The set-up to look at when another question is asked of the same trial.

    What the visitor chose stays, where it can be had; what the page chose gives way to what it would choose now.

    Parameters
    ----------
    before, after : Question
    chosen : Setup
        The one looked at before.
    """
    can_be_had = chosen.plate in after.window.plates and chosen.roll in after.window.rolls
    return chosen if can_be_had and chosen != before.start() else after.start()


def get_ready() -> None:
    """Find out what pages show first, before there are any: what is kept of it serves them all.

    What fails is told by the page that fails in the same way.
    """
    with suppress(UnusableInput):
        evidence = given_evidence()
        question = first_judgeable(evidence, None)
        question.content(question.start())
        evidence.findings()


def changed_limits(product: Product, limits: Mapping[str, Mapping[str, float]]) -> Product:
    """The product with other limits and counts, checked.

    Parameters
    ----------
    product : Product
    limits : mapping
        For each requirement ``least``, ``most`` and ``count`` as far as they change.
    """
    requirements = tuple(_changed(one, limits.get(one.name, {})) for one in product.requirements)
    changed = replace(product, requirements=requirements)
    check_product(changed, product.name)
    return changed


def _changed(requirement: Requirement, changes: Mapping[str, float]) -> Requirement:
    parameters, count = requirement.parameters, changes.get("count")
    if count is not None:
        if count % 1 != 0:
            raise UnusableInput(f"{count:g} gaps on one part: not a whole number")
        parameters = {**parameters, "count": int(count)}
    return replace(
        requirement,
        least=changes.get("least", requirement.least),
        most=changes.get("most", requirement.most),
        parameters=parameters,
    )


def first_judgeable(evidence: Evidence, wanted: str | None) -> Question:
    """The wanted product on the fit, else the first product that the trial can judge; raises as `first_window`."""
    return question_of(evidence, first_window(evidence, wanted).product.name)
