"""A Gaussian process beside the second-order surface, on left-out make-readies."""

import numpy as np
import pandas as pd
import pytest
from scipy import linalg
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, DotProduct, WhiteKernel

from pwindow.surfaces.checks.curvature_check import CHANCE, check_form, stretch
from pwindow.surfaces.checks.departure_process import Contrasts, DepartureProcess
from pwindow.surfaces.checks.diagnostics import (
    EVEN_SPREAD,
    diagnose,
    press_statistic,
    residual_checks,
    ways_to_leave_out,
)
from pwindow.surfaces.model.responses import response_data
from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.single.surface import fit_surface
from pwindow.surfaces.single.term_selection import make_design
from tests.helpers.cells import line_height, make_cells
from tests.helpers.trials import read_frame

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, second_order(FACTORS))
SPEEDS = np.geomspace(30.0, 120.0, 7)
SET_UPS = [(s, 4.0, p) for s in SPEEDS for p in (20, 50, 80)] * 2
READIES = [f"M{at % 7}" for at in range(len(SET_UPS))]


def cubic(setups):
    """A cubic in log speed that is zero at 30, 60 and 120 m/min, positive below 60."""
    x = np.log2(np.asarray(setups["speed"]) / 60.0)
    return x**3 - x


def mounted(size, seed=3):
    """A surface of prints in make-readies, whose truth bends by `size`."""
    cells = make_cells(SET_UPS, seed, make_ready=READIES)
    shift = dict(zip(dict.fromkeys(READIES), np.random.default_rng(seed).normal(0, 0.05, 7)))
    cells["value"] += size * cubic(cells) + cells["make_ready"].map(shift)
    return fit_surface(line_height(cells), DESIGN)


@pytest.fixture
def simulated_height(make_demo, monkeypatch):
    """Line height of a simulated demo trial whose truth bends by `size`."""
    second_order_truth = make_demo.expected

    def fitted(seed, size=0.0):
        def bent(truth, setups):
            means = second_order_truth(truth, setups)
            return means.assign(log_height=means["log_height"] + size * cubic(setups))

        monkeypatch.setattr(make_demo, "expected", bent)
        rng = np.random.default_rng(seed)
        rows = make_demo.simulate_trial(make_demo.read_truth(), make_demo.layout_first(), rng)
        data = response_data(read_frame(rows))["line_height"]
        return fit_surface(data, make_design(data, []))

    return fitted


def left_out(covariance, values, blocks):
    """Errors of predicting blocks of normal values from the rest, and their log density."""
    errors, density = [], 0.0
    for out in blocks:
        kept = np.setdiff1d(np.arange(len(values)), out)
        reach = linalg.solve(covariance[np.ix_(kept, kept)], covariance[np.ix_(kept, out)], assume_a="pos")
        error = values[out] - reach.T @ values[kept]
        spread = covariance[np.ix_(out, out)] - covariance[np.ix_(out, kept)] @ reach
        errors.append(error)
        density -= 0.5 * (np.linalg.slogdet(spread)[1] + error @ np.linalg.solve(spread, error))
    return np.concatenate(errors), density


def test_left_out_errors_are_those_of_predicting_from_the_rest():
    """By conditioning the normal distribution of all rows on the rows that are kept."""
    surface = mounted(0.3)
    check = check_form(surface)
    components, unit = surface.components, surface.scale
    values = (surface.cells["value"] - surface.mean(surface.cells)).to_numpy() / np.sqrt(unit)
    blocks = ways_to_leave_out(surface)[0][1]
    assert check.left_out == "make-ready" and len(blocks) == 7
    ready, terms = surface.cells["make_ready"].to_numpy(), DESIGN.matrix(surface.cells)
    spread = components.make_ready / unit * (ready[:, None] == ready)
    spread[np.diag_indices(len(spread))] += (components.print_ + components.feature) / unit
    *sizes, beside = check._process.sizes
    speed, pressure = terms[:, [1]], terms[:, [2]]
    smooth = sizes[0] * np.exp(-0.5 * (speed - speed.T) ** 2 / 0.5**2)
    smooth += sizes[1] * np.exp(-0.5 * ((speed - speed.T) ** 2 + (pressure - pressure.T) ** 2) / 0.8**2)
    bent, density = left_out(smooth + beside * spread + 1e6 * terms @ terms.T, values, blocks)
    assert check.rms_process == pytest.approx(np.sqrt(np.mean(bent**2) * unit), rel=1e-4)

    errors, without = left_out(spread + 1e6 * terms @ terms.T, values, blocks)
    assert check.rms_surface == pytest.approx(np.sqrt(np.mean(errors**2) * unit), rel=1e-4)
    assert check.rms_surface == pytest.approx(np.sqrt(press_statistic(surface)[0] / len(values)), rel=1e-9)
    assert check.gain == pytest.approx(density - without, rel=1e-3) and check.gain > 2.0


def test_the_process_is_that_of_a_library():
    """scikit-learn's, with the terms as a linear kernel of a nearly flat prior."""
    cells = make_cells(SET_UPS, 3)
    cells["value"] += 0.3 * cubic(cells)
    surface = fit_surface(line_height(cells), DESIGN)
    unit = np.sqrt(surface.scale)

    def table(setups):
        coded = DESIGN.coded(setups)
        return np.column_stack([coded["speed"], coded["pressure"], DESIGN.matrix(setups)])

    def along(length, other):
        lengths = [length, other, *[np.inf] * len(DESIGN.terms)]
        return ConstantKernel(0.3, (1e-3, 1e3)) * RBF(lengths, "fixed")

    kernel = along(0.5, np.inf) + along(0.8, 0.8) + WhiteKernel(1.0, (0.05, 1.5))
    kernel += ConstantKernel(1e6, "fixed") * DotProduct(0.0, "fixed")
    library = GaussianProcessRegressor(kernel, alpha=1e-9)
    left = surface.cells["value"] - surface.mean(surface.cells)
    library.fit(table(surface.cells), left / unit)
    setups = pd.DataFrame({"speed": [33.0, 45.0, 85.0, 110.0], "pressure": [20.0, 50.0, 70.0, 80.0]})
    process = DepartureProcess.of(Contrasts.of(surface), surface)
    expected = library.predict(table(setups)) * unit
    np.testing.assert_allclose(process.departures(setups), expected, atol=0.02 * np.abs(expected).max())
    assert np.abs(expected).max() > 0.05


