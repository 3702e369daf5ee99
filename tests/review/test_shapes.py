"""Reviews of trials of other shapes: each says what it can, and no number that is not one."""

import re

import pytest

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.review.essentials import subject_of
from pwindow.review.report import report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import run_sheet
from pwindow.review.run_sheet_page import run_sheet_html
from tests.helpers.trials import read_frame

GAP = (
    '[pattern]\nplate = "laser-imaged"\nplate_gap = "75 µm"\n[requirements.gap]\nleast = "0 µm"\ncount = 12\n'
)
LINES = ["line_height [um]", "line_width [um]", "section_area [um2]", "resistance [ohm]", "line_length [mm]"]


def counted(rows):
    """Gaps that were inspected and not measured."""
    return rows[rows["plate_gap [um]"].notna()].drop(columns=[*LINES, "gap [um]"])


def without(*columns):
    return lambda rows: rows.drop(columns=list(columns))


SHAPES = {
    "gaps counted": (counted, GAP, ["bridged gaps, of 12"]),
    "no plate, no roll": (
        without("plate", "roll"),
        None,
        ["line resistance over 80 mm", "line width, average of 4 lines"],
    ),
    "constant pressure": (lambda rows: rows[rows["pressure [um]"] == 50], None, ["gap, average of 3 gaps"]),
    "lines only": (
        lambda rows: rows[rows["plate_gap [um]"].isna()],
        '[pattern]\nplate = "laser-imaged"\n[requirements.line_width]\nmost = "70 µm"\n',
        [
            "line width, average of 4 lines",
            "line height, average of 4 lines",
            "resistance of 5 mm of line, average of 2 lines",
        ],
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("change, product, measured", SHAPES.values(), ids=SHAPES.keys())
def test_both_documents(simulated, tag, read_page, change, product, measured):
    wanted = tag if product is None else pw.read_product(InputFile("part.toml", product.encode()))
    subject = subject_of(pw.find_window(pw.fit(read_frame(change(simulated))), wanted))
    sheet = read_page(run_sheet_html(run_sheet(subject)))
    for page in (read_page(report_html(report(subject))), sheet):
        assert not re.findall(r"\b(nan|None|inf)\b", page.text)
    told = [row[0] for row in sheet.rows("first-prints")]
    assert set(measured) <= set(told)
