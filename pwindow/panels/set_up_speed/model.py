"""What the set-up speed page knows and works out, without any widget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pwindow.inputs import InputFile
from pwindow.panels.shared.address import FORMS, UNRECORDED
from pwindow.panels.shared.inquiry import Inquiry
from pwindow.panels.shared.question import Question, ask
from pwindow.surfaces import Form
from pwindow.workflows.evidence import Evidence, reshaped, why_not

SURFACES = dict(zip(("second order", "second order with a smooth correction"), FORMS))
"""Forms of the surfaces to choose from, by their words."""
MAKE_READIES = dict(zip(("not recorded", "each print its own", "one for each roll and plate"), UNRECORDED))
"""What can be stated of make-readies that a trial does not record, by its words."""


@dataclass(frozen=True)
class Fitted:
    """How a trial is fitted, as far as the page offers it.

    Attributes
    ----------
    terms : str
        Form of the surfaces, as `fit` names it.
    unrecorded : str or None
        What is stated of make-readies; None where the trial records them.
    """

    terms: Form
    unrecorded: str | None

    @classmethod
    def of(cls, evidence: Evidence) -> Fitted:
        return cls(evidence.terms, evidence.unrecorded)


def fitted_as(inquiry: Inquiry, fitted: Fitted) -> Question:
    """The same question of the trial fitted otherwise; raises UnusableInput where it cannot be."""
    evidence = reshaped(inquiry.evidence, fitted.terms, fitted.unrecorded)
    return ask(evidence, inquiry.asked.product)


@dataclass(frozen=True)
class Loaded:
    """What a page stands on once files were loaded.

    Attributes
    ----------
    inquiry : Inquiry
    wanted : str or None
        Name of the product that it should show: the one that was added last, else the one shown before.
    """

    inquiry: Inquiry
    wanted: str | None

    @property
    def passed_over(self) -> tuple[str, str] | None:
        """The product wanted, where another is shown, and why; None where none is passed over."""
        question, wanted = self.inquiry.question, self.wanted
        if question is None or wanted is None or wanted == question.product.name:
            return None
        return wanted, why_not(self.inquiry.evidence, wanted)


def with_files(inquiry: Inquiry, files: Sequence[InputFile]) -> Loaded:
    """Load files onto what a page stands on.

    Raises
    ------
    UnusableInput
        If any of them cannot be used.
    SeveralSheets
        If a sheet is to be chosen first.
    """
    before = inquiry.evidence.products
    session, evidence, added = inquiry.session.load(files, inquiry.evidence)
    new = {name: product for name, product in evidence.products.items() if product is not before.get(name)}
    wanted = added or (None if inquiry.question is None else inquiry.question.product.name)
    declared = {**inquiry.declared, **new}
    return Loaded(Inquiry.on(session, evidence, wanted=wanted, declared=declared), wanted)
