"""Documents for people: the report of a design review and the sheet for a press run."""

from pwindow.review.collect import Review, RollVolume, review
from pwindow.review.pages import report_html, run_sheet_html
from pwindow.review.pdf import pdf_of

__all__ = ["Review", "RollVolume", "pdf_of", "report_html", "review", "run_sheet_html"]
