"""What a page on a question stands on, without any widget."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from pwindow.panels.shared.address import Address, address_of
from pwindow.panels.shared.question import Question, ask, first_judgeable
from pwindow.panels.shared.session import Session
from pwindow.product import Product
from pwindow.window.setup import Setup
from pwindow.workflows.evidence import Evidence, NothingToJudge, replaced_product


@dataclass(frozen=True)
class Inquiry:
    """What a visitor loaded, the evidence with it, and the question that is asked of it.

    Attributes
    ----------
    session : Session
    evidence : Evidence
    declared : mapping of str to Product
        Products before their limits were changed on the page.
    question : Question or None
        None where a trial or a product is waited for.
    why : tuple of str
        Then for each product why the trial cannot judge it.
    """

    session: Session
    evidence: Evidence
    declared: Mapping[str, Product]
    question: Question | None = None
    why: tuple[str, ...] = field(default=(), compare=False)

    @classmethod
    def on(
        cls,
        session: Session,
        evidence: Evidence,
        *,
        wanted: str | None = None,
        declared: Mapping[str, Product] | None = None,
    ) -> Inquiry:
        """Stand on evidence: on the wanted product, else on the first that the trial can judge.

        Parameters
        ----------
        session : Session
        evidence : Evidence
        wanted : str, optional
            Name of a product.
        declared : mapping of str to Product, optional
            Products as they were declared; as the evidence has them unless given.
        """
        kept = cls(session, evidence, evidence.products if declared is None else declared)
        try:
            return kept.asking(first_judgeable(evidence, wanted))
        except NothingToJudge as problem:
            return replace(kept, why=problem.why)

    @property
    def asked(self) -> Question:
        """The question; raises NothingToJudge where a trial or a product is waited for."""
        if self.question is None:
            raise NothingToJudge("there is no trial yet, or none that can judge a product here")
        return self.question

    @property
    def declared_product(self) -> Product:
        """The product before its limits were changed on the page."""
        return self.declared[self.asked.product.name]

    def asking(self, question: Question) -> Inquiry:
        """The same with another question, and the evidence that it is asked of."""
        return replace(self, question=question, evidence=question.evidence)

    def asked_with(self, product: Product) -> Question:
        """The question with other limits or another assurance; raises UnusableInput where it cannot be asked."""
        return ask(replaced_product(self.evidence, product), product)

    def stayed(self) -> Inquiry:
        """The same of a visitor who is not idle."""
        return replace(self, session=self.session.stayed())

    def address(self, setup: Setup | None = None) -> Address:
        """What of the address other pages are given too, at a set-up of the question; without one only the data."""
        if setup is None:
            return Address(data=self.session.data)
        return address_of(self.asked, setup, self.declared_product, self.session.data)
