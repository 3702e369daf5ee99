"""The page of traces in a real browser: look, decide, point out bare film, load and save."""

from __future__ import annotations

import csv
import io

import pytest

import pwindow as pw

pytestmark = pytest.mark.slow

PATIENCE = 150_000  # ms
PAGE = "/voila/render/traces.ipynb"


@pytest.fixture
def opened(page, served):
    page.goto(served + PAGE)
    page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=PATIENCE)
    return page


def choose(page, start: str) -> None:
    options = page.get_by_label("Scan").locator("option").all_inner_texts()
    label = next(one for one in options if one.replace("\u00a0", " ").startswith(start))
    page.get_by_label("Scan").select_option(label=label)
    page.locator(".gtitle", has_text=start).wait_for(timeout=PATIENCE)


def saved(page, name: str) -> str:
    with page.expect_download(timeout=PATIENCE) as waiting:
        page.get_by_role("link", name=name).click()
    with open(waiting.value.path(), encoding="utf-8") as file:
        return file.read()


def test_a_scan_is_excluded_and_the_rows_follow(opened):
    choose(opened, "A-010")
    opened.get_by_role("button", name="Exclude", exact=True).click()
    opened.get_by_text("needs a reason").wait_for(timeout=PATIENCE)
    opened.get_by_label("Reason").fill("ink across all gaps")
    opened.get_by_role("button", name="Exclude", exact=True).click()
    opened.get_by_text("Decision: excluded: ink across all gaps.").wait_for(timeout=PATIENCE)
    rows = list(csv.DictReader(io.StringIO(saved(opened, "Save the rows"))))
    assert {row["print"] for row in rows} == {"A-001", "A-002", "A-004", "A-005", "A-006"}
    assert 'reason = "ink across all gaps"' in saved(opened, "Save the decisions")
    opened.get_by_role("button", name="Undo the decision").click()
    opened.get_by_text("Decision:").wait_for(state="detached", timeout=PATIENCE)


def test_two_clicks_point_out_bare_film(opened):
    choose(opened, "A-001")
    plot = opened.locator(".js-plotly-plot .nsewdrag").first
    box = plot.bounding_box()
    for share, said in ((0.02, "click where it ends"), (0.09, "where bare film begins")):
        place = box["x"] + share * box["width"], box["y"] + 0.93 * box["height"]
        opened.mouse.move(*place)
        opened.locator(".hoverlayer .hovertext").first.wait_for(timeout=PATIENCE)
        opened.wait_for_timeout(500)  # a click tells the point that the picture last saw under the mouse
        opened.mouse.click(*place)
        opened.get_by_text(said).wait_for(timeout=PATIENCE)
    assert " to " in opened.get_by_label("Film, µm").input_value()
    opened.get_by_label("Film, µm").press("End")
    opened.get_by_label("Film, µm").type(", 450 to 495")
    opened.get_by_role("button", name="Level on these stretches").click()
    opened.get_by_text("Decision: levelled on").wait_for(timeout=PATIENCE)


def test_somebodys_own_scan_is_loaded(opened, tmp_path):
    scan = tmp_path / "B-7.csv"
    text = pw.demo("scans/A-001_75.csv").read_text(encoding="utf-8").replace("print: A-001", "print: B-7")
    scan.write_text(text, encoding="utf-8")
    with opened.expect_file_chooser() as waiting:
        opened.get_by_role("button", name="Load scans").click()
    waiting.value.set_files(scan)
    opened.get_by_text("The run list lacks 1 print", exact=False).or_(
        opened.get_by_text("the run list lacks 1 print", exact=False)
    ).first.wait_for(timeout=PATIENCE)
    choose(opened, "B-7")


def test_plates_are_measured_with_the_instrument_chosen(opened):
    opened.get_by_label("Show").select_option(label="plates (4)")
    opened.locator(".gtitle", has_text="film-imaged_gaps").wait_for(timeout=PATIENCE)
    assert opened.get_by_label("Surface, µm").count() == 1 and opened.get_by_label("Film, µm").count() == 0
    opened.get_by_text("by an optical instrument").wait_for(timeout=PATIENCE)
    before = list(csv.DictReader(io.StringIO(saved(opened, "Save the rows of a plate file"))))
    opened.get_by_label("Instrument").select_option(label="stylus")
    opened.get_by_text("by a stylus instrument").wait_for(timeout=PATIENCE)
    opened.get_by_text("measuring").wait_for(state="detached", timeout=PATIENCE)
    after = list(csv.DictReader(io.StringIO(saved(opened, "Save the rows of a plate file"))))
    assert len(before) == len(after) == 28 and {row["plate_id"] for row in after} == {
        "film-imaged",
        "laser-imaged",
    }
    depths = [row for row in zip(before, after) if row[0]["u_gap_depth [um]"]]
    assert all(float(one["u_gap_depth [um]"]) < float(other["u_gap_depth [um]"]) for one, other in depths)
    opened.get_by_label("Show").select_option(label="prints (6)")
    opened.locator(".gtitle", has_text="A-001_75").wait_for(timeout=PATIENCE)


def test_two_scans_of_one_name_are_both_kept(opened, tmp_path):
    for name in ("A-001", "A-002"):
        scan = tmp_path / name / "scan.csv"
        scan.parent.mkdir()
        scan.write_bytes(pw.demo(f"scans/{name}_75.csv").read_bytes())
        with opened.expect_file_chooser() as waiting:
            opened.get_by_role("button", name="Load scans").click()
        waiting.value.set_files(scan)
        opened.get_by_label("Scan").locator("option", has_text="scan.csv").first.wait_for(
            state="attached", timeout=PATIENCE
        )
    opened.get_by_text("2 different files are named scan.csv").wait_for(timeout=PATIENCE)
    choose(opened, "scan.csv (2)")
    opened.get_by_text("print A-002").wait_for(timeout=PATIENCE)


@pytest.mark.parametrize("kind", ["prints (6)", "plates (4)"])
def test_no_label_is_cut(opened, kind):
    opened.get_by_label("Show").select_option(label=kind)
    opened.wait_for_timeout(1000)
    cut = opened.evaluate(
        """[...document.querySelectorAll(".pw-controls .widget-label")]
        .filter(one => one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > 1.9 * parseFloat(getComputedStyle(one).lineHeight))
        .map(one => one.innerText)"""
    )
    assert cut == []


@pytest.mark.parametrize("width", [1024, 1280, 1920])
def test_nothing_is_cut_off(opened, width):
    opened.set_viewport_size({"width": width, "height": 800})
    opened.wait_for_timeout(1000)
    assert opened.evaluate("document.documentElement.scrollWidth") <= width
