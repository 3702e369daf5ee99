"""What varies between make-readies and prints, and the whitening that follows."""

import numpy as np
import pytest
import statsmodels.api as sm

from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.single.surface import fit_surface
from pwindow.surfaces.single.variance import Components, Groups, whitening
from tests.helpers.cells import line_height, make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, second_order(FACTORS))


@pytest.fixture
def shared():
    """Two cells a print, three prints a make-ready, cells in shuffled order, unequal counts."""
    rng = np.random.default_rng(11)
    set_ups = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2
    prints = make_cells(set_ups)
    cells = prints.loc[prints.index.repeat(2)].reset_index(drop=True)
    cells["make_ready"] = [f"M{at // 6}" for at in range(len(cells))]
    cells["count"] = rng.integers(1, 6, len(cells))
    at = np.arange(len(cells))
    cells["value"] += rng.normal(0, 0.1, 6)[at // 6] + rng.normal(0, 0.1, 18)[at // 2]
    cells["value"] += rng.normal(0, 0.05, len(cells))
    return cells.sample(frac=1.0, random_state=4).reset_index(drop=True)


def covariance(cells, components: Components) -> np.ndarray:
    """V of the cells, written out pair by pair."""
    count = len(cells)
    v = np.zeros((count, count))
    for i in range(count):
        for j in range(count):
            v[i, j] += components.make_ready * (cells["make_ready"][i] == cells["make_ready"][j])
            v[i, j] += components.print_ * (cells["print"][i] == cells["print"][j])
            v[i, j] += components.feature / cells["count"][i] * (i == j)
    return v


def test_whitening_is_the_inverse_factor_of_the_covariance(shared):
    components = Components(make_ready=0.4, print_=0.3, feature=0.6, typical_count=2.0, split=True)
    groups = Groups.of(shared)
    ordered = shared.iloc[groups.order].reset_index(drop=True)
    white = whitening(groups, components)
    inverse = white.apply(np.eye(len(ordered)))
    v = covariance(ordered, components) / components.measured
    np.testing.assert_allclose(inverse @ v @ inverse.T, np.eye(len(v)), atol=1e-12)
    assert white.log_det == pytest.approx(np.linalg.slogdet(v)[1], rel=1e-12)


def test_slopes_are_those_of_the_restricted_likelihood(shared):
    """Central differences of the criterion, written out with dense matrices."""
    groups = Groups.of(shared)
    ordered = shared.iloc[groups.order].reset_index(drop=True)
    x, y = DESIGN.matrix(ordered), ordered["value"].to_numpy() - ordered["value"].mean()

    def components(sizes) -> Components:
        make_ready, print_, feature = sizes
        return Components(
            make_ready=make_ready, print_=print_, feature=feature, typical_count=2.0, split=True
        )

    def criterion(sizes) -> float:
        v = covariance(ordered, components(sizes))
        information = x.T @ np.linalg.solve(v, x)
        rest = y - x @ np.linalg.solve(information, x.T @ np.linalg.solve(v, y))
        logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
        return float(logs + rest @ np.linalg.solve(v, rest))

    sizes = np.array([0.02, 0.015, 0.01])
    white, unit = whitening(groups, components(sizes)), components(sizes).measured
    basis = np.linalg.qr(white.apply(x))[0]
    rest = white.apply(y) - basis @ (basis.T @ white.apply(y))
    steps = 1e-6 * np.eye(3)
    differences = [(criterion(sizes + step) - criterion(sizes - step)) / 2e-6 for step in steps]
    np.testing.assert_allclose(white.slopes(basis, rest / np.sqrt(unit)) / unit, differences, rtol=1e-5)


def test_surface_is_generalised_least_squares_with_its_own_covariance(shared):
    surface = fit_surface(line_height(shared, feature_variance=0.004), DESIGN)
    v = covariance(surface.cells, surface.components) / surface.components.measured
    theirs = sm.GLS(surface.cells["value"], DESIGN.matrix(surface.cells), sigma=v).fit()
    np.testing.assert_allclose(surface.solution.params, theirs.params, rtol=1e-8, atol=1e-10)
    assert surface.scale == pytest.approx(theirs.scale, rel=1e-8)
    np.testing.assert_allclose(surface.scale * surface.solution.unscaled_cov, theirs.cov_params(), rtol=1e-7)


@pytest.mark.slow
def test_components_maximise_the_restricted_likelihood(shared):
    """The criterion is written out with dense matrices (Patterson & Thompson 1971)."""
    surface = fit_surface(line_height(shared, feature_variance=0.004), DESIGN)
    x, y = DESIGN.matrix(surface.cells), surface.cells["value"].to_numpy()

    def criterion(make_ready, print_):
        v = covariance(
            surface.cells,
            Components(make_ready=make_ready, print_=print_, feature=0.004, typical_count=1.0, split=True),
        )
        inverse = np.linalg.inv(v)
        information = x.T @ inverse @ x
        rest = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
        return np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + rest @ inverse @ rest

    found = surface.components
    scale = found.feature / 0.004
    best = criterion(found.make_ready / scale, found.print_ / scale)
    for factor in (0.9, 1.1):
        assert criterion(found.make_ready / scale * factor, found.print_ / scale) > best
        assert criterion(found.make_ready / scale, found.print_ / scale * factor) > best


def test_nothing_shared_is_ordinary_least_squares():
    cells = make_cells([(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2)
    surface = fit_surface(line_height(cells), DESIGN)
    theirs = sm.OLS(cells["value"], DESIGN.matrix(cells)).fit()
    np.testing.assert_allclose(surface.solution.params, theirs.params, rtol=1e-11)
    assert surface.scale == pytest.approx(theirs.scale, rel=1e-12)
    assert surface.df == theirs.df_resid
    assert surface.components.make_ready == 0.0 and not surface.components.split


def test_make_ready_of_one_print_each_is_no_make_ready_at_all():
    set_ups = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2
    plain = make_cells(set_ups)
    named = plain.assign(make_ready=[f"M{at}" for at in range(len(plain))])
    one, other = (fit_surface(line_height(cells), DESIGN) for cells in (plain, named))
    np.testing.assert_array_equal(one.solution.params, other.solution.params)
    assert one.scale == other.scale


def test_order_of_rows_does_not_matter(shared):
    surfaces = [
        fit_surface(line_height(cells, feature_variance=0.004), DESIGN)
        for cells in (shared, shared.iloc[::-1].reset_index(drop=True))
    ]
    np.testing.assert_allclose(surfaces[0].solution.params, surfaces[1].solution.params, rtol=1e-5, atol=1e-7)
    assert surfaces[0].scale == pytest.approx(surfaces[1].scale, rel=1e-5)


@pytest.mark.parametrize("true", [(0.04, 0.01), (0.01, 0.04), (0.0, 0.02)])
def test_known_components_are_recovered(true):
    """200 make-readies of three prints: within four standard errors of the simulated variances."""
    rng = np.random.default_rng(2)
    cells = make_cells([(s, 4.0, p) for s in (30, 60, 120) for p in (20, 80)] * 100)
    cells["make_ready"] = [f"M{at:03d}" for at in np.arange(len(cells)) // 3]
    cells["value"] = np.repeat(rng.normal(0, true[0] ** 0.5, 200), 3) + rng.normal(
        0, true[1] ** 0.5, len(cells)
    )
    linear = Design(FACTORS, ((), ("speed",), ("pressure",)))
    found = fit_surface(line_height(cells), linear).components
    within = true[1] * (2 / 400) ** 0.5
    between = (true[0] + true[1] / 3) * (2 / 200) ** 0.5
    assert found.print_ == pytest.approx(true[1], abs=4 * within)
    assert found.make_ready == pytest.approx(true[0], abs=4 * between)
