"""Voltage and current over a tile, against closed forms and the factorised matrix."""

import numpy as np
import pytest
from scipy.sparse import linalg

from pwindow.conductors.tile import LARGEST_DROP
from pwindow.conductors.tile_field import (
    CONTACTED,
    SIDES,
    WHOLE,
    DeviceCurve,
    ExponentialDevice,
    LinearDevice,
    Tile,
    UniformCurrent,
    _Grid,
    largest_multiple,
    solve_tile,
)

CONTACTS = tuple(CONTACTED)


def extrapolated(tile, device, of, cells=(100, 200)):
    """Richardson (1911): errors fall with the square of the cell."""
    coarse, fine = (of(solve_tile(tile, device, (n, n))) for n in cells)
    return (4.0 * fine - coarse) / 3.0


@pytest.mark.parametrize("contacts", CONTACTS)
def test_largest_drop_of_a_square_is_the_constant_to_five_digits(contacts):
    """Series solution of the Poisson problem; `four` is the membrane constant of the square."""
    found = extrapolated(Tile.square(1000.0, 1.0, contacts), UniformCurrent(1.0), lambda f: f.drop.max())
    assert found == pytest.approx(LARGEST_DROP[contacts], rel=1e-5)


@pytest.mark.parametrize(
    ("ratio", "most", "mean"),
    [(1.5, 0.1007714, 0.0489402), (2.0, 0.1138718, 0.0571704), (3.0, 0.1226824, 0.0658292)],
)
def test_rectangle_contacted_all_round(ratio, most, mean):
    """Series solution; 4 × mean is the classic table of torsion of a rectangular bar."""
    tile = Tile(
        width=1000.0, height=1000.0 * ratio, across=1.0, along=1.0, contacts=dict.fromkeys(SIDES, WHOLE)
    )
    for of, constant in ((lambda f: f.drop.max(), most), (lambda f: f.drop.mean(), mean)):
        assert extrapolated(tile, UniformCurrent(1.0), of) == pytest.approx(constant, rel=1e-5)


@pytest.mark.parametrize("beta", [0.5, 1.0, 2.0, 5.0])
def test_exponential_device_between_two_contacts_has_the_closed_form(beta):
    """y/cos y = √(β/8), least cos²y, mean sin 2y/2y of the current at the contacts (derived)."""
    low, high = 0.0, np.pi / 2
    for _ in range(80):
        y = (low + high) / 2
        low, high = (y, high) if y / np.cos(y) < np.sqrt(beta / 8) else (low, y)
    tile, device = Tile.square(1000.0, 1.0, "two opposite"), ExponentialDevice(beta, 1.0)
    for of, value in (
        (lambda f: f.density.min(), np.cos(y) ** 2),
        (lambda f: f.density.mean(), np.sin(2 * y) / (2 * y)),
    ):
        assert extrapolated(tile, device, of) / beta == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize("beta", [0.5, 5.0])
def test_one_side_is_two_opposite_at_four_times_the_resistance(beta):
    one = solve_tile(Tile.square(1000.0, 1.0, "one side"), ExponentialDevice(beta, 1.0), (100, 8))
    two = solve_tile(Tile.square(1000.0, 4.0, "two opposite"), ExponentialDevice(beta, 1.0), (200, 8))
    np.testing.assert_allclose(one.density[0], two.density[0, :100], rtol=1e-8)


@pytest.mark.parametrize(
    ("ratio", "centre", "mean"), [(1, 0.9302, 0.9665), (2, 0.7592, 0.8821), (4, 0.3881, 0.6797)]
)
def test_linear_device_fed_from_four_sides(ratio, centre, mean):
    """L over √(V/(J·Rs)) of 1, 2 and 4: finite differences, extrapolated."""
    tile, device = Tile.square(1000.0, 1.0, "four"), LinearDevice(float(ratio**2), 1.0)
    share = extrapolated(tile, device, lambda f: f.density.min()) / ratio**2
    assert share == pytest.approx(centre, abs=1e-4)
    assert extrapolated(tile, device, lambda f: f.density.mean()) / ratio**2 == pytest.approx(mean, abs=1e-4)


def test_sheet_that_conducts_better_one_way_is_a_stretched_square():
    """x/√(R across) and y/√(R along) make the operator that of an even sheet."""
    stretched = Tile(
        width=1000.0, height=500.0, across=1.0, along=4.0, contacts={"left": WHOLE, "bottom": WHOLE}
    )
    square = Tile.square(1000.0, 1.0, "two adjacent")
    one, other = (solve_tile(tile, UniformCurrent(1.0), (60, 60)).drop for tile in (stretched, square))
    np.testing.assert_allclose(one, other, rtol=1e-9)


