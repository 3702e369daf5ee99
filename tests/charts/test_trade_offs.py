"""Pictures of the trade-offs: they draw what the tables hold, marked and named."""

import dataclasses
import itertools

import numpy as np
import pytest
from scipy import stats

import pwindow as pw
from pwindow.charts.along_speed import along_speed_figure, along_speed_names, select_along_speed
from pwindow.charts.frontier import frontier_figure
from pwindow.charts.labels import LETTER, LINE, Labels, covered, moved_apart, overlap
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import (
    SPEED_AND_CONFORMANCE,
    along_speed,
    frontier,
    limits_of_mean,
    with_planned_roll,
)
from pwindow.wording import METRIC

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
    assert "<b>every one of 48 at least 16 µm</b>" in said and "<b>every one of 48 at most 42 µm</b>" in said
    assert {f"roll {roll.id}" for roll in tag_window.rolls} <= set(said)
    at = limits_of_mean(tag_window, PLATE, "gap")
    assert sorted(shape.y0 for shape in figure.layout.shapes) == [at["least"], at["most"]]
    assert 16 < at["least"] < at["most"] < 42, "the worst of 48 is off their mean"
    assert figure.layout.yaxis.title.text == "average gap on a print, µm"
    assert figure.layout.xaxis.title.text == "press speed, m/min"


def test_where_the_mean_gap_meets_its_line_the_conformance_is_that_of_the_gaps(tag_window):
    """The predictive of a print's mean gap inside the lines against the worst of 48 gaps, at every speed."""
    base, at = tag_window.limits[PLATE].quantities["gap"], limits_of_mean(tag_window, PLATE, "gap")
    low, high = base.modelled(at["most"]), base.modelled(at["least"])
    joint = tag_window.joint
    weights = np.array([base.weights.get(name, 0.0) for name in joint.names])
    differences, drawn_as_stated = [], []
    for roll in tag_window.rolls:
        table = along_speed(tag_window, PLATE, 50.0, [roll], 12)
        found = joint.predict(tag_window.setups(PLATE, table["speed_m_min"], roll.cell_volume, 50.0))
        mean = found.mean @ weights + base.constant
        spread = np.sqrt(np.einsum("i,mij,j->m", weights, found.scale, weights))

        ends = ((end - mean) / spread for end in (low, high, base.modelled(42.0), base.modelled(16.0)))
        below = [stats.t.cdf(end, found.df) for end in ends]
        differences += list(below[1] - below[0] - table["conformance_gap"])
        drawn_as_stated += list(below[3] - below[2] - table["conformance_gap"])
    assert np.abs(differences).max() < 0.05
    assert np.abs(drawn_as_stated).max() > 0.1, "the limits of each gap are none of the mean"


def test_every_roll_is_labelled_apart_from_others_or_told(demo_surfaces, study, tag):
    tight = tuple(
        dataclasses.replace(one, most=200.0) if one.name == "line_resistance" else one
        for one in tag.requirements
    )
    window = pw.find_window(demo_surfaces, dataclasses.replace(tag, requirements=tight), study)
    figure = along_speed_figure(window, along_speed(window, PLATE, 50.0), "conformance", PLATE, 50.0)
    told = figure.layout.title.text.split("below 1 % at every speed: ")[1]
    said = notes(figure)
    for roll in window.rolls:
        assert (f"roll {roll.id}" in said) != (f"roll {roll.id}" in told)
    assert "roll 0412" in told and "roll 0655" in told


def test_every_name_can_be_drawn(tag_window, along):
    for name in along_speed_names(tag_window, PLATE):
        figure = along_speed_figure(tag_window, along, name, PLATE, 50.0)
        assert len(lines_of(figure, "1318")) == 2
    conformance = along_speed_figure(tag_window, along, "conformance", PLATE, 50.0)
    assert [shape.y0 for shape in conformance.layout.shapes] == [0.95]
    level = next(note for note in conformance.layout.annotations if "required:" in note.text)
    assert "95 %" in level.text and level.x == 1.0 and level.xanchor == "left", "outside, where no curve runs"


@pytest.mark.slow
def test_an_assurance_near_one_is_told_as_it_was_asked(demo_surfaces, tag, study):
    """99.99 % is not 100 %."""
    window = pw.find_window(demo_surfaces, tag.with_assurance(0.9999), study)
    along = along_speed_figure(window, along_speed(window, PLATE, 50.0), "conformance", PLATE, 50.0)
    for figure in (along, frontier_figure(window, frontier(window))):
        told = " ".join([figure.layout.title.text, *notes(figure)])
        assert "99.99 %" in told and "100%" not in told


def test_a_planned_roll_is_named_so(tag_window):
    window = with_planned_roll(tag_window, "<b>new</b>", 6.2)
    figure = along_speed_figure(window, along_speed(window, PLATE, 50.0), "silver", PLATE, 50.0)
    assert "roll &lt;b&gt;new&lt;/b&gt;<br>(planned, 6.2 cm³/m²)" in notes(figure)
    assert len([trace for trace in figure.data if trace.name == "hollow"]) == 2
    assert "<b>new" not in figure.to_json().replace("\\u003c", "<")


