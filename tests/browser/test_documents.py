"""Documents in a real browser: offline, printed whole on both papers, one page where one is promised."""

import re
import sys
from typing import NamedTuple

import pytest
from playwright.sync_api import Error

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.review import browser as printing
from pwindow.review.browser import image_of, pdf_of
from pwindow.review.essentials import subject_of
from pwindow.review.report import Report, report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import RunSheet, run_sheet
from pwindow.review.run_sheet_page import run_sheet_html
from pwindow.window.setup import Setup
from tests.helpers.trials import read_frame

pytestmark = pytest.mark.slow

PAPERS = {"A4": (595, 842), "Letter": (612, 792)}
EVERYTHING = """
name = "A part that must meet everything, under a name that is far longer than any name of a part should be"
[pattern]
plate = "laser-imaged"
plate_width = "30 µm"
plate_gap = "60 µm"
pitch = "900 µm"
[requirements.line_resistance]
length = "80 mm"
most = "400 ohm"
[requirements.sheet_resistance]
most = "6 ohm"
[requirements.voltage_drop]
tile = "200 mm"
current_density = "1 A/m2"
most = "90 mV"
[requirements.open_area]
least = "80 %"
[requirements.line_width]
most = "72 µm"
[requirements.line_height]
least = "0.4 µm"
[requirements.gap]
least = "5 µm"
most = "60 µm"
count = 480
"""


FOUND = ["tag_found", "edge_found", "all_found", "doubtful_found"]
PRINTED = {"A4": (184.0, 279.0), "Letter": (189.9, 261.4)}  # mm, what a run sheet has between its margins
BOXES = """name => [...document.querySelectorAll(name)].map(one => one.getBoundingClientRect())
    .map(box => [box.width * 25.4 / 96, box.height * 25.4 / 96])"""  # mm


ROOM = """[...document.querySelectorAll('.infolayer text[class$=title]')].map(title => {
    const inside = title.getBoundingClientRect(), picture = title.closest('figure > div').getBoundingClientRect();
    return Math.min(inside.top - picture.top, picture.bottom - inside.bottom,
        inside.left - picture.left, picture.right - inside.right); })"""  # px, from a title to the nearest edge


class Documents(NamedTuple):
    report: Report
    sheet: RunSheet


def documents_of(window, setup=None):
    subject = subject_of(window, setup)
    return Documents(report(subject), run_sheet(subject))


@pytest.fixture(scope="module")
def tag_found(tag_window):
    return documents_of(tag_window)


@pytest.fixture(scope="module")
def edge_found(tag_window):
    """A set-up that is not assured and drifts out of what was tried."""
    return documents_of(tag_window, Setup("laser-imaged", tag_window.rolls[0], 80.0, 30.0))


@pytest.fixture(scope="module")
def doubtful_found(demo_rows, tag, study):
    """The same of a trial that is warned of and records no make-readies: nothing makes a longer sheet of the tag."""
    area = "section_area [um2]"
    rows = demo_rows.drop(columns="make_ready").assign(**{area: 3 * demo_rows[area]})
    window = pw.find_window(pw.fit(read_frame(rows)), tag, study)
    return documents_of(window, Setup("laser-imaged", window.rolls[0], 80.0, 30.0))


@pytest.fixture(scope="module")
def unreachable_found(demo_surfaces, tag, study):
    """The closest set-up where none is assured, whose colour bar has the longest title."""
    return documents_of(pw.find_window(demo_surfaces, tag.with_assurance(0.99999), study))


@pytest.fixture(scope="module")
def all_found(demo_surfaces, study):
    product = pw.read_product(InputFile("all.toml", EVERYTHING.encode()))
    return documents_of(pw.find_window(demo_surfaces, product, study))


def pages(pdf):
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def sizes(pdf):
    return {tuple(map(float, found)) for found in re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)}


