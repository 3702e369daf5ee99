"""Pictures of the trade-offs: they draw what the tables hold, marked and named."""

import dataclasses
import itertools

import numpy as np
import pytest

from pwindow.charts import along_speed_figure, along_speed_names, frontier_figure
from pwindow.charts.along_speed import moved_apart
from pwindow.window.trade_offs import SPEED_AND_CONFORMANCE, along_speed, frontier, with_planned_roll

PLATE = "laser-imaged"


@pytest.fixture(scope="module")
def along(tag_window):
    return along_speed(tag_window, PLATE, 50.0)


def lines_of(figure, roll):
    return [trace for trace in figure.data if trace.name and trace.name.startswith(f"roll {roll}")]


def notes(figure):
    return [note.text for note in figure.layout.annotations]


def test_lines_and_bands_are_those_of_the_table(tag_window, along):
    figure = along_speed_figure(tag_window, along, "line_resistance", PLATE, 50.0)
    for roll, members in along.groupby("roll"):
        thin, thick = lines_of(figure, roll)
        told = members["line_resistance_ohm_mean"].to_numpy()
        np.testing.assert_array_equal(np.where(members["assured"], told, np.nan), np.array(thick.y, float))
        both = np.where(np.isnan(np.array(thin.y, float)), np.array(thick.y, float), np.array(thin.y, float))
        np.testing.assert_array_equal(both, told)
        assert thick.line.width > 2 * thin.line.width and thick.line.dash == thin.line.dash
    bands = [trace for trace in figure.data if trace.name == "band"]
    for band, (_, members) in zip(bands, along.groupby("roll", sort=False)):
        ends = members[["line_resistance_ohm_obs_ci_low", "line_resistance_ohm_obs_ci_high"]].to_numpy()
        assert sorted(band.y) == sorted(ends.ravel())
    assert len(bands) == along["roll"].nunique()


def test_limits_and_rolls_are_labelled(tag_window, along):
    figure = along_speed_figure(tag_window, along, "gap", PLATE, 50.0)
    said = notes(figure)
    assert "<b>at least 16 µm</b>" in said and "<b>at most 42 µm</b>" in said
    assert {f"roll {roll.id}" for roll in tag_window.rolls} <= set(said)
    assert sorted(shape.y0 for shape in figure.layout.shapes) == [16.0, 42.0]
    assert (
        figure.layout.yaxis.title.text == "gap, µm" and figure.layout.xaxis.title.text == "press speed, m/min"
    )


def test_every_name_can_be_drawn(tag_window, along):
    for name in along_speed_names(tag_window, PLATE):
        figure = along_speed_figure(tag_window, along, name, PLATE, 50.0)
        assert len(lines_of(figure, "1318")) == 2
    conformance = along_speed_figure(tag_window, along, "conformance", PLATE, 50.0)
    assert [shape.y0 for shape in conformance.layout.shapes] == [0.95]
    assert "<b>assurance asked for: 95%</b>" in notes(conformance)


def test_a_planned_roll_is_named_so(tag_window):
    window = with_planned_roll(tag_window, "<b>new</b>", 6.2)
    figure = along_speed_figure(window, along_speed(window, PLATE, 50.0), "silver", PLATE, 50.0)
    assert "roll &lt;b&gt;new&lt;/b&gt; (planned)" in notes(figure)
    assert "<b>new" not in figure.to_json().replace("\\u003c", "<")


def test_no_roll_in_the_region_is_an_empty_picture(tag_window, along):
    figure = along_speed_figure(tag_window, along.iloc[:0], "line_width", PLATE, 50.0)
    assert "<b>at most 70 µm</b>" in notes(figure)


@pytest.fixture(scope="module")
def front(tag_window):
    return frontier(tag_window)


def test_frontier_points_are_those_of_the_table(tag_window, front):
    figure = frontier_figure(tag_window, front)
    points = [trace for trace in figure.data if trace.mode == "markers" and trace.xaxis == "x"]
    drawn = sorted(itertools.chain.from_iterable(zip(trace.x, trace.y) for trace in points))
    told = front[front["trade"] == SPEED_AND_CONFORMANCE]
    assert drawn == sorted(zip(told["speed_m_min"], told["conformance"]))
    filled = sum(colour != "#ffffff" for trace in points for colour in trace.marker.color)
    assert filled == told["assured"].sum()
    assert (
        len({trace.marker.symbol for trace in figure.data if trace.mode == "markers"})
        == front["pressure_um"].nunique()
    )
    assert "roll 2047 · 50 µm" in notes(figure) and "<b>assurance asked for: 95%</b>" in notes(figure)


def test_a_frontier_without_silver_has_one_panel(tag_window, front):
    bare = front[[name for name in front if not name.startswith("silver")]]
    figure = frontier_figure(tag_window, bare[bare["trade"] == SPEED_AND_CONFORMANCE])
    assert {trace.xaxis for trace in figure.data} == {"x"}


def test_product_names_are_escaped(tag_window, along, front):
    window = dataclasses.replace(
        tag_window, product=dataclasses.replace(tag_window.product, name="<i>tag</i>")
    )
    for figure in (along_speed_figure(window, along, "gap", PLATE, 50.0), frontier_figure(window, front)):
        assert figure.layout.title.text.startswith("&lt;i&gt;tag&lt;/i&gt;")


@pytest.mark.parametrize("seed", range(5))
def test_labels_keep_their_distance_and_their_order(seed):
    values = np.random.default_rng(seed).uniform(0, 10, 8).tolist()
    places = moved_apart(values, 1.0, (0.0, 12.0))
    assert np.argsort(places).tolist() == np.argsort(values).tolist()
    assert min(np.diff(sorted(places))) >= 1.0 - 1e-9
    assert min(places) >= 0.0 and max(places) <= 12.0
    assert moved_apart([], 1.0, (0.0, 1.0)) == []
