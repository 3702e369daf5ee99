"""Colours that must be told apart are, with the common colour-vision deficiencies and without colour.

Deficiencies by Machado, Oliveira & Fernandes 2009, IEEE Trans. Vis. Comput. Graph. 15, 1291-1298, at
severity 1.0, applied to linear sRGB (IEC 61966-2-1); differences by CIEDE2000 (ISO/CIE 11664-6).
"""

from itertools import combinations

import numpy as np
import plotly.colors
import pytest

from pwindow.charts.palette import PALETTES
from pwindow.charts.roll_looks import roll_looks
from pwindow.study import Roll

SEEN = {
    "normal": np.eye(3),
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
    "greyscale": [[0.2126, 0.7152, 0.0722]] * 3,
}
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])

LINES, TEXTS = 8.0, 12.0
"""Least differences: of lines that also have dash and label, and of what has its shape alone."""


def lab(colour, seen="normal"):
    """CIELAB of a hexadecimal colour as it is seen, D65."""
    coded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    ratio = XYZ @ np.clip(np.asarray(SEEN[seen]) @ linear, 0.0, 1.0) / XYZ.sum(axis=1)
    x, y, z = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def ciede2000(one, other):
    """CIEDE2000 difference of two CIELAB colours, by the formulas of Sharma, Wu & Dalal 2005."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    grey = 1 + 0.5 * (1 - np.sqrt(mean**7 / (mean**7 + 25.0**7)))
    c1, c2 = np.hypot(a1 * grey, b1), np.hypot(a2 * grey, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a * grey)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    middle, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    angle = h1 + h2 if c1 * c2 == 0 else (h1 + turn / 2) % 360
    waves = ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.20, 4, -63))
    t = 1 + sum(size * np.cos(np.radians(times * angle + shift)) for size, times, shift in waves)
    s_l = 1 + 0.015 * (middle - 50) ** 2 / np.sqrt(20 + (middle - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    rotation = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    rotation *= np.sin(np.radians(60 * np.exp(-(((angle - 275) / 25) ** 2))))
    parts = (l2 - l1) / s_l, (c2 - c1) / s_c, hue / s_h
    return float(np.sqrt(np.dot(parts, parts) + rotation * parts[1] * parts[2]))


def difference(one, other, seen):
    return ciede2000(lab(one, seen), lab(other, seen))


@pytest.mark.parametrize(
    "one, other, expected",
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
        ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((90.8027, -2.0831, 1.4410), (91.1528, -1.6435, 0.0447), 1.4441),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_differences_by_published_pairs(one, other, expected):
    """Test pairs of Sharma, Wu & Dalal 2005, Color Res. Appl. 30, 21-30, table 1 (from memory)."""
    assert ciede2000(one, other) == pytest.approx(expected, abs=5e-5)
    assert ciede2000(other, one) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("seen", SEEN)
def test_white_stays_white_and_deficiencies_confuse_what_they_should(seen):
    np.testing.assert_allclose(lab("#ffffff", seen), (100.0, 0.0, 0.0), atol=0.02)
    red_and_green = difference("#a05a2c", "#5f7a1f", seen)
    assert (red_and_green < 12) == (seen in ("deuteranopia", "greyscale", "protanopia"))


@pytest.mark.parametrize("seen", SEEN)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_rolls_are_told_apart(palette, seen):
    for one, other in combinations(palette.rolls, 2):
        assert difference(one, other, seen) >= LINES


@pytest.mark.parametrize("seen", SEEN)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_lines_and_texts_are_told_from_each_other_and_from_paper(palette, seen):
    grounds = (palette.faint, palette.paper)
    pairs = list(combinations((palette.ink, palette.mark, palette.quiet), 2))
    pairs += [(text, ground) for text in (palette.ink, palette.mark, palette.quiet) for ground in grounds]
    for one, other in [*pairs, *((palette.paper, colour) for colour in palette.rolls)]:
        assert difference(one, other, seen) >= TEXTS, (one, other)


@pytest.mark.parametrize("seen", [seen for seen in SEEN if seen != "greyscale"])
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_limits_are_told_from_rolls(palette, seen):
    """Without colour they are told by being level, unbroken and labelled."""
    assert min(difference(palette.mark, colour, seen) for colour in palette.rolls) >= TEXTS


def scale_colours(palette):
    anchors = [tuple(part / 255 for part in plotly.colors.hex_to_rgb(one)) for one in palette.scale]
    colours = plotly.colors.sample_colorscale(anchors, np.linspace(0.0, 1.0, 41), colortype="tuple")
    return ["#" + "".join(f"{round(255 * part):02x}" for part in colour) for colour in colours]


@pytest.mark.parametrize("seen", SEEN)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_marks_and_lines_stand_out_from_the_map(palette, seen):
    """Marks have an edge and a halo or filling; one of the two differs from every colour of the map."""
    for colour in scale_colours(palette):
        assert max(difference(palette.mark, colour, seen), difference(palette.paper, colour, seen)) >= TEXTS
        assert difference(palette.ink, colour, seen) >= 2 * TEXTS


@pytest.mark.parametrize("seen", SEEN)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_the_map_gets_nearer_to_one_blue_with_conformance(palette, seen):
    """In steps of one direction of lightness, none of which is much larger than the others."""
    colours = scale_colours(palette)
    steps = np.diff([lab(colour, seen)[0] for colour in colours])
    assert (np.sign(steps) == np.sign(steps.sum())).all() and abs(steps.sum()) > 30
    assert max(difference(one, other, seen) for one, other in zip(colours, colours[1:])) < 3.0


def test_a_planned_roll_leaves_the_others_their_looks():
    owned = [Roll("a", 2.0), Roll("b", 6.0)]
    looks = roll_looks([owned[0], Roll("new", 4.0, planned=True), owned[1]])
    assert {name: looks[name] for name in "ab"} == roll_looks(owned)
    assert looks["new"].words == "roll new (planned, 4 cm³/m²)" and looks["new"].hollow
    assert looks["new"].colour not in {looks[name].colour for name in "ab"}


def test_rolls_of_one_colour_differ_in_dash():
    looks = roll_looks([Roll(str(at), 1.0 + at) for at in range(36)])
    assert len({(look.colour, look.dash) for look in looks.values()}) == 36
    assert len({look.dash for look in list(looks.values())[:6]}) == 6
