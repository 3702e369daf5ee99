"""Whether a plate can be ordered for a product, and whether a server starts on one whose plate is open."""

import pytest

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.study import Study
from pwindow.workflows import given
from pwindow.workflows.evidence import Evidence, NothingToJudge, window_of
from pwindow.workflows.given import check_given
from pwindow.workflows.orderable import why_no_plate

PLATES = [pw.demo(name) for name in ("trial_plates.csv", "plates.csv")]


def evidence_of(surfaces):
    return Evidence(surfaces=surfaces, study=Study(), products={})


def test_a_plate_can_be_ordered_where_the_product_leaves_its_sizes_open(plates_surfaces, sensor):
    with pytest.raises(UnusableInput, match="plate_width"):
        window_of(evidence_of(plates_surfaces), sensor)
    assert why_no_plate(evidence_of(plates_surfaces), sensor) == ""


def test_why_none_can_is_said_once(demo_surfaces, sensor):
    why = why_no_plate(evidence_of(demo_surfaces), sensor)
    assert why.count("printed_radius of inner corners") == 1


def test_there_must_be_a_trial(sensor):
    with pytest.raises(NothingToJudge):
        why_no_plate(evidence_of(None), sensor)


@pytest.fixture
def fitted(monkeypatch, plates_surfaces):
    monkeypatch.setattr(given, "fit", lambda *_trial, **_more: plates_surfaces)
    given._fit_paths.cache_clear()
    yield
    given._fit_paths.cache_clear()


def test_a_server_starts_on_a_product_whose_plate_is_open(fitted):
    check_given(PLATES, [pw.demo("sensor.toml")], None)


def test_a_server_does_not_start_on_a_plate_process_that_was_not_printed(fitted, tmp_path):
    odd = tmp_path / "odd.toml"
    text = pw.demo("sensor.toml").read_text(encoding="utf-8")
    odd.write_text(text.replace("[pattern]", '[pattern]\nplate = "engraved"'), encoding="utf-8")
    with pytest.raises(UnusableInput, match="engraved"):
        check_given(PLATES, [odd], None)


def test_a_server_does_not_start_on_a_product_that_no_plate_can_be_judged_for(monkeypatch, demo_surfaces):
    monkeypatch.setattr(given, "fit", lambda *_trial, **_more: demo_surfaces)
    given._fit_paths.cache_clear()
    try:
        with pytest.raises(UnusableInput, match="cannot judge any product"):
            check_given([pw.demo("trial_first.csv")], [pw.demo("sensor.toml")], None)
    finally:
        given._fit_paths.cache_clear()
