"""Maps of the plates to order: they paint what is assured, outline it, and mark the orders."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pwindow.charts.order_content import ORDERS, OrderContent, order_notes, place_of
from pwindow.charts.order_map import ASSURED, GROUND, LINES, MAP, SURE, order_figure
from pwindow.charts.palette import DARK, LIGHT
from pwindow.window.orders import PlateOrders
from pwindow.wording import us_customary
from tests.helpers.orders import GAPS, MAKING, WIDTHS, made_map, made_order


@pytest.fixture
def content(sensor):
    found = PlateOrders(
        (made_order("laser-imaged", 42.4, 53.0, 62.4), made_order("film-imaged", 37.1, 47.7, 37.1)),
        (made_map("film-imaged"), made_map("laser-imaged", faster=20.0)),
        MAKING,
        None,
        (),
    )
    return OrderContent(product=sensor, found=found, fit="abc123")


def traces(figure, name):
    return [trace for trace in figure.data if trace.name == name]


def with_maps(content, *maps):
    return replace(content, found=replace(content.found, maps=maps))


def test_colours_are_speeds_and_end_at_the_outline(content):
    figure = order_figure(content)
    for painted, faster in zip(traces(figure, MAP), (0.0, 20.0), strict=True):
        wide, gaps = np.meshgrid(painted.x, painted.y)
        values = np.asarray(painted.z, float)
        shown = np.isfinite(values)
        assert (shown == ((wide <= 50.0) & (gaps <= 91.0)))[np.abs(wide - 50.0) > 0.5].all()
        assert values[shown] == pytest.approx(wide[shown] + faster, abs=0.01)
    for outline in traces(figure, ASSURED):
        assert outline.x == pytest.approx([50.0] * len(outline.x), abs=1e-4) and outline.line.width >= 4


def test_where_the_outline_may_lie_is_dashed_where_it_was_looked_at(content):
    plain, other = content.found.maps
    across = np.broadcast_to(np.interp(plain.widths, [30.0, 50.0], [1.0, 0.0]), plain.best.shape)
    figure = order_figure(with_maps(content, replace(plain, sure=across), other))
    (dashed,) = traces(figure, SURE)
    known = np.asarray(dashed.x, float)
    assert sorted(set(np.round(known[np.isfinite(known)]))) == [31.0, 49.0] and dashed.line.dash == "dash"
    said = [
        any("where that outline lies with 90 % probability" in note.text for note in drawn.layout.annotations)
        for drawn in (figure, order_figure(content))
    ]
    assert said == [True, False]


def test_all_maps_share_one_scale_from_the_slowest_to_the_fastest(content):
    figure = order_figure(content)
    assert (figure.layout.coloraxis.cmin, figure.layout.coloraxis.cmax) == (20.0, 70.0)
    assert {trace.coloraxis for trace in traces(figure, MAP)} == {"coloraxis"}
    axes = [figure.layout[name] for name in ("xaxis2", "xaxis4", "yaxis2", "yaxis4")]
    assert axes[0].range == axes[1].range and axes[2].range == axes[3].range


def test_what_was_not_tried_stays_hatched(content):
    figure = order_figure(content)
    assert [trace.fillpattern.shape for trace in traces(figure, "outside")] == ["/", "/"]
    for ground in traces(figure, GROUND):
        assert np.isnan(ground.z[GAPS > 90.0]).all() and np.isfinite(ground.z[GAPS <= 90.0]).all()


def test_the_first_order_is_the_diamond_on_the_map_of_its_process(content):
    film, laser = traces(order_figure(content), ORDERS)
    assert (film.marker.symbol, film.x) == (("circle",), (37.1,))
    assert (laser.marker.symbol, laser.x, laser.y) == (("diamond",), (42.4,), (53.0,))
    assert "&lt;2047&gt;" in laser.text[0] and "62.4 m/min" in laser.text[0] and "91.0 %" in laser.text[0]


def test_a_plate_is_told_with_artwork_speed_roll_and_probability(content):
    ground = traces(order_figure(content), GROUND)[1]
    assert ground.text[0, 10] == "fastest assured speed 50 m/min, roll &lt;2047&gt;"
    assert ground.text[0, -1] == "not assured; best at 33 m/min, roll &lt;2047&gt;"
    assert ground.customdata[3, 10] == pytest.approx([30.0, 46.0])
    assert np.nanmax(ground.z) <= 0.999, "rounded, it must not read as certain"


def test_thin_lines_are_lower_probabilities_and_say_which(sensor, content):
    steep = replace(made_map("film-imaged"), best=np.tile((60.0 - WIDTHS) / 40.0, (len(GAPS), 1)))
    figure = order_figure(with_maps(content, steep))
    lines = np.unique(np.round([x for x in traces(figure, LINES)[0].x if np.isfinite(x)], 3))
    assert lines == pytest.approx([30.0, 40.0, 50.0])
    said = {note.text: note.x for note in figure.layout.annotations if note.text.endswith(" %")}
    assert said == pytest.approx({"25 %": 50.0, "50 %": 40.0, "75 %": 30.0})


def test_where_nothing_is_assured_colours_are_probabilities(content):
    short = [
        replace(one, best=one.best - 0.5, fastest=np.full(one.best.shape, np.nan))
        for one in content.found.maps
    ]
    lost = tuple(
        made_order(one.plate, one.plate_width, one.plate_gap, 33.0, assured=False)
        for one in content.found.orders
    )
    figure = order_figure(replace(content, found=replace(content.found, maps=tuple(short), orders=lost)))
    assert figure.layout.coloraxis.cmin == 0.0 and figure.layout.coloraxis.cmax == pytest.approx(0.5)
    assert np.nanmax(traces(figure, MAP)[0].z) == pytest.approx(0.5)
    assert all(not len(outline.x) for outline in traces(figure, ASSURED))
    assert "no plate reaches 90 %" in figure.layout.title.text
    assert "◇ closest" in figure.layout.annotations[-1].text


def test_the_title_names_product_and_fit_and_each_map_its_process(content):
    odd = replace(content, product=replace(content.product, name="Tag <1>"))
    figure = order_figure(odd)
    assert figure.layout.title.text.startswith("Tag &lt;1&gt;: ") and "fit abc123" in figure.layout.title.text
    said = [note.text for note in figure.layout.annotations]
    assert "<b>film-imaged</b>" in said and "<b>laser-imaged</b>" in said


def test_a_process_of_one_width_is_named_as_not_drawn_beside_maps(content):
    single = made_map("film-imaged", widths=np.array([28.0]))
    figure = order_figure(with_maps(content, single, content.found.maps[1]))
    assert len(traces(figure, MAP)) == 1 and "not drawn: film-imaged" in figure.layout.title.text


def test_numbers_follow_the_units(content):
    figure = order_figure(replace(content, units=us_customary()))
    assert figure.layout.coloraxis.cmax == pytest.approx(70.0 / 0.3048)
    assert figure.layout.xaxis2.title.text == "plate width, thou"
    assert traces(figure, ORDERS)[1].x == pytest.approx([42.4 / 25.4])


def test_colours_of_both_themes(content):
    for palette in (LIGHT, DARK):
        figure = order_figure(content, palette)
        assert figure.layout.paper_bgcolor == palette.paper
        assert [colour for _, colour in figure.layout.coloraxis.colorscale] == list(palette.scale)


def test_words_beside_marks_stand_towards_the_middle(content):
    note = order_notes(content, "laser-imaged", ("plate_width", "plate_gap"), (40.0, 70.0), LIGHT)[0]
    assert note["text"] == "<b>62.4 m/min</b>" and (note["ax"] < 0, note["ay"] < 0) == (True, True)
    assert place_of(content, content.found.orders[0], "speed") == 62.4