@pytest.mark.parametrize("contacts", CONTACTS)
def test_transforms_agree_with_the_factorised_matrix(contacts):
    grid = _Grid.of(Tile.square(300.0, 0.5, contacts), (24, 17))
    wanted = np.random.default_rng(3).normal(size=grid.shape)
    factors = linalg.splu(grid.matrix().tocsc())
    np.testing.assert_allclose(grid.inverse(0.0)(wanted).ravel(), factors.solve(wanted.ravel()), rtol=1e-9)
    np.testing.assert_allclose(grid.apply(wanted).ravel(), grid.matrix() @ wanted.ravel(), rtol=1e-10)


def test_parts_that_make_up_a_side_are_the_whole_side():
    parts = Tile(
        width=100.0,
        height=100.0,
        across=1.0,
        along=1.0,
        contacts={"left": ((0.0, 0.5), (0.5, 1.0)), "right": WHOLE},
    )
    device = ExponentialDevice(100.0, 0.2)
    assert not parts.whole
    by_factors = solve_tile(parts, device, (40, 40))
    by_transforms = solve_tile(Tile.square(100.0, 1.0, "two opposite"), device, (40, 40))
    np.testing.assert_allclose(by_factors.density, by_transforms.density, rtol=1e-7)


def test_curve_of_an_exponential_device_gives_what_its_formula_gives():
    volts = np.linspace(2.0, 3.5, 200)
    curve = DeviceCurve(volts, 10.0 * np.exp((volts - 3.5) / 0.2), 3.5)
    tile = Tile.square(300.0, 0.3, "four")
    one, other = (solve_tile(tile, device, (60, 60)) for device in (curve, ExponentialDevice(10.0, 0.2)))
    np.testing.assert_allclose(one.density, other.density, rtol=1e-5)


def test_evenness_goes_by_its_definition():
    field = solve_tile(Tile.square(300.0, 0.344, "four"), ExponentialDevice(10.0, 0.2), (80, 80))
    least, most, mean = field.density.min(), field.density.max(), field.density.mean()
    assert field.least_to_most == least / most
    assert field.least_to_mean == least / mean
    assert field.uniformity == pytest.approx(2 * least / (most + least))
    # the largest sheet resistance for 90 % of the current at the rim, 300 mm and 10 A/m² (derived)
    assert least / 10.0 == pytest.approx(0.9, abs=5e-4)


@pytest.mark.parametrize(
    ("contacts", "message"),
    [
        ({}, "a contact on one side at least"),
        ({"front": WHOLE}, "unknown side “front”"),
        ({"left": ((0.5, 1.2),)}, "must run from 0 to 1"),
    ],
)
def test_tile_without_sound_contacts_is_refused(contacts, message):
    with pytest.raises(ValueError, match=message):
        Tile(width=1.0, height=1.0, across=1.0, along=1.0, contacts=contacts)


def test_contact_narrower_than_a_cell_is_refused():
    tile = Tile(width=1.0, height=1.0, across=1.0, along=1.0, contacts={"left": ((0.11, 0.12),)})
    with pytest.raises(ValueError, match="narrower than one of 10 cells"):
        solve_tile(tile, UniformCurrent(1.0), (10, 10))


@pytest.mark.parametrize(
    ("volts", "amperes", "at", "message"),
    [
        ([1.0, 2.0], [5.0, 4.0], 1.5, "no falling current"),
        ([1.0, 2.0], [4.0, 5.0], 2.5, "lie outside the curve, 1 to 2 V"),
        ([1.0], [4.0], 1.0, "two of each at least"),
    ],
)
def test_curve_that_is_none_is_refused(volts, amperes, at, message):
    with pytest.raises(ValueError, match=message):
        DeviceCurve(volts, amperes, at)


@pytest.mark.parametrize(
    ("contacts", "evenness", "beta"),
    [
        ("one side", 0.95, 0.10707),
        ("one side", 0.8, 0.53742),
        ("two opposite", 0.9, 0.92021),
        ("two opposite", 0.8, 2.14969),
        ("four", 0.95, 0.7235),
        ("four", 0.9, 1.5477),
        ("four", 0.8, 3.5815),
    ],
)
def test_largest_sheet_resistance_for_an_evenness(contacts, evenness, beta):
    """β = Rs·J·L²/V at which the darkest place has that share of the current at the rim (derived)."""
    tile, device = Tile.square(1000.0, 1.0, contacts), ExponentialDevice(1.0, 1.0)
    found = largest_multiple(tile, device, evenness, lambda field: field.density.min(), (100, 100))
    assert found == pytest.approx(beta, rel=3e-4)


def test_uniform_current_sets_no_limit_by_evenness():
    with pytest.raises(ValueError, match="limit the voltage drop"):
        largest_multiple(
            Tile.square(100.0, 1.0, "four"), UniformCurrent(1.0), 0.9, lambda field: field.least_to_most
        )
