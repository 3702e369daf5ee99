"""A doubtful trial is said to be one wherever a set-up is promised on it."""

import html
import re
from dataclasses import replace

import pytest

import pwindow as pw
from pwindow.cli.answers import fit_answer, predict_answer, speeds_answer
from pwindow.cli.tables import fit_text, predict_text, speeds_text, summary_text
from pwindow.panels.set_up_speed.view import finding_list
from pwindow.review.essentials import subject_of
from pwindow.review.report import report
from pwindow.review.report_page import report_html
from pwindow.review.run_sheet import run_sheet
from pwindow.review.run_sheet_page import run_sheet_html
from pwindow.surfaces.findings import findings
from pwindow.trials import summarise
from pwindow.wording import METRIC
from tests.helpers.trials import read_frame

WARNING = "section factor (area over height times width) of 65 prints"


@pytest.fixture(scope="module")
def doubtful_window(demo_rows, tag, study):
    rows = demo_rows.assign(**{"section_area [um2]": demo_rows["section_area [um2]"] * 3})
    return pw.find_window(pw.fit(read_frame(rows)), tag, study)


@pytest.mark.slow
def test_documents_tell_the_warnings_of_the_trial(doubtful_window):
    subject = subject_of(doubtful_window)
    for page in (report_html(report(subject)), run_sheet_html(run_sheet(subject))):
        assert WARNING[1:] in page


@pytest.mark.slow
def test_commands_and_the_page_tell_them_first(doubtful_window):
    surfaces = doubtful_window.surfaces
    assert f"WARNING: {WARNING}" in summary_text(summarise(surfaces.trial).to_dict())
    assert f"\n1. {WARNING}" in fit_text(fit_answer(surfaces))
    assert f"note: {WARNING}" in speeds_text(speeds_answer(doubtful_window, None, METRIC))
    predicted = predict_answer(surfaces, doubtful_window.setups("laser-imaged", [60.0], 3.0, 50.0), None)
    assert predict_text(predicted).startswith(f"note: {WARNING}")
    assert WARNING in finding_list(findings(surfaces))[:300]


def test_documents_say_that_requirements_were_changed(tag_window):
    declared = replace(tag_window.product, assurance=replace(tag_window.product.assurance, level=0.9))
    subject = subject_of(tag_window, declared=declared)
    for page in (report_html(report(subject)), run_sheet_html(run_sheet(subject))):
        said = " ".join(re.sub("<[^>]+>", " ", html.unescape(page)).split())
        assert "Not the declared requirements. The product file requires assurance 90 %." in said
    unchanged = subject_of(tag_window, declared=tag_window.product)
    assert unchanged.essentials.changes == ()


def test_documents_say_that_the_process_changed(tag_window, monkeypatch):
    trial = type(tag_window.surfaces.trial)
    monkeypatch.setattr(trial, "changed_since", property(lambda _trial: "later.csv"))
    subject = subject_of(tag_window)
    for page in (report_html(report(subject)), run_sheet_html(run_sheet(subject))):
        said = " ".join(re.sub("<[^>]+>", " ", html.unescape(page)).split())
        assert (
            "The process has changed. All here is for ink, film and dryer as they are since later.csv" in said
        )
