"""The report and the run sheet of the demo tag, gathered once, and a reader of its pages."""

import datetime
from html.parser import HTMLParser

import pytest

from pwindow.review.essentials import subject_of
from pwindow.review.provenance import Origin
from pwindow.review.report import report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import run_sheet
from pwindow.review.run_sheet_page import run_sheet_html


class Page(HTMLParser):
    """A page as tags, text, and tables by their ids (rows of cell texts)."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.tables, self.words = [], {}, []
        self._table, self._inside = None, []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self._inside.append(tag)
        if tag == "table":
            self._table = dict(attributes).get("id")
            self.tables.setdefault(self._table, [])
        elif tag == "tr" and self._table:
            self.tables[self._table].append([])
        elif tag in ("td", "th") and self._table:
            self.tables[self._table][-1].append("")

    def handle_endtag(self, tag):
        if tag in self._inside:
            while self._inside.pop() != tag:
                pass
        if tag == "table":
            self._table = None

    def handle_data(self, data):
        if "script" in self._inside or "style" in self._inside:
            return
        self.words.append(data)
        if self._table and {"td", "th"} & set(self._inside):
            cells = self.tables[self._table][-1]
            cells[-1] += data

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())

    def rows(self, name):
        """Rows of a table without its head, white space made one."""
        return [[" ".join(cell.split()) for cell in row] for row in self.tables[name][1:]]


@pytest.fixture(scope="session")
def read_page():
    return Page


@pytest.fixture(scope="session")
def tag_subject(tag_window):
    origin = Origin(command="pwindow review trial.csv")
    return subject_of(tag_window, origin=origin, made=datetime.date(2026, 11, 3))


@pytest.fixture(scope="session")
def tag_report(tag_subject):
    return report(tag_subject)


@pytest.fixture(scope="session")
def tag_sheet(tag_subject):
    return run_sheet(tag_subject)


@pytest.fixture(scope="session")
def tag_pages(tag_report, tag_sheet):
    """The report and the run sheet as pages."""
    return report_html(tag_report), run_sheet_html(tag_sheet)
