"""Documents for people: the report of a design review and the sheet for a press run."""

from typing import TYPE_CHECKING

from pwindow.names import loading

if TYPE_CHECKING:
    from pwindow.review.report import report_of
    from pwindow.review.report_page import report_html
    from pwindow.review.run_sheet import run_sheet_of
    from pwindow.review.run_sheet_page import run_sheet_html

__all__ = ["report_html", "report_of", "run_sheet_html", "run_sheet_of"]

# a run sheet needs no figure library
__getattr__ = loading(
    __name__,
    {
        "report_html": "pwindow.review.report_page",
        "report_of": "pwindow.review.report",
        "run_sheet_html": "pwindow.review.run_sheet_page",
        "run_sheet_of": "pwindow.review.run_sheet",
    },
)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
