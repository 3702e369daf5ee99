"""The map picture: what it draws, and that repainting equals drawing anew."""

import numpy as np
import pandas as pd
import pytest

from pwindow.charts.map_content import MapContent, map_title
from pwindow.charts.window_picture import update_figure, window_figure
from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap


def content(level=0.9, shift=0.0, **changes) -> MapContent:
    speeds, volumes = np.linspace(30, 120, 6), np.linspace(2, 7, 5)
    joint = np.clip(1 - (speeds[None, :] - 30) / 90 + 0 * volumes[:, None] - shift, 0, 1)
    joint[0, :] = np.nan
    bands = pd.DataFrame(
        {"roll": ["A"], "cell_volume_cm3_m2": [4.0], "speed_low_m_min": [30.0], "speed_high_m_min": [39.0]}
    )
    values = dict(
        window_map=WindowMap(speeds, volumes, joint, joint - 0.5),
        level=level,
        rolls=(Roll("A", 4.0),),
        bands=bands,
        chosen=(60.0, 4.0),
        recommended=(39.0, 4.0),
    )
    return MapContent(**(values | changes))


def test_repainting_equals_drawing_anew():
    figure = window_figure(content())
    update_figure(figure, content(level=0.8, shift=0.1, recommended=None))
    assert figure.to_json() == window_figure(content(level=0.8, shift=0.1, recommended=None)).to_json()


def test_outside_the_trial_region_nothing_is_painted_over_the_hatching():
    figure = window_figure(content())
    painted = {trace.name: trace for trace in figure.data}
    assert np.isnan(np.array(painted["map"].z).reshape(5, 6)[0]).all()
    assert painted["outside"].fillpattern.shape == "/"


def test_every_roll_is_named_and_the_level_is_the_heavy_outline():
    figure = window_figure(content(level=0.85))
    assert any("roll A" in note.text for note in figure.layout.annotations)
    outline = next(trace for trace in figure.data if trace.name == "assured")
    assert outline.contours.start == pytest.approx(0.85) and outline.line.width >= 3


def test_the_title_says_what_the_map_is_of_and_is_repainted():
    figure = window_figure(content(title=map_title("Tag <1>", "laser-imaged", 50.0, "µm")))
    assert figure.layout.title.text == "Tag &lt;1&gt; · plate laser-imaged · pressure 50 µm"
    update_figure(figure, content(title=map_title("Tag", "", 4.0, "N/mm")))
    assert figure.layout.title.text == "Tag · pressure 4 N/mm"
    assert len(map_title("long " * 40, "plate " * 40, 123.456, "N/mm")) < 92, "a line holds it"


@pytest.mark.parametrize("height", [420, 590, 800])
def test_the_scale_stands_as_far_below_the_map_at_every_height(height):
    figure = window_figure(content(), height=height)
    layout, scale = figure.layout, next(trace for trace in figure.data if trace.name == "map").colorbar
    assert layout.height == height
    assert -scale.y * (height - layout.margin.t - layout.margin.b) == pytest.approx(65)
