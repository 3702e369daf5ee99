"""Maps where nothing is assured, and curves where one setting was tried: what they paint, mark and say."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from pwindow.charts.map_content import MapContent, Nearest
from pwindow.charts.palette import DARK, LIGHT
from pwindow.charts.window_picture import same_form, update_figure, window_figure
from pwindow.product import Assurance
from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap

BANDS = ["roll", "cell_volume_cm3_m2", "speed_low_m_min", "speed_high_m_min"]


def content(top=0.6, speeds=6, volumes=5, **changes) -> MapContent:
    speed, volume = np.linspace(30, 120, speeds), np.linspace(2, 7, volumes)
    joint = top * (1 - (speed[None, :] - 30) / 120) * np.ones((volumes, 1))
    values = dict(
        window_map=WindowMap(speed, volume, joint, joint - 3.0),
        assurance=Assurance(0.95),
        rolls=(Roll("A", 2.0), Roll("B", 4.0)),
        bands=pd.DataFrame(columns=BANDS),
        chosen=(60.0, 2.0),
        nearest=Nearest(top, (30.0, 2.0)),
    )
    return MapContent(**(values | changes))


def traces(figure):
    return {trace.name: trace for trace in figure.data}


def words(figure):
    return " ".join(note.text for note in figure.layout.annotations)


def test_the_colours_end_at_the_highest_value_that_is_reached():
    painted = traces(window_figure(content(0.6)))["map"]
    assert (painted.zmin, painted.zmax) == (0.0, 0.6)
    ticks = painted.colorbar
    assert ticks.tickvals[-1] == 0.6 and "60.0 %" in ticks.ticktext[-1]
    assert "100 %" not in ticks.ticktext and "highest at any volume: 60.0 %" in ticks.title.text


def test_the_scale_reaches_as_far_at_another_pressure():
    """Elsewhere 80 % is reached: the same colour means the same on every map."""
    painted = traces(window_figure(content(0.6, nearest=Nearest(0.8))))["map"]
    assert painted.zmax == 0.8 and "closest set-up: 80.0 %" in painted.colorbar.title.text


def test_an_assured_map_keeps_the_whole_scale():
    painted = traces(window_figure(content(0.99, nearest=None)))["map"]
    assert (painted.zmin, painted.zmax) == (0.0, 1.0) and painted.colorbar.ticktext[-1] == "100 %"


def test_the_closest_set_up_is_marked_with_words():
    figure = window_figure(content(0.6))
    assert list(traces(figure)["closest"].x) == [30.0] and not len(traces(figure)["recommended"].x)
    assert "closest: 30 m/min, 60.0 %" in words(figure) and "no roll reaches 95 %" in figure.layout.title.text
    away = window_figure(content(0.6, nearest=Nearest(0.6)))
    assert not len(traces(away)["closest"].x) and "at another plate or pressure" in away.layout.title.text


def test_where_probabilities_say_nothing_the_means_are_coloured():
    painted = traces(window_figure(content(1e-7)))["map"]
    assert (
        painted.zmax == pytest.approx(-3.0, abs=1e-6) and "standard deviations" in painted.colorbar.title.text
    )


def test_a_tooltip_does_not_round_up_to_certainty():
    assert np.max(traces(window_figure(content(0.9999, nearest=None)))["map"].z) < 0.9995


@pytest.mark.parametrize("nearest", [None, Nearest(0.3, (30.0, 2.0)), Nearest(1e-9)])
def test_repainting_equals_drawing_anew(nearest):
    figure = window_figure(content(0.6))
    other = content(0.3, nearest=nearest)
    update_figure(figure, other)
    assert figure.to_json() == window_figure(other).to_json()


def one_volume(**changes):
    band = pd.DataFrame([("A", 2.0, 40.0, 62.5)], columns=BANDS)
    values = dict(volumes=1, bands=band, nearest=None, recommended=(62.5, 2.0))
    return content(0.99, **(values | changes))


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_one_cell_volume_is_a_curve_and_paints_no_other(palette):
    figure = window_figure(one_volume(), palette)
    kinds = {trace.type for trace in figure.data}
    assert kinds == {"scatter"}, "a map would paint volumes that nobody tried"
    found = traces(figure)
    np.testing.assert_allclose(found["curve"].y, one_volume().window_map.joint[0])
    assert list(found["bands"].x)[:2] == [40.0, 62.5] and set(found["bands"].y) == {0.0, None}
    assert found["bands"].line.width > 8
    assert any(shape.y0 == shape.y1 == 0.95 for shape in figure.layout.shapes)
    assert "assured: 40 to 62.5 m/min" in words(figure) and "not tried, nor roll B" in words(figure)


def test_beyond_the_ends_of_the_region_a_curve_stands_on_hatching():
    shown = one_volume().window_map
    joint = shown.joint.copy()
    joint[0, [0, -1]] = np.nan
    figure = window_figure(one_volume(window_map=dataclasses.replace(shown, joint=joint)))
    tried, axis = traces(figure)["tried"], figure.layout.xaxis2.range
    assert (min(tried.x), max(tried.x)) == (shown.speeds[1], shown.speeds[-2])
    assert axis[0] < min(tried.x) and axis[1] > max(tried.x)
    assert traces(figure)["outside"].fillpattern.shape == "/"


def test_a_roll_of_another_volume_is_not_marked_on_the_curve():
    figure = window_figure(one_volume(chosen=(60.0, 4.0)))
    assert not len(traces(figure)["chosen"].x) and len(traces(figure)["recommended"].x) == 1


def test_one_speed_is_a_curve_along_cell_volume():
    band = pd.DataFrame([("B", 4.0, 30.0, 30.0)], columns=BANDS)
    figure = window_figure(content(0.99, speeds=1, nearest=None, bands=band, chosen=(30.0, 4.0)))
    assert figure.layout.xaxis2.title.text == "cell volume, cm³/m²"
    assert [x for x in traces(figure)["bands"].x if x is not None] == [4.0]
    assert len(traces(figure)["chosen"].x) == 1 and "One speed was tried" in words(figure)


def test_the_closest_is_marked_on_a_curve():
    figure = window_figure(content(0.6, volumes=1))
    assert list(traces(figure)["closest"].x) == [30.0] and "closest: 30 m/min, 60.0 %" in words(figure)


def test_a_curve_is_repainted_as_it_would_be_drawn():
    figure, other = (
        window_figure(one_volume(), DARK),
        one_volume(chosen=(80.0, 2.0), assurance=Assurance(0.9)),
    )
    assert same_form(figure, other) and not same_form(figure, content())
    assert not same_form(window_figure(content()), other)
    assert not same_form(figure, content(speeds=1))
    update_figure(figure, other, DARK)
    assert figure.to_json() == window_figure(other, DARK).to_json()
