"""Documents for people: the report of a design review and the sheet for a press run."""

from pwindow.review.browser import image_of, pdf_of
from pwindow.review.collect import recommended_setup, review
from pwindow.review.pages import report_html, run_sheet_html
from pwindow.review.records import Review, RollVolume, last_volumes

__all__ = [
    "Review",
    "RollVolume",
    "image_of",
    "last_volumes",
    "pdf_of",
    "recommended_setup",
    "report_html",
    "review",
    "run_sheet_html",
]
