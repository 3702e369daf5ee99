"""What the page of plates knows and works out, without any widget."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np

from pwindow.charts.order_content import OrderContent
from pwindow.errors import UnusableInput, WindowProblem
from pwindow.inputs import InputFile
from pwindow.panels.shared.address import Address, changes_of, edited, evidence_at
from pwindow.panels.shared.session import Session
from pwindow.plates import PlateMaking, plate_making
from pwindow.product import Product
from pwindow.shipped import demo
from pwindow.study import Study
from pwindow.surfaces import Surfaces
from pwindow.surfaces.checks.gap_reference import GapReference, gap_reference
from pwindow.surfaces.plate_effects import PlateEffects, plate_effects
from pwindow.window.merging import Merging
from pwindow.window.orders import PlateOrders, merging_on_order, plate_orders
from pwindow.wording import METRIC, Units, chosen_units, listed
from pwindow.workflows.evidence import Evidence, NothingToJudge, replaced_product
from pwindow.workflows.given import given_evidence
from pwindow.workflows.orderable import why_no_plate

DEMO = ("trial_plates.csv", "plates.csv", "sensor.toml")
"""Files of the demo whose trial varies plate process, plate width and plate gap."""
_SIZES = {"plate_width": "plate width", "plate_gap": "plate gap"}
_KNOWN: WeakKeyDictionary[Evidence, dict[str, Answer]] = WeakKeyDictionary()
"""Answers about products as they were declared."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Wanted:
    """What a visitor loaded, the evidence with it, and the product that a plate is to be ordered for.

    Attributes
    ----------
    session : Session
    evidence : Evidence
    declared : mapping of str to Product
        Products before their limits were changed on the page.
    address : Address
        What the page was opened at; other pages are given on what this one has no use for.
    product : Product or None
        None where a trial or a product is waited for.
    why : tuple of str
        Then for each product why no plate can be judged for it.
    """

    session: Session
    evidence: Evidence
    declared: Mapping[str, Product]
    address: Address = field(default_factory=Address)
    product: Product | None = None
    why: tuple[str, ...] = ()

    @classmethod
    def on(
        cls,
        session: Session,
        evidence: Evidence,
        address: Address | None = None,
        declared: Mapping[str, Product] | None = None,
        wanted: str | None = None,
    ) -> Wanted:
        """Stand on evidence: on the wanted product, else on the first that a plate can be ordered for.

        Parameters
        ----------
        session : Session
        evidence : Evidence
        address : Address, optional
        declared : mapping of str to Product, optional
            Products as they were declared; as the evidence has them unless given.
        wanted : str, optional
            Name of a product.
        """
        known = evidence.products if declared is None else declared
        base = cls(session=session, evidence=evidence, declared=known, address=address or Address())
        if evidence.surfaces is None:
            return base
        first = [wanted] if wanted is not None and wanted in evidence.products else []
        why = []
        for name in dict.fromkeys([*first, *evidence.products]):
            problem = why_no_plate(evidence, evidence.products[name])
            if not problem:
                return replace(base, product=evidence.products[name])
            why.append(f"{name}: {problem}")
        return replace(base, why=tuple(why))

    @property
    def asked(self) -> Product:
        """The product; raises NothingToJudge where a trial or a product is waited for."""
        if self.product is None:
            raise NothingToJudge("there is no trial yet, or none that can judge a plate here")
        return self.product

    @property
    def surfaces(self) -> Surfaces:
        """The fit; raises NothingToJudge where a trial is waited for."""
        if self.evidence.surfaces is None:
            raise NothingToJudge("there is no trial yet")
        return self.evidence.surfaces

    @property
    def declared_product(self) -> Product:
        """The product before its limits were changed on the page."""
        return self.declared[self.asked.name]

    @cached_property
    def told(self) -> tuple[str, ...]:
        """What the trial says of plates, where it varied a size of theirs."""
        return tuple(_told(self.surfaces))

    @cached_property
    def untold(self) -> tuple[str, ...]:
        """What the trial cannot say of plates, as its plates differ too little."""
        return tuple(_untold(self.surfaces))

    def asking(self, product: Product) -> Wanted:
        """The same for a product with other limits or another assurance."""
        return replace(self, evidence=replaced_product(self.evidence, product), product=product)

    def choosing(self, name: str) -> Wanted:
        """The same for another product; a set-up that was chosen on another page was one for the product before.

        Raises
        ------
        UnusableInput
            If no plate can be judged for it.
        """
        product = self.evidence.products[name]
        problem = why_no_plate(self.evidence, product)
        if problem:
            raise UnusableInput(f"no plate can be judged for {name}: {problem}")
        kept = replace(self.address, plate=None, roll=None, pressure=None, speed=None)
        return replace(self, product=product, address=kept)

    def loading(self, files: Sequence[InputFile]) -> tuple[Wanted, str | None]:
        """The same with files that a visitor loaded, and the product that should be shown: the one added last, if any.

        What was chosen of a trial before is over.

        Raises
        ------
        UnusableInput
            If any of them cannot be used.
        """
        before = self.evidence.products
        session, evidence, added = self.session.load(files, self.evidence)
        new = {name: one for name, one in evidence.products.items() if one is not before.get(name)}
        name = added or (None if self.product is None else self.product.name)
        declared, address = {**self.declared, **new}, Address(colours=self.address.colours)
        return Wanted.on(session, evidence, address, declared, name), name

    def passed_over(self, name: str | None) -> str:
        """Why another product is shown than the one of a name; "" where it is shown, or none is."""
        if self.product is None or name is None or name == self.product.name:
            return ""
        return why_no_plate(self.evidence, self.evidence.products[name])

    def query_address(self) -> Address:
        """What the page's address says, and other pages are given."""
        changes = {} if self.product is None else changes_of(self.product, self.declared_product)
        return replace(self.address, **{"limits": {}, **changes}, data=self.session.data)


