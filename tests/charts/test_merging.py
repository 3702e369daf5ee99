"""The picture of merging draws what the tables hold, and names what it does not draw."""

import numpy as np
import pytest

from pwindow.charts.merging import merging_figure
from pwindow.charts.palette import DARK
from pwindow.window.merging import SHARES, WITHIN, merging
from pwindow.wording import us_customary


@pytest.fixture(scope="module")
def found(tag_window):
    return merging(tag_window, "laser-imaged", 60.0, 7.2, (20.0, 50.0, 80.0, 90.0))


def test_curves_and_marks_are_those_of_the_tables(found):
    figure = merging_figure(found)
    lines = {trace.name: trace for trace in figure.data if trace.name.endswith("µm")}
    assert list(lines) == ["50 µm", "80 µm"]
    rows = found.curves[found.curves["pressure_um"] == 80.0]
    np.testing.assert_array_equal(lines["80 µm"].y, rows["bridged"])
    marks = [trace for trace in figure.data if trace.name == "shares"]
    known = found.plate_gaps[found.plate_gaps["tried"] == WITHIN]
    np.testing.assert_allclose(np.concatenate([mark.x for mark in marks]), known["plate_gap_um"])
    assert figure.layout.yaxis.type == "log"
    assert sorted(line.y0 for line in figure.layout.shapes) == sorted(SHARES)


def test_what_is_not_drawn_is_named(found):
    text = merging_figure(found).layout.title.text
    assert "less than 1 in 100,000 bridge: 20 µm" in text
    assert "not within what was tried: 90 µm" in text


def test_it_is_drawn_in_the_units_of_the_picture(found):
    figure = merging_figure(found, DARK, us_customary())
    assert "thou" in figure.layout.xaxis.title.text
    line = next(trace for trace in figure.data if trace.name == "3.15 thou")
    rows = found.curves[found.curves["pressure_um"] == 80.0]
    np.testing.assert_allclose(line.x, rows["plate_gap_um"] / 25.4, rtol=1e-9)
    labels = [note.text for note in figure.layout.annotations]
    assert "pressure 3.15 thou" in labels
