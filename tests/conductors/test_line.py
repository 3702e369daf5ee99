"""Resistance of a printed line.

Bulk silver 1.587e-8 Ω·m at 293 K is from memory of a handbook's table; the worked figures follow.
"""

import numpy as np
import pytest
from scipy.integrate import trapezoid

from pwindow.conductors.line import log_resistance_constant

BULK_SILVER = 1.587e-8  # Ω·m


def resistance(resistivity, length, width, height, factor):
    """Ω, from Ω·m, mm, µm, µm."""
    log_section = np.log(width) + np.log(height)
    return np.exp(np.log(resistivity) - log_section + log_resistance_constant(length, factor))


def test_worked_line():
    """50 µm × 1 µm mean height at five times bulk: 1.587 Ω/mm."""
    assert resistance(5 * BULK_SILVER, 1.0, 50.0, 1.0, 1.0) == pytest.approx(1.587, rel=0, abs=5e-4)


def test_sheet_of_one_square_is_resistivity_over_height():
    """R = Rs L/w with Rs = ρ/h: ten squares of 1 µm film."""
    assert resistance(8e-8, 0.5, 50.0, 1.0, 1.0) == pytest.approx(10 * 8e-8 / 1e-6, rel=1e-12)


def test_data_sheet_unit():
    """1 mΩ per square and mil is 2.54e-8 Ω·m, that is 1.6005 times bulk silver."""
    resistivity = 2.54e-8
    assert resistance(resistivity, 1.0, 1000.0, 25.4, 1.0) == pytest.approx(1e-3, rel=1e-12)
    assert resistivity / BULK_SILVER == pytest.approx(1.6005, rel=0, abs=5e-5)


@pytest.mark.parametrize(
    "profile, factor",
    [
        (lambda t: np.ones_like(t), 1.0),
        (lambda t: 1 - t**2, 2 / 3),
        (lambda t: np.sqrt(1 - t**2), np.pi / 4),
        (lambda t: 1 - np.abs(t), 0.5),
    ],
    ids=["rectangle", "parabola", "ellipse", "triangle"],
)
def test_section_factor_of_shapes_gives_the_resistance_of_their_area(profile, factor):
    """Mean over peak height: 1, 0.667, 0.785, 0.5; the area by quadrature on 200,001 points."""
    t = np.linspace(-1, 1, 200_001)
    area = trapezoid(profile(t), t) / 2 * 60e-6 * 0.8e-6
    expected = 9e-8 * 5e-3 / area
    assert resistance(9e-8, 5.0, 60.0, 0.8, factor) == pytest.approx(expected, rel=1e-6)


def test_height_times_width_misjudges_a_dome():
    """A dome taken as a rectangle conducts 1.5 times too well."""
    dome, rectangle = (resistance(9e-8, 5.0, 60.0, 0.8, factor) for factor in (2 / 3, 1.0))
    assert dome / rectangle == pytest.approx(1.5, rel=1e-12)