@pytest.mark.parametrize("name", ["conformance", "line_resistance"])
def test_the_selected_set_up_and_the_pins_are_marked_on_the_curves(tag_window, along, name):
    roll = tag_window.rolls[-1]
    at = Setup(PLATE, roll, 50.0, 90.0)
    pins = [
        Setup(PLATE, roll, 50.0, 80.0),
        Setup(PLATE, roll, 20.0, 80.0),
        Setup(PLATE, tag_window.rolls[1], 50.0, 40.0),
    ]
    figure = along_speed_figure(tag_window, along, name, PLATE, 50.0, selected=at, pins=pins)
    marks = {trace.name: trace for trace in figure.data if trace.name in ("pins", "selected", "halo")}
    column = name if name == "conformance" else f"{name}_ohm_mean"

    def on_curve(setup):
        own = along[along["roll"] == setup.roll.id]
        return setup.speed, pytest.approx(np.interp(setup.speed, own["speed_m_min"], own[column]))

    assert list(zip(marks["pins"].x, marks["pins"].y)) == [on_curve(pins[0]), on_curve(pins[2])]
    assert marks["pins"].text == ("1", "3")
    assert (marks["selected"].x[0], marks["selected"].y[0]) == on_curve(at)
    assert (
        "ring: selected" in figure.layout.title.text
        and "numbers: pins · pin 2 is at another plate or pressure" in figure.layout.title.text
    )
    slower = dataclasses.replace(at, speed=60.0)
    select_along_speed(figure, tag_window, along, name, slower, METRIC)
    assert (marks["selected"].x[0], marks["selected"].y[0]) == on_curve(slower)
    assert marks["selected"].x == marks["halo"].x and "60 m/min" in marks["selected"].hovertext[0]
    select_along_speed(figure, tag_window, along, name, dataclasses.replace(at, speed=300.0), METRIC)
    assert marks["selected"].x == (), "not tried"
    assert not any(
        trace.name == "selected" for trace in along_speed_figure(tag_window, along, name, PLATE, 50.0).data
    )


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
    assert "roll 2047 · 50 µm" in notes(figure) and any("required:" in note for note in notes(figure))


def boxes_of_labels(figure, width):
    """Boxes of the labels with a leader in the first pane, px, where the plot is so wide."""
    (x_low, x_high), (y_low, y_high) = figure.layout.xaxis.range, figure.layout.yaxis.range
    low, high = figure.layout.yaxis.domain
    margin = figure.layout.margin
    tall = (high - low) * (figure.layout.height - margin.t - margin.b)
    for note in figure.layout.annotations:
        if note.showarrow and note.xref == "x":
            x = (note.x - x_low) / (x_high - x_low) * width + note.ax
            y = (note.y - y_low) / (y_high - y_low) * tall - note.ay
            wide = 6.2 * len(note.text)
            left = x if note.xanchor == "left" else x - wide
            yield left, left + wide, y - LINE / 2, y + LINE / 2


@pytest.mark.parametrize("volumes", [(6.3,), (6.3, 5.0), (3.0, 3.8, 4.8, 5.2, 6.0, 6.8)])
def test_labels_of_best_trade_offs_stand_apart_with_planned_rolls(tag_window, volumes):
    window = tag_window
    for at, volume in enumerate(volumes, 1):
        window = with_planned_roll(window, f"new {at}", volume)
    table = frontier(window)
    figure = frontier_figure(window, table[table["conformance"] > 0.01])
    assert f"new 1 {volumes[0]:g} cm³/m²" in figure.layout.title.text.partition("planned: ")[2]
    labelled = [note.text for note in figure.layout.annotations if note.showarrow]
    assert any(text.startswith("roll new 1 · ") for text in labelled)
    for width in (430, 706, 830, 1340):
        boxes = list(boxes_of_labels(figure, width))
        assert len(boxes) > 4
        if width > 430:
            assert min(box[0] for box in boxes) >= 0 and max(box[1] for box in boxes) <= width
        for one, other in itertools.combinations(boxes, 2):
            assert not overlap(one, [other]), width


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


@pytest.mark.parametrize("seed", range(3))
def test_labels_stand_apart_and_off_what_is_drawn(seed):
    plot, letters = np.array([430, 380]), 9
    across = np.linspace(0, 1, 400)
    curves = [np.column_stack([across, 1 / (1 + np.exp(30 * (across - at)))]) for at in (0.2, 0.4, 0.6, 0.8)]
    labels = Labels(np.vstack(curves), tuple(plot), [(22, 14)])
    boxes = []
    for one in np.random.default_rng(seed).permutation(len(curves)):
        at, text = labels.place(curves[one][::4], np.zeros(100), letters)
        x, y = curves[one][::4][at] + np.array([text["ax"], -text["ay"]]) / plot
        wide, tall = LETTER * letters / plot[0], LINE / plot[1]
        left = x if text["xanchor"] == "left" else x - wide
        box = (left, left + wide, y - tall / 2, y + tall / 2)
        assert covered(box, np.vstack(curves)) <= 2 and not overlap(box, boxes)
        assert min(box) >= 0 and max(box) <= 1
        boxes.append(box)


@pytest.mark.parametrize("seed", range(5))
def test_labels_keep_their_distance_and_their_order(seed):
    values = np.random.default_rng(seed).uniform(0, 10, 8).tolist()
    places = moved_apart(values, 1.0, (0.0, 12.0))
    assert np.argsort(places).tolist() == np.argsort(values).tolist()
    assert min(np.diff(sorted(places))) >= 1.0 - 1e-9
    assert min(places) >= 0.0 and max(places) <= 12.0
    assert moved_apart([], 1.0, (0.0, 1.0)) == []


def test_a_limit_that_every_mean_meets_is_not_drawn(demo_surfaces, tag):
    asked = tuple(
        dataclasses.replace(one, least=0.0) if one.name == "line_width" else one for one in tag.requirements
    )
    window = pw.find_window(demo_surfaces, dataclasses.replace(tag, requirements=asked))
    assert set(limits_of_mean(window, PLATE, "line_width")) == {"most"}
    table = along_speed(window, PLATE, 50.0, speeds=4)
    (shape,) = along_speed_figure(window, table, "line_width", PLATE, 50.0).layout.shapes
    assert shape.y0 == pytest.approx(70.0)
