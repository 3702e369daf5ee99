"""Curves of the plates to order, where plates differed in one size only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pwindow.charts.order_content import ORDERS, OrderContent
from pwindow.charts.order_curve import CURVE, LEVEL
from pwindow.charts.order_map import order_figure
from pwindow.window.orders import PlateOrders
from tests.helpers.orders import GAPS, MAKING, WIDTHS, made_map, made_order


def traces(figure, name):
    return [trace for trace in figure.data if trace.name == name]


def content_of(sensor, *maps, orders=()):
    return OrderContent(product=sensor, found=PlateOrders(orders, maps, MAKING, None, ()), fit="abc123")


def test_one_width_gives_a_curve_along_the_gap(sensor):
    maps = [made_map(name, widths=np.array([28.0])) for name in ("film-imaged", "laser-imaged")]
    figure = order_figure(content_of(sensor, *maps, orders=(made_order("laser-imaged", 28.0, 60.0, 28.0),)))
    for curve in traces(figure, CURVE):
        np.testing.assert_array_equal(curve.x, GAPS)
        assert curve.y[GAPS <= 90.0] == pytest.approx(28.0) and np.isnan(curve.y[GAPS > 90.0]).all()
    assert figure.layout.xaxis.title.text == "plate gap, µm"
    film, laser = traces(figure, ORDERS)
    assert not film.x and (laser.x, laser.y, laser.marker.symbol) == ((60.0,), (28.0,), ("diamond",))
    named = {note.text for note in figure.layout.annotations}
    assert {"film-imaged", "laser-imaged"} <= named


def test_a_gap_that_does_not_matter_gives_a_curve_along_the_width(sensor):
    figure = order_figure(content_of(sensor, made_map("", gaps=np.array([np.nan]))))
    curve = traces(figure, CURVE)[0]
    assert curve.y[WIDTHS <= 50.0] == pytest.approx(WIDTHS[WIDTHS <= 50.0])
    assert np.isnan(curve.y[WIDTHS > 50.0]).all(), "nothing is drawn where the level is not reached"
    assert figure.layout.xaxis.title.text == "plate width, µm"


def test_where_nothing_is_assured_the_curve_is_the_probability_below_the_level(sensor):
    one = made_map("film-imaged", widths=np.array([28.0]))
    short = replace(one, best=one.best - 0.5, fastest=np.full(one.best.shape, np.nan))
    figure = order_figure(content_of(sensor, short))
    assert np.nanmax(traces(figure, CURVE)[0].y) == pytest.approx(one.best.max() - 0.5)
    assert traces(figure, LEVEL)[0].y == (0.9, 0.9)


def test_processes_that_differ_in_what_was_varied_have_a_plot_each(sensor):
    maps = made_map("film-imaged", widths=np.array([28.0])), made_map("laser-imaged", gaps=np.array([60.0]))
    figure = order_figure(content_of(sensor, *maps))
    assert {figure.layout.xaxis.title.text, figure.layout.xaxis2.title.text} == {
        "plate width, µm",
        "plate gap, µm",
    }


def test_one_width_and_one_gap_leave_nothing_to_draw(sensor):
    one = made_map("film-imaged", widths=np.array([28.0]), gaps=np.array([60.0]))
    assert not content_of(sensor, one).drawable
