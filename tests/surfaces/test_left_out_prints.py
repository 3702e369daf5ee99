"""PRESS by leaving prints and make-readies out, against refitting without them."""

import numpy as np
import pytest

from pwindow.surfaces.checks.diagnostics import diagnose, press_statistic
from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.single.surface import fit_surface
from tests.helpers.cells import line_height, make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, second_order(FACTORS))
SET_UPS = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2


def with_make_readies(cells, size: int, seed: int = 1):
    of = np.arange(len(cells)) // size
    effects = np.random.default_rng(seed).normal(0, 0.1, of.max() + 1)[of]
    return cells.assign(make_ready=[f"M{at:02d}" for at in of], value=cells["value"] + effects)


def covariance(surface) -> np.ndarray:
    """V of the surface's cells from its whitening."""
    factor = np.linalg.inv(surface.whitening.apply(np.eye(len(surface.cells))))
    return factor @ factor.T


def errors_by_refitting(surface, blocks) -> np.ndarray:
    """Errors of predicting each block from all other rows, given what it shares with them."""
    x, y, v = surface.design.matrix(surface.cells), surface.cells["value"].to_numpy(), covariance(surface)
    errors = []
    for out in blocks:
        kept = np.setdiff1d(np.arange(len(y)), out)
        weight = np.linalg.inv(v[np.ix_(kept, kept)])
        params = np.linalg.solve(x[kept].T @ weight @ x[kept], x[kept].T @ weight @ y[kept])
        shared = v[np.ix_(out, kept)] @ weight @ (y[kept] - x[kept] @ params)
        errors.append(y[out] - x[out] @ params - shared)
    return np.concatenate(errors)


def test_single_prints_by_refitting():
    surface = fit_surface(line_height(make_cells(SET_UPS)), DESIGN)
    errors = errors_by_refitting(surface, [[at] for at in range(len(surface.cells))])
    press, left_out = press_statistic(surface)
    assert left_out == "print"
    assert press == pytest.approx((errors**2).sum(), rel=1e-10)
    by_leverage = surface.solution.residuals / (1.0 - surface.solution.leverage)
    assert press == pytest.approx((by_leverage**2).sum(), rel=1e-10)


@pytest.mark.parametrize("size", [2, 3])
def test_whole_make_readies_by_refitting(size):
    surface = fit_surface(line_height(with_make_readies(make_cells(SET_UPS), size)), DESIGN)
    names = surface.cells["make_ready"]
    blocks = [np.flatnonzero(names == name) for name in names.unique()]
    assert surface.components.make_ready > 0
    press, left_out = press_statistic(surface)
    assert left_out == "make-ready"
    assert press == pytest.approx((errors_by_refitting(surface, blocks) ** 2).sum(), rel=1e-9)


def test_prints_where_a_make_ready_is_indispensable():
    """All prints at the highest pressure are in one make-ready, so it cannot be left out."""
    cells = make_cells(sorted(SET_UPS, key=lambda set_up: set_up[2]))
    surface = fit_surface(line_height(with_make_readies(cells, 6)), DESIGN)
    errors = errors_by_refitting(surface, [[at] for at in range(len(surface.cells))])
    press, left_out = press_statistic(surface)
    assert left_out == "print"
    assert press == pytest.approx((errors**2).sum(), rel=1e-9)


def test_unrepeatable_print_makes_press_infinite():
    """One print alone carries the highest pressure: nothing predicts it."""
    low = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50)] * 2
    cells = make_cells([*low, (60, 4.0, 80)])
    assert (
        press_statistic(
            fit_surface(
                line_height(cells), DESIGN.keeping(((), ("speed",), ("pressure",), ("pressure", "pressure")))
            )
        )[0]
        == np.inf
    )


def test_predicted_r2_is_one_minus_press_over_the_total():
    cells = make_cells(SET_UPS)
    checks = diagnose(fit_surface(line_height(cells), DESIGN))
    total = ((cells["value"] - cells["value"].mean()) ** 2).sum()
    assert checks.predicted_r2 == pytest.approx(1.0 - checks.press / total, rel=1e-12)
