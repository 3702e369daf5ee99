"""Analysis of variance, lack of fit and residual checks of a surface."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from pwindow.surfaces.checks.diagnostics import diagnose, residual_checks
from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.single.surface import fit_surface
from tests.helpers.cells import line_height, make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, second_order(FACTORS))
SET_UPS = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 2


@pytest.fixture
def fitted():
    surface = fit_surface(line_height(make_cells(SET_UPS)), DESIGN)
    return surface, diagnose(surface)


def test_lack_of_fit_and_pure_error_add_up_to_the_residual(fitted):
    """Both by their definitions over set-ups, not one as the remainder of the other."""
    surface, checks = fitted
    cells = surface.cells.assign(fitted=surface.mean(surface.cells))
    by_set_up = cells.groupby(["speed", "pressure"])
    pure = by_set_up["value"].apply(lambda v: ((v - v.mean()) ** 2).sum()).sum()
    lack = by_set_up.apply(lambda g: len(g) * (g["value"].mean() - g["fitted"].mean()) ** 2).sum()
    assert checks.lack_of_fit.ss_pure == pytest.approx(pure, rel=1e-10)
    assert checks.lack_of_fit.ss == pytest.approx(lack, rel=1e-10)
    assert lack + pure == pytest.approx(checks.ss_residual, rel=1e-10)
    assert (checks.lack_of_fit.df, checks.lack_of_fit.df_pure) == (3, 9)
    assert checks.lack_of_fit.p == pytest.approx(stats.f.sf((lack / 3) / (pure / 9), 3, 9), rel=1e-9)


def test_analysis_of_variance_agrees_with_a_general_library(fitted):
    surface, checks = fitted
    theirs = sm.OLS(surface.white_values, surface.white_design).fit()
    assert checks.ss_model == pytest.approx(theirs.ess, rel=1e-10)
    assert checks.ss_residual == pytest.approx(theirs.ssr, rel=1e-10)
    assert checks.f == pytest.approx(theirs.fvalue, rel=1e-10)
    assert checks.p == pytest.approx(theirs.f_pvalue, rel=1e-8)
    assert checks.r2 == pytest.approx(theirs.rsquared, rel=1e-12)
    assert checks.adjusted_r2 == pytest.approx(theirs.rsquared_adj, rel=1e-12)


def test_no_lack_of_fit_without_repeats():
    assert diagnose(fit_surface(line_height(make_cells(SET_UPS[:9])), DESIGN)).lack_of_fit is None


def test_lack_of_fit_is_found_where_the_form_is_wrong():
    cells = make_cells(SET_UPS)
    cells["value"] += 0.4 * (DESIGN.coded(cells)["speed"] ** 2 * DESIGN.coded(cells)["pressure"])
    assert diagnose(fit_surface(line_height(cells), DESIGN)).lack_of_fit.p < 0.01


def test_studentised_residuals_are_those_of_a_refit_without_the_print(fitted):
    """(y - prediction) over its standard deviation when the print is left out."""
    surface, checks = fitted
    x, y = surface.white_design, surface.white_values
    for at in range(len(y)):
        kept = np.arange(len(y)) != at
        without = sm.OLS(y[kept], x[kept]).fit()
        spread = np.sqrt(without.scale * (1.0 + x[at] @ without.normalized_cov_params @ x[at]))
        expected = (y[at] - x[at] @ without.params) / spread
        row = checks.prints.loc[surface.cells["print"][at]]
        assert row["studentised"] == pytest.approx(expected, rel=1e-8)
        assert row["leverage"] == pytest.approx(x[at] @ np.linalg.inv(x.T @ x) @ x[at], rel=1e-9)
    theirs = sm.OLS(y, x).fit().get_influence().cooks_distance[0]
    np.testing.assert_allclose(checks.prints["cook"].loc[surface.cells["print"]], theirs, rtol=1e-8)


def test_a_misprint_stands_out():
    cells = make_cells(SET_UPS)
    cells.loc[4, "value"] += 1.0
    surface = fit_surface(line_height(cells), DESIGN)
    check = residual_checks(surface, diagnose(surface).prints).loc["largest residual (Bonferroni)"]
    assert check["p"] < 0.01
    assert cells["print"][4] in check["meaning"]


def test_good_prints_raise_no_warning(fitted):
    surface, checks = fitted
    assert (residual_checks(surface, checks.prints)["meaning"] == "no warning").all()