def test_what_is_missed_is_found_where_it_is():
    """The process adds what the truth has and the second-order surface cannot follow."""
    surface = mounted(0.5)
    check = check_form(surface)
    assert check.clearly_better
    log_speed = np.log2(SPEEDS / 60.0)
    followed = np.polyval(np.polyfit(log_speed, cubic({"speed": SPEEDS}), 2), log_speed)
    truth = 0.5 * (cubic({"speed": SPEEDS}) - followed)
    missed = check.missed(pd.DataFrame({"speed": SPEEDS, "pressure": 45.0}))
    assert np.abs(missed - truth).max() < 0.4 * np.abs(truth).max()
    levels, curve = check.along(FACTORS[0], surface.cells)
    np.testing.assert_allclose(levels, SPEEDS)
    assert np.corrcoef(curve, truth)[0, 1] > 0.95


def test_nothing_is_missed_where_the_process_is_not_clearly_better():
    check = check_form(mounted(0.0))
    assert not check.clearly_better and check.chance > CHANCE
    assert not check.missed(pd.DataFrame({"speed": [40.0, 90.0], "pressure": 50.0})).any()


@pytest.mark.slow
def test_chance_is_a_probability():
    """Of 120 second-order truths about a tenth shows what a tenth shows."""
    chances = [
        check_form(fit_surface(line_height(make_cells(SET_UPS, seed)), DESIGN)).chance for seed in range(120)
    ]
    assert 3 <= np.sum(np.array(chances) <= 0.1) <= 23


@pytest.mark.slow
def test_few_false_alarms_on_the_demo_scenario(simulated_height):
    assert sum(check_form(simulated_height(seed)).clearly_better for seed in range(30)) <= 2


@pytest.mark.slow
def test_a_miss_of_nine_percent_is_found_on_the_demo_scenario(simulated_height):
    """±0.24 (x³ - x) leaves 8 % low at 45 and 9 % high at 85 m/min, seen by six prints each."""
    found = [check_form(simulated_height(seed, 0.24)) for seed in range(12)]
    assert sum(check.clearly_better for check in found) >= 10
    tried = pd.DataFrame(
        {
            "speed": [45.0, 85.0],
            "cell_volume": 4.4,
            "pressure": 50.0,
            "plate": "film-imaged",
            "plate_width": 28.0,
        }
    )
    missed = np.mean([check.missed(tried) for check in found if check.clearly_better], axis=0)
    np.testing.assert_allclose(missed, [0.08, -0.09], atol=0.025)


def test_of_a_large_trial_a_part_is_enough():
    """Whole make-readies of 840 prints; what is missed is told about the surface of all of them."""
    readies = [f"M{at // 6}" for at in range(20 * len(SET_UPS))]
    cells = make_cells(SET_UPS * 20, 5, make_ready=np.random.default_rng(5).permutation(readies))
    cells["value"] += 0.2 * cubic(cells)
    surface = fit_surface(line_height(cells), DESIGN)
    check = check_form(surface)
    assert check.clearly_better and 180 <= len(check._process.weighted) <= 200
    ready = check._process.contrasts.surface.cells["make_ready"]
    assert (ready.value_counts() == 6).all()
    tried = pd.DataFrame({"speed": SPEEDS, "pressure": 50.0})
    rest = (surface.cells["value"] - surface.mean(surface.cells)).groupby(surface.cells["speed"]).mean()
    np.testing.assert_allclose(check.missed(tried), rest, atol=0.03)


def test_prints_that_a_surface_passes_through_are_not_judged():
    cells = make_cells(SET_UPS[:21])
    cells["value"] = 0.5 + 0.1 * DESIGN.coded(cells)["speed"]
    assert not check_form(fit_surface(line_height(cells), DESIGN)).clearly_better
    alone = [(s, 4.0, 20) for s in (30, 60, 120)] * 3 + [(30, 4.0, 50), (60, 4.0, 80), (120, 4.0, 80)]
    check = check_form(fit_surface(line_height(make_cells(alone)), DESIGN))
    assert not check.clearly_better and check.rms_surface == np.inf


def test_a_surface_that_follows_no_setting_is_not_judged():
    surface = fit_surface(line_height(make_cells(SET_UPS)), Design(FACTORS, ((),)))
    assert not check_form(surface).hinted
    assert EVEN_SPREAD not in residual_checks(surface, diagnose(surface).prints).index


@pytest.mark.parametrize(
    "curve, expected",
    [
        ([0.0, 0.1, -0.9, -0.2, 0.1], (1, 2, 3)),
        ([0.0, 0.5, 0.8, 0.9, 0.1], (0, 3, 4)),
        ([0.9, 0.6, 0.2, -0.9], (0, 0, 2)),
        ([0.1, -0.6, 0.9], (1, 2, 2)),
    ],
)
def test_stretch_reaches_to_the_levels_where_less_is_missed(curve, expected):
    assert stretch(np.array(curve)) == expected
