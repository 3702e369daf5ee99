"""The run sheet as a page, which has no picture and no script."""

from __future__ import annotations

from pwindow.errors import WindowProblem
from pwindow.review.essentials import Promise
from pwindow.review.pages import Paper, page
from pwindow.review.run_sheet import RunSheet
from pwindow.window.search.starting import Choice
from pwindow.wording import percent


def run_sheet_html(sheet: RunSheet, paper: Paper | None = None) -> str:
    """The sheet for the press side: one printed page.

    Parameters
    ----------
    sheet : RunSheet
    paper : {'A4', 'Letter'}, optional
        Paper it is laid out for; that of the printer unless given.

    Raises
    ------
    WindowProblem
        If no set-up was asked for and none is assured, or its roll is only planned.
    """
    _refuse_what_cannot_run(sheet.essentials.promise)
    pattern = sheet.pattern
    return page(
        "run_sheet.html.j2", sheet.essentials, paper, pattern=pattern.to_dict(), measured=pattern.measured
    )


def _refuse_what_cannot_run(promise: Promise) -> None:
    if promise.chosen is Choice.CLOSEST:
        raise WindowProblem(
            f"no set-up reaches {promise.product.assurance.words}, so there is none for a run sheet; choose one that is "
            f"not assured, or set a lower assurance: the closest reaches {percent(promise.joint, promise.level)}"
        )
    if promise.setup.roll.planned:
        raise WindowProblem(
            f"roll {promise.setup.roll.id} is only planned: a run sheet needs a roll that can be mounted; choose one of the inventory"
        )
