"""The page of traces: scans are looked at, decided about, and handed over as rows."""

import asyncio
import os
import re
import threading
from base64 import b64decode
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest
import x3pio
from click.testing import CliRunner

import pwindow as pw
from pwindow.cli import main
from pwindow.inputs import InputFile
from pwindow.metrology.decisions import Verdict, decision_on, read_decisions
from pwindow.metrology.foot import THREE_DEVIATIONS
from pwindow.metrology.scans import measured_or_why
from pwindow.panels.shared import work
from pwindow.panels.traces import page as traces_page
from pwindow.panels.traces.page import Traces, get_ready
from pwindow.trials.archive import Archive
from pwindow.workflows import scan_files, scanned
from pwindow.workflows.scanned import ScanSet, given_scans
from tests.helpers.profiles import across, parabola, printed


@pytest.fixture(autouse=True)
def server(tmp_path, monkeypatch):
    """A server that was started on the demo."""
    for name in ("PWINDOW_SCANS", "PWINDOW_TRIAL", "PWINDOW_ARCHIVE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("PWINDOW_SHARED", str(tmp_path))


@pytest.fixture(autouse=True)
def no_loop_of_others(monkeypatch):
    """Work is done at once in this thread, where a browser of other tests may have an event loop."""
    home, found = threading.current_thread(), work.page_loop
    monkeypatch.setattr(work, "page_loop", lambda: None if threading.current_thread() is home else found())


@pytest.fixture
def page():
    return Traces(given_scans())


def scan_file(name="B-001.csv", print_="B-001", **how):
    trace = across(parabola, **how)
    rows = [
        f"print: {print_}",
        "x [µm],z [nm]",
        *(f"{x:.3f},{1e3 * z:.2f}" for x, z in zip(trace.x, trace.z)),
    ]
    return InputFile(name, "\n".join(rows).encode())


def said(widget):
    """What a widget says, with plain spaces."""
    return widget.value.replace("\u00a0", " ")


def choose(page, start):
    page.scan.value = next(at for label, at in page.scan.options if label.startswith(start))


def saved(page, name):
    """The content of a link that saves a file; None where there is no link."""
    found = re.search(rf'download="{name}" href="data:[^;]*;base64,([^"]*)"', page.links.value)
    return b64decode(found[1]).decode() if found else None


def rows(page):
    content = saved(page, "features.csv")
    return pd.read_csv(pd.io.common.StringIO(content), dtype={"roll": str})


def test_it_opens_on_the_first_scan_with_all_of_them_measured(page):
    assert (
        "4 lines" in said(page.card)
        and "3 gaps, none bridged" in said(page.card)
        and page.place.figure is not None
    )
    assert len(page.scan.options) == 6 and page.scan.value == "A-001_75.csv"
    assert "A-010_45.csv" in said(page.table) and page.undo.disabled is not False
    assert set(rows(page)["print"]) == {"A-001", "A-002", "A-004", "A-005", "A-006", "A-010"}
    assert {"roll", "speed [m/min]", "foot_rule", "source_sha256"} <= set(rows(page))


def test_a_bridged_scan_says_so(page):
    choose(page, "A-010")
    assert "3 gaps, <b>3 bridged</b>" in said(page.card)
    assert "as wide as 4 lines: 3 gaps bridged" in said(page.features)


def test_an_excluded_scan_leaves_the_rows_and_comes_back(page):
    choose(page, "A-002")
    page.exclude.click()
    assert "needs a reason" in said(page.refused) and len(page.scans.decisions) == 0
    page.reason.value = "a scratch"
    assert page.refused.value == ""
    page.exclude.click()
    assert "A-002" not in set(rows(page)["print"]) and "excluded: a scratch" in said(page.card)
    assert dict(page.scan.options)["A-002_75.csv (excluded)"] == page.scan.value
    stored = read_decisions(InputFile("d.toml", saved(page, "scans.decisions.toml").encode()))
    assert [one.words() for one in stored] == ["excluded: a scratch"]
    page.undo.click()
    assert "A-002" in set(rows(page)["print"]) and saved(page, "scans.decisions.toml") is None
    assert page.undo.disabled and page.reason.value == ""


def test_a_scan_is_levelled_on_the_stretches_that_were_clicked(page):
    choose(page, "A-001")
    page._point_out(60.0, 0.1)
    assert "Bare film from 60 µm: click where it ends." in said(page.place.saves)
    page._point_out(60.0, 0.1)
    assert page.film.value == "", "twice at one place is no stretch"
    page._point_out(2.0, 0.0)
    page.film.value += ", 450 to 495"
    page.level.click()
    assert page.refused.value == ""
    assert "levelled on 2 to 60 µm, 450 to 495 µm" in said(page.card)
    assert len(page.scans.outcome(page.chosen).levelled.regions) == 2
    page.accept.click()
    assert "accepted; levelled on 2 to 60 µm" in said(page.card), "the levelling stays"
    for wrong, why in (("left", "is no stretch"), ("900 to 950", "no point of it lies in")):
        page.film.value = wrong
        page.level.click()
        assert why in said(page.refused) and page.film.value == wrong
    page.film.value = ""
    page.level.click()
    assert "levelled on" not in said(page.card) and "accepted" in said(page.card)


def test_files_are_loaded_whatever_they_are(page):
    page._load([scan_file(), scan_file("B-002.csv", "B-002", height=0.5)])
    assert len(page.scan.options) == 8
    assert "no rows yet: the run list lacks 2 prints" in said(page.links).lower()
    heads = "print,speed [m/min],cell_volume [cm3/m2],pressure [um]\n"
    page._load([InputFile("runs.csv", (heads + "B-001,30,4.4,50\nB-002,60,4.4,50\n").encode())])
    assert "lacks 6 prints" in said(page.links)
    page._load([InputFile("d.toml", page.scans.decisions.text().encode())])


def test_a_scan_that_changed_is_told(page):
    before = ScanSet.of([scan_file()])
    before = before.deciding(decision_on(before.scans[0], Verdict.ACCEPTED))
    page._load([InputFile("d.toml", before.decisions.text().encode()), scan_file(height=0.6)])
    assert "B-001.csv has changed since it was decided on" in page.frame._notices.value
    assert dict(page.scan.options).keys() >= {"B-001.csv"}, "it is not accepted any more"


def test_scans_of_one_name_are_all_kept_where_they_differ(page):
    page._load([scan_file(print_="B-001")])
    choose(page, "B-001")
    page.accept.click()
    page._load([scan_file(print_="B-002", height=0.6), scan_file(print_="B-001")])
    labels = list(dict(page.scan.options))[6:]
    assert labels == ["B-001.csv (accepted)", "B-001.csv (2)"]
    assert "2 different files are named B-001.csv" in page.frame._notices.value
    choose(page, "B-001.csv (2)")
    assert "print B-002" in said(page.card)
    page.reason.value = "the wrong print"
    page.exclude.click()
    assert list(dict(page.scan.options))[6:] == ["B-001.csv (accepted)", "B-001.csv (2) (excluded)"]
    page._load([scan_file(print_="B-002", height=0.6)])
    assert len(page.scan.options) == 8, "what is here already is not loaded again"
    kept = read_decisions(InputFile("d.toml", saved(page, "scans.decisions.toml").encode()))
    assert [one.file for one in kept] == ["B-001.csv", "B-001.csv"]


def test_the_instrument_is_chosen_and_decisions_stay(page):
    choose(page, "A-002")
    page.reason.value = "a scratch"
    page.exclude.click()
    choose(page, "A-001")
    before = rows(page)
    assert "an optical instrument with 3 nm and 0.12 % of the height" in said(page.features)
    page.instrument.value = "stylus"
    assert page.scan.value == "A-001_75.csv", "the scan that is looked at stays"
    assert "a stylus instrument with 5 nm and 0.32 % of the height" in said(page.features)
    after = rows(page)
    assert "A-002" not in set(after["print"]) and len(after) == len(before)
    heights = "u_line_height [um]"
    assert (after[heights].dropna() > before[heights].dropna()).all()
    assert after["line_height [um]"].equals(before["line_height [um]"])
    page.instrument.value = "optical"
    assert rows(page).equals(before)


def test_the_foot_is_chosen_and_plates_have_none(page, tmp_path, monkeypatch):
    page.foot.value = THREE_DEVIATIONS
    assert page.scans.measured and "at 3 standard deviations of the bare film" in said(page.features)
    assert set(rows(page)["foot_rule"]) == {THREE_DEVIATIONS.words}
    page.kind.value = "plate"
    assert page.foot.layout.display == "none" and page.scans.measured
    study = tmp_path / "press.toml"
    study.write_text('[scans]\nfoot = "three-deviations"\nheight_uncertainty = "9 nm"\n', encoding="utf-8")
    monkeypatch.setenv("PWINDOW_STUDY", str(study))
    of_study = Traces(given_scans())
    assert of_study.foot.value == THREE_DEVIATIONS
    assert "with 9 nm and 0.12 % of the height" in said(of_study.features)


def test_plates_are_measured_as_plates(page):
    assert dict(page.kind.options) == {"prints (6)": "print", "plates (4)": "plate"}
    page.kind.value = "plate"
    assert [label.split("_")[0] for label, _ in page.scan.options] == ["film-imaged"] * 2 + [
        "laser-imaged"
    ] * 2
    choose(page, "film-imaged_gaps")
    assert "4 gaps" in said(page.card) and "plate film-imaged" in said(page.card)
    assert "lips 1.496" in said(page.features) and "an edge is where the wall meets" in said(page.features)
    assert page.place.figure.layout.yaxis.title.text == "height above the surface, µm"
    assert "where the printing surface begins" in said(page.place.saves)
    assert page.film.description == "Surface, µm" and "gap depth, µm" in said(page.table)
    assert "A-001" not in said(page.table)
    found = pd.read_csv(pd.io.common.StringIO(saved(page, "plates.csv")))
    assert set(found["plate_id"]) == {"laser-imaged", "film-imaged"} and len(found) == 4 * 7
    page.reason.value = "dust"
    page.exclude.click()
    page.kind.value = "print"
    assert set(rows(page)["print"]) == {"A-001", "A-002", "A-004", "A-005", "A-006", "A-010"}
    page.kind.value = "plate"
    assert "film-imaged_gaps.csv (excluded)" in dict(page.scan.options), "decisions stay"


def test_rows_of_plates_are_those_of_the_command(page, tmp_path):
    goal = tmp_path / "plate.csv"
    words = ["trace", str(pw.demo("scans_plate")), "--of", "plate", "--instrument", "stylus", "-o", str(goal)]
    assert CliRunner().invoke(main, words).exit_code == 0
    page.kind.value, page.instrument.value = "plate", "stylus"
    assert saved(page, "plates.csv") == goal.read_text(encoding="utf-8")


def test_the_page_shows_what_was_loaded(page):
    plate = InputFile("p.csv", pw.demo("scans_plate/film-imaged_gaps.csv").read_bytes())
    page._load([plate])
    assert page.kind.value == "plate" and len(page.scan.options) == 5
    page._load([scan_file()])
    assert page.kind.value == "print" and len(page.scan.options) == 7


def test_a_scan_that_says_neither_is_shown_as_either(monkeypatch):
    monkeypatch.setenv("PWINDOW_TRIAL", "own.csv")
    page = Traces(given_scans())
    text = pw.demo("scans_plate/film-imaged_gaps.csv").read_text(encoding="utf-8")
    page._load([InputFile("p.csv", text.replace("# plate_id: film-imaged\n", "").encode())])
    assert dict(page.kind.options) == {"prints (1)": "print", "plates (1)": "plate"}
    page.kind.value = "plate"
    assert "4 gaps" in said(page.card) and page.scan.value == "p.csv"
    assert "does not say which plate_id it is of" in said(page.links)


def test_decisions_are_kept_in_the_archive(tmp_path):
    archive = Archive(str(tmp_path / "trials.db"))
    files = [scan_file(), scan_file("B-002.csv", "B-002", height=0.5)]
    page = Traces(ScanSet.of(files, archive))
    page.reason.value = "dust"
    page.exclude.click()
    choose(page, "B-002")
    page.accept.click()
    again = Traces(ScanSet.of(files, Archive(str(tmp_path / "trials.db"))))
    assert [label for label, _ in again.scan.options] == ["B-001.csv (excluded)", "B-002.csv (accepted)"]
    again.undo.click()
    once_more = ScanSet.of(files, archive)
    assert [one.words() for one in once_more.decisions] == ["accepted"]
    history = archive.scan_decisions()
    assert list(history["decision"]) == ["excluded", "accepted", ""] and list(history["reason"])[0] == "dust"


def test_a_topography_is_shown_and_measured(page, tmp_path):
    made, _ = printed(rows=300, edge=0.8, noise=0.003)
    x3pio.write(tmp_path / "map.x3p", made.z * 1e-6, x_scale=made.dx * 1e-6, y_scale=made.dy * 1e-6)
    page._load([InputFile("map.x3p", (tmp_path / "map.x3p").read_bytes())])
    choose(page, "map")
    assert page.place.figure.data[0].type == "heatmap" and "edges ragged by" in said(page.features)
    page.film.value = "0 to 30"
    page.level.click()
    assert "always found, never stated" in said(page.refused)


def test_a_scan_that_cannot_be_measured_says_why(page):
    page._load([scan_file("flat.csv", centres=(), height=0.02)])
    choose(page, "flat")
    assert "Not measured" in said(page.card) and page.features.value == ""
    assert np.isfinite(page.place.figure.data[0].y).all()
    assert "clearly higher than the film" in said(page.table)


def test_a_server_on_somebodys_own_trial_shows_no_scans_of_the_demo(monkeypatch):
    monkeypatch.setenv("PWINDOW_TRIAL", "own.csv")
    page = Traces(given_scans())
    assert "No scans yet" in said(page.card) and page.accept.disabled and page.links.value.strip() == ""
    page._load([scan_file()])
    assert "6 lines" in said(page.card) and not page.accept.disabled


def test_folders_are_read_and_what_cannot_be_is_said(tmp_path, monkeypatch):
    folder = tmp_path / "scans"
    folder.mkdir()
    (folder / "a.csv").write_bytes(scan_file().content)
    monkeypatch.setenv("PWINDOW_SCANS", str(folder))
    assert [scan.name for scan in given_scans().scans] == ["a.csv"]
    (folder / "b.csv").write_text("not a scan", encoding="utf-8")
    page = Traces(given_scans())
    page.open_at("colours=dark")
    assert (
        len(page.scan.options) == 1
        and "b.csv: no line names a column of positions" in page.frame._notices.value
    )


def test_many_scans_are_measured_when_asked_for():
    files = [scan_file(f"C-{at:03d}.csv", f"C-{at:03d}", points=400) for at in range(41)]
    page = Traces(ScanSet.of(files))
    assert "not measured yet" in said(page.table) and page.measure.layout.display is None
    page.measure.click()
    assert "not measured yet" not in said(page.table) and page.measure.layout.display == "none"
    assert len(set(rows(page)["print"])) == 41


def test_what_the_page_opens_with_is_measured_before_and_follows_the_files(tmp_path, monkeypatch):
    path = tmp_path / "B-001.csv"
    path.write_bytes(scan_file().content)
    monkeypatch.setenv("PWINDOW_SCANS", str(path))
    get_ready()
    with monkeypatch.context() as patch:
        patch.setattr(scanned, "measured_or_why", lambda *_: pytest.fail("measured again"))
        patch.setattr(scan_files, "read_scans", lambda *_: pytest.fail("read again"))
        first = Traces(given_scans())
    path.write_bytes(scan_file(height=0.3).content)
    os.utime(path, ns=(0, 0))
    second = Traces(given_scans())
    heights = [rows(page)["line_height [um]"].mean() for page in (first, second)]
    assert heights == pytest.approx([0.7, 0.3], rel=0.02)


def test_a_fault_in_getting_ready_is_logged_and_holds_up_no_other_page(monkeypatch, caplog):
    def fail():
        raise ValueError("a fault of the reader")

    monkeypatch.setattr(traces_page, "prepared_scans", fail)
    get_ready()
    assert "a fault of the reader" in caplog.text


def test_opening_measures_the_first_scan_and_the_others_after_it(monkeypatch):
    files = [scan_file(f"D-{at}.csv", f"D-{at}", height=0.4 + at / 10) for at in range(3)]
    going_on = threading.Event()

    def slowly(scan, *how):
        assert scan.name == "D-0.csv" or going_on.wait(10)
        return measured_or_why(scan, *how)

    async def visit():
        page = Traces(ScanSet.of(files))
        assert "6 lines" in said(page.card) and said(page.table).count("not measured yet") == 2
        assert page.kind.disabled and saved(page, "features.csv") is None
        going_on.set()
        async with asyncio.timeout(10):
            while page.work.busy:
                await asyncio.sleep(0.01)
        assert "not measured yet" not in said(page.table) and not page.kind.disabled
        assert set(rows(page)["print"]) == {"D-0", "D-1", "D-2"}

    monkeypatch.setattr(scanned, "measured_or_why", slowly)
    with ThreadPoolExecutor(1) as threads:  # which has no event loop yet
        threads.submit(asyncio.run, visit()).result()
