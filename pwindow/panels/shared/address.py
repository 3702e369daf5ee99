"""What is chosen on a page, as the query of its address: whoever opens the link sees the same."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from urllib.parse import parse_qsl, quote, urlencode

from pwindow.charts.palette import PALETTES
from pwindow.errors import UnusableInput
from pwindow.panels.shared.question import Question, ask, changed_limits, first_judgeable
from pwindow.product import Product
from pwindow.study import EACH_PRINT, ROLL_AND_PLATE
from pwindow.surfaces import Form
from pwindow.window.setup import Setup, planned_rolls
from pwindow.workflows.evidence import Evidence, replaced_product, reshaped, with_planned, without_planned
from pwindow.workflows.uploads import is_id

_TEXTS = ("product", "plate", "roll")
_NUMBERS = ("pressure", "speed", "assurance", "confidence")
_SIDES = ("least", "most", "count")
FORMS: tuple[Form, ...] = ("all", "bending")
"""Forms of the surfaces that a page offers, as `fit` names them."""
UNRECORDED = ("", EACH_PRINT, ROLL_AND_PLATE)
"""What a page can state of make-readies that a trial does not record."""
_LONGEST = 500  # characters of one value that are looked at


@dataclass(frozen=True, kw_only=True)
class Address:
    """Settings that pages share; what is None or missing is left to the page.

    Attributes
    ----------
    product, plate, roll : str or None
    pressure : float or None
        In the trial's unit of pressure.
    speed : float or None
        m/min.
    assurance : float or None
        Between 0 and 1.
    confidence : float or None
        That the assurance level is reached with; 0 where none is asked for.
    limits : mapping of str to float
        Changed limits of the product, such as ``line_width.most`` in the requirement's unit, or ``gap.count``.
    planned : tuple of float
        Cell volumes of planned rolls in the order they were planned, cm³/m².
    data : str or None
        Id under which the server keeps what a visitor loaded.
    surfaces : {'all', 'bending'} or None
        Form of the surfaces.
    unrecorded : str or None
        What is stated of make-readies that the trial does not record, one of `UNRECORDED`.
    units : str or None
        What numbers are shown in, as `pwindow.wording.chosen_units` reads it; the trial file's where None.
    colours : str or None
        Name of a palette. The word ``theme`` belongs to the server, which starts a new kernel on it.
    """

    product: str | None = None
    plate: str | None = None
    roll: str | None = None
    pressure: float | None = None
    speed: float | None = None
    assurance: float | None = None
    confidence: float | None = None
    limits: Mapping[str, float] = field(default_factory=dict)
    planned: tuple[float, ...] = ()
    data: str | None = None
    surfaces: Form | None = None
    unrecorded: str | None = None
    units: str | None = None
    colours: str | None = None

    @classmethod
    def read(cls, query: str | None, own: Collection[str] = ()) -> tuple[Address, tuple[str, ...]]:
        """Read the query of an address; what cannot be used is left_out, and the rest is used.

        Parameters
        ----------
        query : str or None
        own : collection of str
            Names that are the page's alone, and are passed over.

        Examples
        --------
        >>> found, left_out = Address.read("roll=2047&speed=fast&gap.count=60")
        >>> found.roll, found.speed, found.limits
        ('2047', None, {'gap.count': 60.0})
        >>> left_out
        ('speed=fast: not a number; ignored',)
        """
        found: dict = {"limits": {}}
        left_out = []
        for name, text in parse_qsl(query or "", max_num_fields=200, errors="replace"):
            if name in own:
                continue
            try:
                _take(found, name, text)
            except UnusableInput as problem:
                left_out.append(f"{name[:40]}={text[:40]}: {problem}; ignored")
        return cls(**found), tuple(left_out)

    def query(self) -> str:
        """The query, without its question mark.

        Examples
        --------
        >>> Address(product="Tag, long", speed=62.5, limits={"gap.most": 40.0}).query()
        'product=Tag%2C%20long&speed=62.5&gap.most=40'
        """
        names = ("data", "surfaces", "unrecorded", *_TEXTS)
        given = [(name, getattr(self, name)) for name in names if getattr(self, name) is not None]
        numbers = {name: getattr(self, name) for name in _NUMBERS} | dict(self.limits)
        given += [(name, f"{value:.10g}") for name, value in numbers.items() if value is not None]
        given += [("planned", f"{value:.10g}") for value in self.planned]
        given += [(name, getattr(self, name)) for name in ("units", "colours") if getattr(self, name)]
        return urlencode(given, quote_via=quote)


def _take(found: dict, name: str, text: str) -> None:
    """Put one setting in its place."""
    if name in _TEXTS or name == "units":
        found[name] = text[:_LONGEST]
    elif name in _NUMBERS:
        found[name] = _number(text)
    elif name == "planned":
        found[name] = (*found.get(name, ()), _number(text))
    elif name == "data":
        if not is_id(text):
            raise UnusableInput("not an id of loaded data")
        found[name] = text
    elif name == "surfaces":
        if text not in FORMS:
            raise UnusableInput(f"choose from {', '.join(FORMS)}")
        found[name] = text
    elif name == "unrecorded":
        if text not in UNRECORDED:
            raise UnusableInput(f"choose from {', '.join(UNRECORDED[1:])}")
        found[name] = text
    elif name == "colours":
        if text not in PALETTES:
            raise UnusableInput(f"choose from {', '.join(PALETTES)}")
        found[name] = text
    elif name.rpartition(".")[2] in _SIDES and "." in name:
        found["limits"][name] = _number(text)
    else:
        raise UnusableInput("unknown setting")


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise UnusableInput("not a number")
    return value


@dataclass(frozen=True)
class Opened:
    """What a page opens at: the question, the set-up, and what of the address could not be used."""

    question: Question
    setup: Setup
    left_out: tuple[str, ...]


def open_at(address: Address, evidence: Evidence, ready: Question | None = None) -> Opened:
    """Find what an address asks for, as far as the evidence has it.

    Parameters
    ----------
    address : Address
    evidence : Evidence
    ready : Question, optional
        One that is worked out already, and taken where it is the one asked for.

    Raises
    ------
    UnusableInput
        If the trial can judge no product at all, whatever the address says.
    """
    left_out: list[str] = []
    evidence = evidence_at(address, evidence, left_out)
    question = _question(address, evidence, ready, left_out)
    if (address.plate, address.roll, address.pressure, address.speed) == (None,) * 4:
        return Opened(question, question.start(), tuple(left_out))
    return Opened(question, _setup(address, question, left_out), tuple(left_out))


def evidence_at(address: Address, evidence: Evidence, left_out: list[str]) -> Evidence:
    """The evidence fitted as an address says, with its planned rolls.

    Parameters
    ----------
    address : Address
    evidence : Evidence
    left_out : list of str
        Is told what of the address could not be used.
    """
    terms, unrecorded = address.surfaces or evidence.terms, address.unrecorded
    if evidence.unrecorded is None or unrecorded == evidence.unrecorded:
        unrecorded = None
    if terms != evidence.terms or unrecorded is not None:
        evidence = reshaped(evidence, terms, unrecorded)
    return _with_planned(address, evidence, left_out)


def _with_planned(address: Address, evidence: Evidence, left_out: list[str]) -> Evidence:
    """The evidence with the planned rolls of the address and no others."""
    if address.planned == tuple(roll.cell_volume for roll in planned_rolls(evidence.study)):
        return evidence
    evidence = without_planned(evidence)
    for volume in address.planned:
        try:
            evidence = with_planned(evidence, volume)
        except UnusableInput as problem:
            left_out.append(f"planned={volume:g}: {problem}; ignored")
    return evidence


def _question(address: Address, evidence: Evidence, ready: Question | None, left_out: list[str]) -> Question:
    question = _of_declared(address, evidence, ready, left_out)
    if address.product not in (None, question.product.name):
        return question
    product = edited(address, question.product, left_out)
    if product == question.product:
        return question
    return ask(replaced_product(evidence, product), product)


def _of_declared(
    address: Address, evidence: Evidence, ready: Question | None, left_out: list[str]
) -> Question:
    """The question about the product as declared; about another one where it cannot be asked."""
    name = address.product
    if ready is not None and ready.evidence is evidence and name in (None, ready.product.name):
        return ready
    question = first_judgeable(evidence, name)
    if name is not None and name not in evidence.products:
        left_out.append(f"product={name}: there is no such product; {question.product.name} is shown")
    elif name not in (None, question.product.name):
        left_out.append(
            f"product={name}: it cannot be judged with this trial; {question.product.name} is shown"
        )
    return question


def edited(address: Address, product: Product, left_out: list[str]) -> Product:
    """The product with the limits and the assurance of the address; limits of one requirement go together.

    Parameters
    ----------
    address : Address
    product : Product
    left_out : list of str
        Is told what of the address could not be used.
    """
    for requirement, changes in _changes(address, product, left_out).items():
        try:
            product = changed_limits(product, {requirement: changes})
        except UnusableInput as problem:
            left_out.append(f"{requirement}: {problem}; the product's own is used")
    if address.assurance is not None:
        try:
            product = product.with_assurance(address.assurance)
        except UnusableInput as problem:
            left_out.append(f"assurance: {problem}; the product's own is used")
    if address.confidence is not None:
        try:
            product = product.with_confidence(address.confidence or None)
        except UnusableInput as problem:
            left_out.append(f"{problem}; the product's own is used")
    return product


def _changes(address: Address, product: Product, left_out: list[str]) -> dict[str, dict[str, float]]:
    """By requirement, the limits of the address that the product has."""
    changes: dict[str, dict[str, float]] = {}
    for name, value in address.limits.items():
        requirement, _, side = name.rpartition(".")
        if _limit(product, requirement, side) is None:
            left_out.append(f"{name}: {product.name} has no such limit; ignored")
        else:
            changes.setdefault(requirement, {})[side] = value
    return changes


def _limit(product: Product, requirement: str, side: str) -> float | None:
    found = next((item for item in product.requirements if item.name == requirement), None)
    if found is None:
        return None
    return found.parameters.get("count") if side == "count" else getattr(found, side)


def _setup(address: Address, question: Question, left_out: list[str]) -> Setup:
    """The recommended set-up, with what the address names in its place."""
    setup, trial = question.start(), question.window.surfaces.trial
    if address.plate is not None:
        if address.plate in question.window.plates:
            setup = replace(setup, plate=address.plate)
        else:
            left_out.append(
                f"plate={address.plate}: no such plate; {setup.plate or 'the only plate'} is shown"
            )
    if address.roll is not None:
        roll = next((item for item in question.window.rolls if item.id == address.roll), None)
        if roll is None:
            left_out.append(f"roll={address.roll}: not in the inventory; roll {setup.roll.id} is shown")
        else:
            setup = replace(setup, roll=roll)
    speeds = trial.prints["speed"]
    for name, low, high, unit in (
        ("pressure", trial.pressures[0], trial.pressures[-1], trial.pressure_unit),
        ("speed", float(speeds.min()), float(speeds.max()), "m/min"),
    ):
        value = getattr(address, name)
        if value is not None and low <= value <= high:
            setup = replace(setup, **{name: value})
        elif value is not None:
            left_out.append(
                f"{name}={value:g}: outside the tried {low:g} to {high:g} {unit}; {getattr(setup, name):g} is shown"
            )
    return setup


def address_of(question: Question, setup: Setup, declared: Product, data: str | None = None) -> Address:
    """The address that opens at a set-up of a question; what a page opens at anyway is left out.

    Parameters
    ----------
    question : Question
    setup : Setup
    declared : Product
        The product before its limits were changed on the page.
    data : str, optional
        Id of what the visitor loaded.
    """
    shown = {} if setup == question.start() else _named(setup)
    evidence = question.evidence
    return Address(
        **changes_of(question.product, declared),
        planned=tuple(roll.cell_volume for roll in planned_rolls(evidence.study)),
        data=data,
        surfaces=evidence.terms if evidence.terms in FORMS[1:] else None,
        unrecorded=evidence.unrecorded or None,
        **shown,
    )


def changes_of(product: Product, declared: Product) -> dict:
    """What an address says of a product: its name, and what was changed on the page.

    Parameters
    ----------
    product : Product
    declared : Product
        Before its limits were changed on the page.
    """
    asked, before = product.assurance, declared.assurance
    return {
        "product": product.name,
        "assurance": None if asked.level == before.level else asked.level,
        "confidence": None if asked.confidence == before.confidence else asked.confidence or 0.0,
        "limits": {
            f"{requirement.name}.{side}": value
            for requirement in product.requirements
            for side in _SIDES
            if (value := _limit(product, requirement.name, side)) is not None
            and value != _limit(declared, requirement.name, side)
        },
    }


def _named(setup: Setup) -> dict:
    return {
        "plate": setup.plate or None,
        "roll": setup.roll.id,
        "pressure": setup.pressure,
        "speed": setup.speed,
    }
