"""Rise of temperature of a heated sheet."""

import math

import pytest

from pwindow.conductors.heat import heat_per_area, rise_fed_by_current, rise_fed_by_voltage


@pytest.mark.parametrize("coefficient", [0.0, 1.5e-3, 3.8e-3])
def test_heat_that_comes_in_goes_out(coefficient):
    """400 W/m² cold and 20 W/(m²·K): the balance that each formula solves."""
    by_voltage, by_current = (
        rise(400.0, 20.0, coefficient) for rise in (rise_fed_by_voltage, rise_fed_by_current)
    )
    assert 20.0 * by_voltage == pytest.approx(400.0 / (1.0 + coefficient * by_voltage))
    assert 20.0 * by_current == pytest.approx(400.0 * (1.0 + coefficient * by_current))


def test_current_has_no_steady_state_from_the_runaway_on():
    assert math.isfinite(rise_fed_by_current(7999.0, 20.0, 2.5e-3))
    assert rise_fed_by_current(8000.0, 20.0, 2.5e-3) == math.inf
    assert rise_fed_by_current(9000.0, 20.0, 2.5e-3) == math.inf


def test_heat_of_a_sheet_between_busbars():
    """12 V over 100 mm of 3.6 Ω: 40 W on a square of 100 mm."""
    assert heat_per_area(12.0, 3.6, 100.0) == pytest.approx(4000.0)
