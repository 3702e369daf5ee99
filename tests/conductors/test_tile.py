"""Voltage drop over a square tile that draws a uniform current: -∇²u = 1 with u = 0 at contacts."""

import numpy as np
import pytest

from pwindow.conductors.tile import LARGEST_DROP, drop_per_sheet_resistance
from pwindow.product import CONTACTS


def centre_of_rectangle(sides: float) -> float:
    """Drop at the centre of a 1 × `sides` tile with contacts all round.

    u = 1/8 - 4/π³ Σ (-1)^k / ((2k+1)³ cosh((2k+1)π sides/2)) (Timoshenko & Goodier, ch. 10).
    """
    odd = 2 * np.arange(40) + 1
    terms = (-1.0) ** np.arange(40) / (odd**3 * np.cosh(odd * np.pi * sides / 2))
    return float(1 / 8 - 4 / np.pi**3 * terms.sum())


@pytest.mark.parametrize(
    "contacts, solved",
    [
        ("one side", 4 * 1 / 8),  # its mirror image: a strip of twice the width
        ("two opposite", 1 / 8),
        ("two adjacent", 4 * centre_of_rectangle(1.0)),  # its mirror images: a square of twice the side
        ("three", centre_of_rectangle(2.0)),  # its mirror image: a rectangle of twice the length
        ("four", centre_of_rectangle(1.0)),
    ],
)
def test_largest_drop_solves_poissons_equation(contacts, solved):
    """Seven printed decimals; the tables cut 0.07367135 off, so a little more than half a unit."""
    assert LARGEST_DROP[contacts] == pytest.approx(solved, rel=0, abs=5.5e-8)


@pytest.mark.parametrize(
    "sides, published", [(1.0, 0.0736713), (1.5, 0.1007714), (2.0, 0.1138718), (3.0, 0.1226824)]
)
def test_the_series_itself_gives_the_tabulated_rectangles(sides, published):
    """Timoshenko & Goodier, cut off or rounded after the seventh decimal."""
    assert centre_of_rectangle(sides) == pytest.approx(published, rel=0, abs=5.5e-8)


def test_contacts_of_products_are_those_that_are_solved():
    assert set(CONTACTS) == set(LARGEST_DROP)


@pytest.mark.parametrize(
    "contacts, published",
    [
        ("one side", "50"),
        ("two opposite", "12.5"),
        ("two adjacent", "29.5"),
        ("three", "11.4"),
        ("four", "7.4"),
    ],
)
def test_worked_tile(contacts, published):
    """100 mm, 10 A/m², 1 Ω: mV to the printed digits."""
    half = 0.5 if "." not in published else 0.05
    assert drop_per_sheet_resistance(100.0, 10.0, contacts) == pytest.approx(
        float(published), rel=0, abs=half
    )


def test_more_contacts_never_raise_the_drop():
    order = ["one side", "two adjacent", "two opposite", "three", "four"]
    assert np.all(np.diff([LARGEST_DROP[contacts] for contacts in order]) < 0)


def test_drop_grows_with_current_and_the_square_of_the_side():
    base = drop_per_sheet_resistance(50.0, 5.0, "three")
    assert drop_per_sheet_resistance(100.0, 10.0, "three") == pytest.approx(8 * base, rel=1e-14)
