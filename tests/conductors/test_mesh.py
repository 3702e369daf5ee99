"""Sheet resistance and open area of meshes."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from pwindow.conductors.mesh import (
    in_parallel,
    log_sheet_resistance_constant,
    open_area,
    width_at_open_area,
    without_undercoat,
)

LAYOUTS = ["square mesh", "parallel lines"]


def thin_mesh(width_over_pitch: float, pitch: float = 500.0) -> float:
    """Sheet resistance of the formula over that of the film: p/w."""
    resistivity, height = 8e-8, 1.0
    log_lines = np.log(resistivity) - np.log(width_over_pitch * pitch) - np.log(height)
    return float(np.exp(log_lines + log_sheet_resistance_constant(pitch, 1.0))) / (resistivity / 1e-6)


def solved_mesh(width_over_pitch: float, half_width: int) -> float:
    """Sheet resistance of a square mesh of film of 1 Ω, by Laplace's equation on its unit cell.

    By symmetry a quarter cell will do: half a line along the current to the cell's edge, and half a
    line across it, at 1 V and 0 V. Square elements, `half_width` to half a line, nodes at centres.
    """
    half_cell = round(half_width / width_over_pitch)
    metal = np.zeros((half_cell, half_cell), dtype=bool)
    metal[:half_width, :] = metal[:, :half_width] = True
    number = np.full(metal.shape, -1)
    number[metal] = np.arange(metal.sum())
    pairs = [(number[:-1], number[1:]), (number[:, :-1], number[:, 1:])]
    links = np.hstack([np.array([a[(a >= 0) & (b >= 0)], b[(a >= 0) & (b >= 0)]]) for a, b in pairs])
    count = metal.sum()
    rows, columns = np.hstack([links, links[::-1]])
    conductance = sparse.coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(count, count)).tocsr()
    low, high = number[0], number[-1]
    low, high = low[low >= 0], high[high >= 0]
    to_ends = np.zeros(count)
    for end in (low, high):  # an electrode lies half an element beyond a centre
        to_ends[end] += 2.0
    system = sparse.diags(np.asarray(conductance.sum(axis=1)).ravel() + to_ends) - conductance
    injected = np.zeros(count)
    injected[high] = 2.0
    voltage = spsolve(system.tocsc(), injected)
    return 1.0 / (2.0 * voltage[low].sum())


def field_of(ratio: float) -> float:
    """Extrapolated in the element size h: the error at inner corners falls as h^(4/3)."""
    coarse, fine = (solved_mesh(ratio, elements) for elements in (12, 24))
    return fine + (fine - coarse) / (2 ** (4 / 3) - 1)


@pytest.mark.parametrize("ratio", [0.1, 0.2, 0.3])
def test_nodes_take_a_constant_off_the_formula(ratio):
    """p/w - 0.279 in units of the film, as found beforehand by finite differences."""
    assert thin_mesh(ratio) == pytest.approx(1 / ratio, rel=1e-12)
    assert thin_mesh(ratio) - field_of(ratio) == pytest.approx(0.279, rel=0, abs=5e-4)


def test_field_solution_of_a_half_covered_pitch():
    """w/p = 1/2 is 1.732 of the film, as found beforehand by another discretisation."""
    assert field_of(0.5) == pytest.approx(1.732, rel=0, abs=5e-4)


def test_formula_overstates_by_three_per_cent_at_a_tenth():
    assert thin_mesh(0.1) / field_of(0.1) - 1 == pytest.approx(0.03, rel=0, abs=5e-3)


def test_isotropic_mesh_is_twice_the_film_over_its_coverage():
    """R = 2 Rs/f with f = 2w/p for thin lines; coverage from the open area."""
    ratio = 1e-4
    coverage = 1 - open_area(ratio * 500.0, 500.0, "square mesh") / 100
    assert thin_mesh(ratio) == pytest.approx(2 / coverage, rel=1e-4)


def test_parallel_lines_are_the_film_over_their_coverage():
    coverage = 1 - open_area(50.0, 500.0, "parallel lines") / 100
    assert thin_mesh(0.1) == pytest.approx(1 / coverage, rel=1e-12)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_open_area_by_counting(layout):
    """Share of free points of a fine raster over one cell, 50 µm lines every 500 µm."""
    axis = (np.arange(2000) + 0.5) / 2000 * 500.0
    free = axis[:, None] >= 50.0
    if layout == "square mesh":
        free = free & (axis[None, :] >= 50.0)
    assert open_area(50.0, 500.0, layout) == pytest.approx(100 * free.mean(), rel=1e-12)


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("width", [5.0, 50.0, 250.0])
def test_width_at_open_area_undoes_it(layout, width):
    assert width_at_open_area(open_area(width, 400.0, layout), 400.0, layout) == pytest.approx(
        width, rel=1e-12
    )


@pytest.mark.parametrize(
    "film, ratio, undercoat, field, printed",
    [(0.1, 0.02, 10.0, 3.299, "3.333"), (0.1, 0.1, 1.0, 0.4716, "0.500")],
)
def test_undercoat_in_parallel_overstates_the_field_solution(film, ratio, undercoat, field, printed):
    """Figures computed beforehand by finite differences: the estimate is 1 to 6 % high."""
    estimate = in_parallel(film / ratio, undercoat)
    assert estimate == pytest.approx(float(printed), rel=0, abs=5e-4)
    assert 1.0 < estimate / field < 1.065


def test_lines_with_an_undercoat_reach_the_total():
    lines = without_undercoat(3.2, 11.0)
    assert in_parallel(lines, 11.0) == pytest.approx(3.2, rel=1e-14)


@pytest.mark.parametrize("undercoat", [5.0, 4.0])
def test_undercoat_that_conducts_enough_alone_limits_nothing(undercoat):
    with pytest.raises(ValueError, match="undercoat alone"):
        without_undercoat(5.0, undercoat)
