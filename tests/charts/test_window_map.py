"""The map picture: what it draws, and that repainting equals drawing anew."""

import numpy as np
import pandas as pd
import pytest

from pwindow.charts.isolines import isolines
from pwindow.charts.map_content import MapContent, map_title
from pwindow.charts.window_picture import update_figure, window_figure
from pwindow.product import Assurance
from pwindow.study import Roll
from pwindow.window.search.maps import WindowMap
from pwindow.wording import metric


def content(level=0.9, shift=0.0, **changes) -> MapContent:
    speeds, volumes = np.linspace(30, 120, 6), np.linspace(2, 7, 5)
    joint = np.clip(1 - (speeds[None, :] - 30) / 90 + 0 * volumes[:, None] - shift, 0, 1)
    joint[0, :] = np.nan
    bands = pd.DataFrame(
        {"roll": ["A"], "cell_volume_cm3_m2": [4.0], "speed_low_m_min": [30.0], "speed_high_m_min": [39.0]}
    )
    values = dict(
        window_map=WindowMap(speeds, volumes, joint, joint - 0.5),
        assurance=Assurance(level),
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
    names = next(trace for trace in figure.data if trace.name == "roll names").text
    assert [name.strip() for name in names] == ["A · 4", "roll · volume"]
    outline = next(trace for trace in figure.data if trace.name == "assured")
    assert outline.x == pytest.approx([30 + 0.15 * 90] * len(outline.x)) and outline.line.width >= 3
    assert (min(outline.y), max(outline.y)) == (3.25, 7.0), "all volumes that were tried"


def test_an_outline_meets_the_ends_of_speed_bands_and_closes_at_its_tip():
    speeds, volumes = np.linspace(0.0, 10.0, 80), np.linspace(0.0, 5.0, 80)
    hill = 1.0 - (speeds[None, :] - 5.0) ** 2 / 40.0 - (volumes[:, None] - 2.0) ** 2 / 40.0
    line = isolines(WindowMap(speeds, volumes, hill, hill), hill, [0.9])
    distance = np.hypot(line["x"] - 5.0, line["y"] - 2.0)
    assert distance == pytest.approx(2.0, abs=0.01) and line["x"][0] == line["x"][-1]
    apart = isolines(WindowMap(speeds, volumes, hill, hill), np.abs(speeds[None, :] - 5.0) + 0 * hill, [2.0])
    assert np.isnan(apart["x"]).sum() == 1 and set(np.round(apart["x"], 3)) >= {3.0, 7.0}


def test_the_title_says_what_the_map_is_of_and_is_repainted():
    figure = window_figure(content(title=map_title("Tag <1>", "laser-imaged", 50.0)))
    assert figure.layout.title.text.startswith("Tag &lt;1&gt; · plate laser-imaged · pressure 50 µm<br>")
    update_figure(figure, content(title=map_title("Tag", "", 4.0, metric("N/mm"))))
    assert figure.layout.title.text.startswith("Tag · pressure 4 N/mm<br>")
    assert len(map_title("long " * 40, "plate " * 40, 123.456, metric("N/mm"))) < 92, "a line holds it"


def test_the_assured_region_is_outlined_at_other_pressures_too():
    other = content(shift=-0.2).window_map
    figure = window_figure(content(elsewhere=(("35 µm", other),)))
    outline = next(trace for trace in figure.data if trace.name == "elsewhere")
    assert outline.x[:3] == pytest.approx([57.0] * 3), "0.9 is reached where 1 - (speed - 30) / 90 + 0.2 is"
    assert [word.strip() for word in outline.text if word] == ["35 µm"] and len(outline.text) == len(
        outline.x
    )
    assert any("other pressures" in note.text for note in figure.layout.annotations)
    update_figure(figure, content())
    assert figure.to_json() == window_figure(content()).to_json()


def test_the_key_names_the_levels_of_the_thin_lines():
    (key,) = (note.text for note in window_figure(content()).layout.annotations if "not tried" in note.text)
    assert "── 25 % and 75 %" in key
