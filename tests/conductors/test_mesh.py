"""Sheet resistance and open area of meshes."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from pwindow.conductors.mesh import (
    JUNCTION,
    GridDuty,
    conductivity_ratio,
    haacke_figure,
    in_parallel,
    log_sheet_resistance_constant,
    open_area,
    squares_of_mesh,
    undercoat_drop,
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


@pytest.mark.parametrize(("ratio", "squares"), [(0.1, 9.72064), (0.3, 3.05397)])
def test_junctions_shorten_the_lines_of_a_square_mesh(ratio, squares):
    assert squares_of_mesh(ratio, 1.0, "square mesh") == pytest.approx(squares, abs=5e-6)
    assert squares_of_mesh(ratio, 1.0, "square mesh") == pytest.approx(field_of(ratio), abs=5e-4)


def test_junctions_of_other_layouts():
    """Hexagons: 0.3557591 squares by a conformal map, which finite elements agree with; lines have none."""
    assert JUNCTION["hexagonal mesh"] == pytest.approx(0.3557591, abs=5e-8)
    assert squares_of_mesh(50.0, 500.0, "parallel lines") == 10.0


def test_thin_limit_is_on_the_safe_side_of_the_closed_form():
    for ratio in (0.02, 0.1, 0.3):
        assert thin_mesh(ratio) > squares_of_mesh(ratio, 1.0, "square mesh")


def test_drop_in_an_undercoat_between_lines():
    """J·Rb·b²/8 between lines; times the membrane constant of the square in an opening."""
    assert undercoat_drop(2000.0, 100.0, 100.0, layout="parallel lines") == pytest.approx(5.0)
    assert undercoat_drop(2000.0, 100.0, 100.0, layout="square mesh") == pytest.approx(
        40 * 0.0736713, rel=1e-5
    )


def test_best_pitch_without_loss_along_lines():
    """S³ = 6wV/(J·Rb): 50 µm, 0.5 V, 100 A/m² and 100 Ω; shading is twice the loss in the undercoat."""
    best = GridDuty(width=50.0, undercoat=100.0, current_density=100.0, voltage=0.5).best()
    assert best.pitch == pytest.approx(2.46621, abs=5e-6)
    assert (best.undercoat, best.shading) == pytest.approx((0.0101370, 0.0202740), rel=1e-4)


def test_best_pitch_with_loss_along_lines():
    duty = GridDuty(width=50.0, undercoat=100.0, current_density=100.0, voltage=0.5, length=50.0, line=0.05)
    best = duty.best()
    assert best.pitch == pytest.approx(0.54476, abs=5e-6)
    assert best.total == pytest.approx(0.18307, abs=5e-6)
    assert min(duty.loss(0.99 * best.pitch).total, duty.loss(1.01 * best.pitch).total) > best.total


def test_published_rule_of_a_spacing_under_four_millimetres():
    """40 Ω, 300 A/m² and 0.45 V lose 3.56 % in the undercoat at 4 mm, and 4 % at 4.243 mm."""
    duty = GridDuty(width=50.0, undercoat=40.0, current_density=300.0, voltage=0.45)
    assert duty.loss(4.0).undercoat == pytest.approx(0.03556, abs=5e-6)
    assert duty.loss(4.243).undercoat == pytest.approx(0.04, abs=5e-5)


@pytest.mark.parametrize(
    ("transmittance", "sheet", "haacke", "ratio"), [(0.9, 10.0, 0.0349, 348.0), (0.85, 1.0, 0.1969, 2225.0)]
)
def test_figures_of_merit(transmittance, sheet, haacke, ratio):
    assert haacke_figure(transmittance, sheet) == pytest.approx(haacke, abs=5e-5)
    assert conductivity_ratio(transmittance, sheet) == pytest.approx(ratio, abs=0.5)