def opened(address: Address, given: Evidence) -> tuple[Wanted, tuple[str, ...]]:
    """What an address asks for, as far as it can be had, and what of it could not be used.

    Parameters
    ----------
    address : Address
    given : Evidence
        What the server was started with.
    """
    session, evidence, missing = Session.opened(address.data, given)
    left_out = list(missing)
    if evidence.surfaces is not None:
        evidence = evidence_at(address, evidence, left_out)
    wanted = Wanted.on(session, evidence, address, wanted=address.product)
    if address.product is not None and (wanted.product is None or wanted.product.name != address.product):
        return wanted, (*left_out, f"product={address.product}: no plate can be judged for it here; ignored")
    if wanted.product is not None:
        product = edited(address, wanted.product, left_out)
        wanted = wanted if product == wanted.product else wanted.asking(product)
    return wanted, tuple(left_out)


def demo_files() -> list[InputFile]:
    """The demo trial of plates with its plates and its product."""
    return [InputFile.of(demo(name)) for name in DEMO]


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The plates to order, or why there are none.

    Attributes
    ----------
    making : PlateMaking
    found : PlateOrders or None
        None where no plate can be judged.
    why : str
    effects : PlateEffects
        What plates do to lines.
    reference : GapReference or None
        Which dimension of a plate gap predicts the printed one; None where no lip-to-lip widths were measured.
    merging : Merging or None
        How probably gaps bridge with the first order's process and set-up; None without an order, or printed gaps.
    """

    making: PlateMaking
    effects: PlateEffects
    found: PlateOrders | None = None
    why: str = ""
    reference: GapReference | None = None
    merging: Merging | None = None

    def content(self, wanted: Wanted, units: Units) -> OrderContent | None:
        """What the picture shows; None where no plate can be judged."""
        if self.found is None:
            return None
        return OrderContent(
            product=wanted.asked, found=self.found, fit=wanted.surfaces.fingerprint, units=units
        )


def known(wanted: Wanted) -> Answer | None:
    """The answer, where it is known already."""
    if wanted.product is None or wanted.product != wanted.evidence.products.get(wanted.product.name):
        return None
    return _KNOWN.get(wanted.evidence, {}).get(wanted.product.name)


def find(wanted: Wanted) -> Answer:
    """Find the plates to order, which takes seconds."""
    answer = _found(wanted.surfaces, wanted.asked, wanted.evidence.study)
    _KNOWN.setdefault(wanted.evidence, {})[wanted.asked.name] = answer
    return answer


def _found(surfaces: Surfaces, product: Product, study: Study) -> Answer:
    making = plate_making(surfaces.trial.plates, study)
    told = Answer(making=making, effects=plate_effects(surfaces), reference=gap_reference(surfaces.trial))
    try:
        found = plate_orders(surfaces, product, study, making)
    except WindowProblem as problem:
        return replace(told, why=str(problem))
    return replace(told, found=found, merging=merging_on_order(found, surfaces, product, study))


def get_ready() -> None:
    """Find what the page shows first, before there is any: what is kept of it serves them all.

    What fails is told by the page, which fails in the same way.
    """
    try:
        wanted = Wanted.on(Session(), given_evidence())
        if wanted.product is not None:
            find(wanted)
    except UnusableInput:
        return


def units_of(wanted: Wanted, name: str | None) -> Units:
    """Units by their name in an address; raises UnitProblem where the trial does not have them."""
    surfaces = wanted.evidence.surfaces
    return METRIC if surfaces is None else chosen_units(name or "", surfaces.trial.units)


def _sizes_of(surfaces: Surfaces) -> dict[str, dict[str, tuple[float, float]]]:
    """By name of a size, and by process, the smallest and largest that were tried, µm."""
    covariates = surfaces.region.covariates
    return {
        name: {
            process: covariates[process][name]
            for process in surfaces.region.plates
            if name in covariates.get(process, {})
        }
        for name in _SIZES
    }


def _told(surfaces: Surfaces) -> Iterator[str]:
    """Sentences on the sizes that plates of a process differed in."""
    for name, ends in _sizes_of(surfaces).items():
        varied = [one for one in ends.values() if not np.isclose(*one)]
        if varied:
            low, high = min(one[0] for one in varied), max(one[1] for one in varied)
            yield f"It says what {_SIZES[name]} does, from {low:.4g} to {high:.4g} µm."


def _untold(surfaces: Surfaces) -> Iterator[str]:
    """Sentences on what plates of the trial have in common, and so do not tell."""
    processes = surfaces.region.plates
    for name, ends in _sizes_of(surfaces).items():
        words = _SIZES[name]
        if not ends:
            yield f"It does not state any {words}, so it cannot say which one to order."
            continue
        same = {process: low for process, (low, high) in ends.items() if np.isclose(low, high)}
        if not same:
            continue
        values = listed([f"{f'{process} ' if process else ''}{low:.4g} µm" for process, low in same.items()])
        if len(processes) == 1:
            yield f"All plates had one {words} ({values}): it cannot say what another would do."
            continue
        which = "Each plate process" if len(same) == len(processes) else "Some plate processes"
        apart = len(set(same.values())) > 1
        mixed = f", nor whether processes differ by themselves or by their {words}s" if apart else ""
        yield f"{which} had one {words} ({values}): it cannot say what another would do{mixed}."
    if len(processes) == 1:
        name = processes[0]
        yield f"All plates were made by one process{f' ({name})' if name else ''}: processes cannot be compared."
