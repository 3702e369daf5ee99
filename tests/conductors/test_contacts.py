"""Contacts of a line by their transfer length."""

import numpy as np
import pytest

from pwindow.conductors.contacts import contact_resistance, fit_transfer_length, transfer_length

DISTANCES = [0.25, 0.5, 1.0, 1.25, 2.0, 2.75, 5.25]


def test_contact_of_a_worked_example():
    """ρc = 10⁻³ Ω·cm², 100 Ω, 100 µm × 1 mm (from memory, Berger 1972)."""
    assert 1e6 * transfer_length(1e-7, 100.0) == pytest.approx(31.623, abs=5e-4)
    assert contact_resistance(1e-7, 100.0, 0.1, 1.0) == pytest.approx(3.17363, abs=5e-6)


def test_long_contact_passes_all_current_within_a_few_transfer_lengths():
    reach = transfer_length(1e-7, 100.0)
    assert contact_resistance(1e-7, 100.0, 1e3 * 20 * reach, 1.0) == pytest.approx(100.0 * reach / 1e-3)


def test_fit_of_published_resistances():
    """Slope 35.0 ± 2.8 and intercept 50.9 ± 6.8, as published with the readings."""
    fit = fit_transfer_length(DISTANCES, [54.6, 65.1, 88.1, 106.2, 104.9, 162.3, 230.3], 1.0)
    assert (fit.sheet_resistance, fit.sheet_resistance_se) == pytest.approx((35.0, 2.8), abs=0.05)
    assert (2 * fit.contact_resistance, 2 * fit.contact_resistance_se) == pytest.approx((50.9, 6.8), abs=0.05)
    assert fit.df == 5


def test_fit_gives_back_the_strip_it_was_made_from():
    fit = fit_transfer_length(DISTANCES, 2 * 3.0 + 40.0 * np.array(DISTANCES) / 0.5, 0.5)
    assert (fit.sheet_resistance, fit.contact_resistance) == pytest.approx((40.0, 3.0))
    assert fit.transfer_length == pytest.approx(3.0 * 0.5 / 40.0)


@pytest.mark.parametrize("distances", [[1.0, 2.0], [1.0, 1.0, 1.0]])
def test_too_few_distances_are_refused(distances):
    with pytest.raises(ValueError, match="over two distances or more"):
        fit_transfer_length(distances, [5.0] * len(distances), 1.0)
