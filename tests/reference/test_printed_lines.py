"""Real printed lines: heights of direct-ink-written lines against three settings.

Another process than flexography, the same question. Data of leanfried/in-situ-monitoring-of-direct-
ink-writing (MIT), read from outside the project; figures computed beforehand by a general library.
"""

import numpy as np
import pandas as pd
import pytest

from pwindow.surfaces.checks.diagnostics import diagnose
from pwindow.surfaces.single.estimator import SecondOrderSurface
from pwindow.surfaces.single.least_squares import least_squares
from tests.helpers.reference import fit_values, printed

SETTINGS = ["vs", "vf", "h"]  # stage speed mm/s, flow speed mm/s, stand-off µm
SLOPES = ("-0.537", "0.691", "0.241")


@pytest.fixture(scope="module")
def lines(fetched):
    table = pd.read_csv(fetched / "direct_ink_lines.csv")
    measured = table.dropna(subset="thickness (mm)").reset_index(drop=True)
    assert (len(table), len(measured)) == (360, 305)
    return measured


@pytest.fixture(scope="module")
def log_height(lines):
    return np.log(lines["thickness (mm)"].to_numpy())


@pytest.fixture(scope="module")
def quadratic(lines, log_height):
    return SecondOrderSurface(scales=["log"] * 3).fit(lines[SETTINGS].to_numpy(float), log_height)


@pytest.fixture(scope="module")
def set_ups(lines, quadratic):
    return pd.DataFrame(lines[SETTINGS].to_numpy(float), columns=[f.name for f in quadratic.design_.factors])


def linear_design(quadratic):
    return quadratic.design_.keeping([term for term in quadratic.design_.terms if len(term) < 2])


def share_explained(errors, values) -> float:
    return 1.0 - (errors**2).sum() / ((values - values.mean()) ** 2).sum()


def test_power_law(log_height, quadratic, set_ups):
    design = linear_design(quadratic)
    solution = least_squares(design.matrix(set_ups), log_height)
    half_ranges = [np.log(factor.high / factor.low) / 2 for factor in design.factors]
    for found, text in zip(solution.params[1:] / half_ranges, SLOPES, strict=True):
        assert found == printed(text)
    assert share_explained(solution.residuals, log_height) == printed("0.833")


def test_second_order_surface(lines, log_height, quadratic, set_ups):
    assert quadratic.left_out_ == ()
    assert quadratic.score(lines[SETTINGS].to_numpy(float), log_height) == printed("0.859")
    solution = least_squares(quadratic.design_.matrix(set_ups), log_height)
    left_out = solution.residuals / (1.0 - solution.leverage)
    assert share_explained(left_out, log_height) == printed("0.847")


@pytest.fixture(scope="module")
def run_surface(lines, log_height, set_ups):
    """Fitter of a surface with each run, one stand-off and flow speed, as a make-ready."""
    runs = lines["h"].astype(str) + " " + lines["vf"].astype(str)
    return lambda design: fit_values(log_height, design, make_ready=runs, **set_ups)


def test_variance_between_runs(quadratic, run_surface):
    surface = run_surface(linear_design(quadratic))
    assert surface.components.make_ready == printed("0.0134")
    assert surface.components.print_ == printed("0.0207")


def test_runs_left_out_whole_predict_less_well_than_lines(quadratic, run_surface):
    """Lines of one run are alike, so leaving out single lines flatters the surface."""
    checks = diagnose(run_surface(quadratic.design_))
    assert checks.left_out == "make-ready"
    assert checks.predicted_r2 < 0.847 - 0.05
