"""Figures in widgets: how they travel, and how they take the page's colours."""

import plotly.graph_objects as go
import pytest

from pwindow.charts.palette import DARK, LIGHT
from pwindow.environment import FIGURES_SERVED
from pwindow.panels.shared.pictures import Place, in_widget


def drawn(palette):
    return go.Figure(go.Scatter(x=[1, 2], y=[3, 4]), layout=palette.look)


def test_a_served_figure_travels_without_its_drawing_code(monkeypatch):
    monkeypatch.setenv(FIGURES_SERVED, "yes")
    assert len(in_widget(drawn(LIGHT))._esm) < 1000
    monkeypatch.delenv(FIGURES_SERVED)
    assert len(in_widget(drawn(LIGHT))._esm) > 1_000_000, "elsewhere it brings its own"


def test_a_place_keeps_its_room_and_takes_other_colours():
    place = Place(LIGHT, 400)
    assert place.layout.min_height == "446px" and place.figure is None
    place.show(drawn)
    before = place.figure
    place.colour(LIGHT)
    assert place.figure is before, "the same colours are not drawn twice"
    place.colour(DARK)
    assert place.figure.layout.paper_bgcolor == DARK.paper
    assert "pw-dark" in place._dom_classes and "pw-light" not in place._dom_classes
    place.show(None)
    place.colour(LIGHT)
    assert place.figure is None


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear))


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda palette: palette.name)
def test_what_is_read_stands_out(palette):
    """WCAG 2.2, 1.4.3 and 1.4.11: text 4.5 : 1, marks 3 : 1."""
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # a known pair
    for ground in (palette.paper, palette.hatched):
        assert contrast(palette.ink, ground) >= 7
        assert contrast(palette.quiet, ground) >= 4.5
        assert contrast(palette.mark, ground) >= 3
