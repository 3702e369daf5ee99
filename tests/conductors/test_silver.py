"""Silver of lines and patterns, worked by hand; density of silver 10.49 g/cm³ is a handbook value."""

import numpy as np
import pytest

from pwindow.conductors.silver import line_length, log_silver_constant
from pwindow.study import DENSE_SILVER


def silver(width, height, factor, density):
    """mg/m, from µm, µm, 1, g/cm³."""
    return np.exp(np.log(width) + np.log(height) + log_silver_constant(factor, density))


def test_a_metre_of_dense_line():
    """50 µm × 1 µm × 1 m is 5e-11 m³, 5e-5 cm³: 0.5245 mg of dense silver."""
    assert silver(50.0, 1.0, 1.0, DENSE_SILVER) == pytest.approx(0.5245, rel=1e-12)


def test_a_dome_of_porous_silver():
    """60 µm × 0.8 µm × 2/3 is 32 µm²: at 7.4 g/cm³ 32e-6 cm³ × 7400 mg/cm³ = 0.2368 mg in a metre."""
    assert silver(60.0, 0.8, 2 / 3, 7.4) == pytest.approx(0.2368, rel=1e-12)


@pytest.mark.parametrize("layout, lines", [("square mesh", 2), ("parallel lines", 1)])
def test_length_is_counted_on_a_square_metre(layout, lines):
    """At a pitch of 500 µm a metre holds 2000 lines a metre long, in one or in both directions."""
    assert line_length(500.0, layout) == lines * 2000.0


def test_a_mesh_counts_its_nodes_twice_and_no_more():
    """Area under a mesh is 1 - (1 - w/p)²; both lines without their nodes in common are w/(2p) more."""
    width, pitch = 60.0, 900.0
    covered = 1.0 - (1.0 - width / pitch) ** 2
    counted = line_length(pitch, "square mesh") * width * 1e-6
    assert counted / covered - 1.0 == pytest.approx(width / (2 * pitch), rel=0.05)
    assert counted > covered
