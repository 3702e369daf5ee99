"""The map of a window: at the recommended set-up, the closest, or a plate and a pressure asked for."""

import dataclasses

import numpy as np
import plotly.graph_objects as go
import pytest

import pwindow as pw
from pwindow.charts.window_picture import window_figure
from pwindow.errors import WindowProblem
from pwindow.review.picture import start_of
from pwindow.window.search.maps import window_map
from tests.helpers.words import plain


def title(figure):
    return figure.layout.title.text


@pytest.fixture(scope="module")
def both_plates(demo_surfaces, tag, study):
    pattern = dataclasses.replace(tag.pattern, plate=None, plate_width=None)
    return pw.find_window(demo_surfaces, dataclasses.replace(tag, pattern=pattern), study)


def test_it_is_at_the_recommended_set_up(tag_window):
    best = tag_window.recommended().setup
    content = start_of(tag_window)
    assert content.recommended == (best.speed, best.roll.cell_volume)
    assert np.array_equal(
        content.window_map.joint, window_map(tag_window, best.plate, best.pressure).joint, equal_nan=True
    )
    figure = pw.map_of(tag_window)
    assert isinstance(figure, go.Figure)
    assert figure.to_json() == window_figure(content).to_json()
    assert f"pressure {best.pressure:g} µm" in title(figure)


def test_a_pressure_is_asked_for(tag_window):
    figure = pw.map_of(tag_window, pressure=35)
    assert "pressure 35 µm" in title(figure)
    best = tag_window.recommended([35.0]).setup
    assert start_of(tag_window, [35.0]).recommended == (best.speed, best.roll.cell_volume)
    shown = window_map(tag_window, best.plate, 35.0).joint
    assert np.array_equal(start_of(tag_window, [35.0]).window_map.joint, shown, equal_nan=True)


@pytest.mark.parametrize("plate", ["film-imaged", "laser-imaged"])
def test_a_plate_is_asked_for(both_plates, plate):
    assert set(both_plates.plates) == {"film-imaged", "laser-imaged"}
    assert f"plate {plate}" in title(pw.map_of(both_plates, plate=plate))


def test_the_closest_where_nothing_is_assured(demo_surfaces, tag, study):
    window = pw.find_window(demo_surfaces, tag.with_assurance(0.999999), study)
    assert window.recommended() is None
    assert start_of(window).nearest is not None
    assert "plate laser-imaged" in title(pw.map_of(window))


def test_what_was_not_tried_is_refused(tag_window):
    with pytest.raises(WindowProblem, match="plate “film-imaged” .* choose “laser-imaged”"):
        pw.map_of(tag_window, plate="film-imaged")
    with pytest.raises(WindowProblem, match="pressure 90 µm is outside"):
        pw.map_of(tag_window, pressure=90)


@pytest.mark.slow
def test_documents_of_a_window(tag_window):
    assert "Grain moisture tag" in pw.review.report_html(pw.review.report_of(tag_window))
    best = tag_window.recommended().setup
    slower = dataclasses.replace(best, speed=best.speed - 10.0)
    sheet = pw.review.run_sheet_html(pw.review.run_sheet_of(tag_window, slower))
    assert f"{slower.speed:g} m/min" in plain(sheet)