@pytest.fixture
def opened(browser, tmp_path):
    """Open a page offline, and keep every address it asks for."""
    contexts = []

    def open_page(html, width=1280):
        file = tmp_path / "document.html"
        file.write_text(html, encoding="utf-8")
        contexts.append(browser.new_context(offline=True, viewport={"width": width, "height": 900}))
        page = contexts[-1].new_page()
        page.addresses, page.said = [], []
        page.on("request", lambda request: page.addresses.append(request.url))
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.goto(file.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


def printed(opened, html, paper):
    """A run sheet laid out as wide as it is printed."""
    page = opened(html, int(PRINTED[paper][0] * 96 / 25.4))
    page.emulate_media(media="print")
    return page


def test_the_report_asks_no_other_host(opened, tag_found):
    page = opened(report_html(tag_found.report))
    page.locator(".heatmaplayer image").first.wait_for(state="attached")
    assert [one for one in page.addresses if not one.startswith(("file:", "data:", "blob:"))] == []
    assert page.said == []


@pytest.mark.parametrize("width", [680, 1280])
def test_nothing_is_wider_than_its_page(opened, tag_found, all_found, width):
    """680 px are what an A4 page holds between its margins."""
    for html in (
        report_html(tag_found.report),
        report_html(all_found.report),
        run_sheet_html(all_found.sheet),
    ):
        page = opened(html, width)
        page.emulate_media(media="print")
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width


def test_no_figure_or_row_is_cut_in_two(opened, tag_found):
    page = opened(report_html(tag_found.report))
    page.emulate_media(media="print")
    rules = page.evaluate(
        "[...document.querySelectorAll('tr, figure')].map(one => getComputedStyle(one).breakInside)"
    )
    assert len(rules) > 50 and set(rules) == {"avoid"}
    heads = page.evaluate("[...document.querySelectorAll('thead')].map(one => getComputedStyle(one).display)")
    assert set(heads) == {"table-header-group"}
    tallest = page.evaluate(
        "Math.max(...[...document.querySelectorAll('figure')].map(one => one.offsetHeight))"
    )
    assert 400 < tallest < 930  # px of a Letter page between its margins


@pytest.mark.parametrize("found", ["tag_found", "edge_found"])
def test_the_picture_of_the_window_stands_on_the_first_page(opened, found, request):
    """942 px are what a Letter page holds between its margins, 690 px wide."""
    page = opened(report_html(request.getfixturevalue(found).report), 690)
    page.emulate_media(media="print")
    assert 600 < page.evaluate("document.querySelector('figure').getBoundingClientRect().bottom") <= 942


@pytest.mark.parametrize("found", ["tag_found", "unreachable_found"])
def test_titles_of_axes_lie_inside_their_pictures(opened, found, request):
    page = opened(report_html(request.getfixturevalue(found).report))
    page.locator(".heatmaplayer image").first.wait_for(state="attached")
    page.emulate_media(media="print")
    room = page.evaluate(ROOM)
    assert len(room) == 10 and min(room) >= 0.0  # of picture, axes and the colour bar


def test_no_heading_is_parted_from_what_it_heads(opened, tag_found):
    page = opened(report_html(tag_found.report))
    page.emulate_media(media="print")
    heading = "[...document.querySelectorAll('h2, h3, p.lead')].map(one => getComputedStyle(one).breakAfter)"
    assert set(page.evaluate(heading)) == {"avoid"}
    first = "[...document.querySelectorAll('tbody tr:first-child:not(:last-child)')].map(one => getComputedStyle(one).breakAfter)"
    assert set(page.evaluate(first)) == {"avoid"}


@pytest.mark.parametrize("paper", PAPERS)
def test_report_on_paper(browser_type_launch_args, tag_found, paper):
    pdf = pdf_of(report_html(tag_found.report, paper), paper)
    assert 4 <= pages(pdf) <= 6
    assert [tuple(round(side) for side in size) for size in sizes(pdf)] == [
        pytest.approx(PAPERS[paper], abs=1)
    ]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("found", FOUND)
def test_the_run_sheet_is_one_page(browser_type_launch_args, found, paper, request):
    html = run_sheet_html(request.getfixturevalue(found).sheet, paper)
    assert pages(pdf_of(html, paper)) == 1


def test_a_run_sheet_of_no_stated_paper_is_one_page_of_both(browser_type_launch_args, tag_found):
    html = run_sheet_html(tag_found.sheet)
    assert [pages(pdf_of(html, paper)) for paper in PAPERS] == [1, 1]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("found", FOUND)
def test_every_box_of_the_run_sheet_has_room_to_write_in(opened, found, paper, request):
    page = printed(opened, run_sheet_html(request.getfixturevalue(found).sheet, paper), paper)
    boxes = page.evaluate(BOXES, ".blank")
    assert len(boxes) >= 30 and min(height for _, height in boxes) >= 10.0
    assert min(width for width, _ in boxes) >= 14.0


@pytest.mark.parametrize("paper", PAPERS)
def test_the_run_sheet_fills_its_page_with_room_for_notes(opened, tag_found, paper):
    page = printed(opened, run_sheet_html(tag_found.sheet, paper), paper)
    ((_, notes),) = page.evaluate(BOXES, ".notes")
    assert 20.0 <= notes <= 60.0
    ((_, used),) = page.evaluate(BOXES, "main")
    height = PRINTED[paper][1]
    assert height - 3.0 < used <= height


def test_a_second_page_of_a_run_sheet_would_be_seen(browser_type_launch_args, tag_found):
    html = run_sheet_html(tag_found.sheet).replace("<strong>Cautions.</strong>", "<p>more</p>" * 40)
    assert pages(pdf_of(html)) == 2


def test_pictures(browser_type_launch_args, tag_found):
    figure = tag_found.report.pictures.window
    svg, png = image_of(figure, "svg"), image_of(figure, "png")
    assert svg.startswith(b"<svg") and "cell volume, cm³/m²" in svg.decode()
    assert png.startswith(b"\x89PNG") and int.from_bytes(png[16:20], "big") == 2 * 700


def test_without_the_library_the_mend_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    with pytest.raises(printing.NoBrowser, match=r'pip install -e "\.\[pdf\]"'):
        pdf_of("<p>")


def test_without_a_browser_the_mend_is_said():
    class Nothing:
        def launch(self, **options):
            raise Error("nothing at that path")

    with pytest.raises(printing.NoBrowser, match="apt install chromium.*nothing at that path"):
        printing._browser(Nothing())


def test_no_room_for_temporary_files(monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(printing.tempfile, "TemporaryDirectory", full)
    with pytest.raises(UnusableInput, match="need space for temporary files .No space left on device"):
        printing.pdf_of("<p>page</p>")
