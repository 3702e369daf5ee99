"""What more than one page says."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from functools import partial

from markupsafe import Markup

from pwindow.markup import part
from pwindow.product import Product
from pwindow.review.words import changed_requirements
from pwindow.window.shortfall.shortfall import Shortfall
from pwindow.window.shortfall.words import conflicts, remedies
from pwindow.wording import Units
from pwindow.workflows.evidence import Evidence

_NOTES = 5  # of a trial that are shown before the others are folded away
_REASONS = 10  # of a failure that are shown
_part = partial(part, __package__, "words")


def working(what: str) -> Markup:
    """What is being done."""
    return _part("working", what=what)


def stopped() -> Markup:
    """That work was stopped."""
    return _part("stopped")


def waiting_card(
    evidence: Evidence, why: Sequence[str], data: str | None, *, here: bool, plates: bool = True
) -> Markup:
    """What is missing before there is an answer, and what to do.

    Parameters
    ----------
    evidence : Evidence
    why : sequence of str
        As of `NothingToJudge`.
    data : str or None
        Id of what the visitor loaded.
    here : bool
        Whether files are loaded on this very page.
    plates : bool, default True
        Whether to name the page that says which plate to order.
    """
    if evidence.surfaces is None:
        return _part("no_trial", products=list(evidence.products), here=here, data=data)
    trial = evidence.surfaces.trial
    read = {"files": trial.files, "prints": len(trial.prints), "unit": trial.pressure_unit}
    return _part("no_product", **read, why=why, here=here, data=data, plates=plates) + trial_notes(evidence)


def trial_notes(evidence: Evidence) -> Markup:
    """What was noticed when the trial was read, such as which sheet of a workbook; nothing where nothing was."""
    notes = () if evidence.surfaces is None else evidence.surfaces.trial.notes
    return _part("trial_notes", notes=list(dict.fromkeys(notes)), most=_NOTES)


def table(names: Iterable[str], rows: Iterable[Sequence[object]]) -> Markup:
    """A table of texts; a line break in one is kept."""
    return _part("wide_table", names=names, rows=rows)


def link(text: str, name: str, content: str, kind: str = "text/csv") -> Markup:
    """A link that saves a file.

    Parameters
    ----------
    text : str
        Of the link; HTML.
    name : str
        Of the file.
    content : str
        Of the file.
    kind : str, default 'text/csv'
        Media type.
    """
    return _part("link", text=text, name=name, kind=kind, data=base64.b64encode(content.encode()).decode())


def passed_over(wanted: str, why: str, shown: str) -> Markup:
    """Why another product is shown than the one before.

    Parameters
    ----------
    wanted : str
        Name of the product that cannot be judged.
    why : str
        A sentence.
    shown : str
        Name of the product that is shown.
    """
    return _part("passed_over", wanted=wanted, why=why, shown=shown)


def replaced(before: Evidence, after: Evidence) -> Markup:
    """Which trial is shown now instead of which, once files were loaded."""
    files = [() if one.surfaces is None else one.surfaces.trial.files for one in (before, after)]
    return _part("replaced", before=files[0], after=files[1])


def problem_banner(reasons: Sequence[str], *, kept: bool = True) -> Markup:
    """What failed and what to do; the first ten of many."""
    return _part("problems", reasons=reasons, most=_REASONS, kept=kept)


def note(sentence: str) -> Markup:
    """Something to know, as a sentence without its full stop."""
    return _part("note", sentence=sentence)


def refused(why: str) -> Markup:
    """Why what was typed cannot be used."""
    return _part("refused", why=why)


def changed_list(declared: Product, product: Product, units: Units) -> Markup | str:
    """What of a product was changed on the page, and what was declared; "" where nothing was.

    Parameters
    ----------
    declared, product : Product
    units : Units
        To write limits in.
    """
    changed = changed_requirements(declared, product, units)
    return _part("changed", declared=changed) if changed else ""


def several_sheets(file: str) -> Markup:
    """That a sheet is to be chosen."""
    return _part("several_sheets", file=file)


def saves(name: str, more: str | Markup = "") -> Markup:
    """What saves a picture in files of a name, and what else is said beside it."""
    return _part("saves", name=name, more=more)


def shortfall_list(found: Shortfall | None, units: Units) -> Markup:
    """Where nothing is assured, what conflicts and what would do; nothing elsewhere."""
    named = (
        ()
        if found is None
        else (("What conflicts", conflicts(found, units)), ("What would help", remedies(found, units)))
    )
    return _part("shortfall", named=named)
