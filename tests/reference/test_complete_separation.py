"""A clean boundary between open and bridged gaps, where maximum likelihood does not exist.

The penalised logit answers with another model, so that only its boundary can be compared; the posterior
of this project's model is held against an integral over a grid of its three parameters.
"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pwindow.surfaces.model.censoring import Censored
from pwindow.surfaces.model.responses import RESPONSE_KINDS, ResponseData
from pwindow.surfaces.model.terms import Design, Factor
from pwindow.surfaces.posterior.sampler import Plan, Source, draw_posterior
from pwindow.surfaces.posterior.statistics import PrintStatistics
from tests.helpers.reference import read_json, read_table

pytestmark = pytest.mark.slow

WIDTH, BETWEEN_GAPS = 2.0, 1.0
PRECISION = np.array([0.02, 0.1])
DESIGN = Design((Factor("speed", "linear", 1.0, 6.0),), ((), ("speed",)))
PLAN = Plan(chains=400, warm=400, kept=100, doublings=0, scales=(WIDTH,))


@pytest.fixture(scope="module")
def prints():
    return read_table("complete_separation.csv")


@pytest.fixture(scope="module")
def draws(prints):
    """Draws of level, slope, and variance between prints; a gap bridges where its closure reaches 0."""
    cells = pd.DataFrame(
        {
            "print": [f"P{at}" for at in prints["x"]],
            "speed": prints["x"],
            "value": 0.0,
            "measured": 0,
            "measured_mean": np.nan,
            "bridged": prints["y"],
            "unmeasured": 1 - prints["y"],
            "plate_gap": 0.0,
            "count": 1,
        }
    )
    statistics = PrintStatistics.of(
        ResponseData(kind=RESPONSE_KINDS["gap_closure"], cells=cells), DESIGN, pd.Index(cells["print"])
    )
    censored = Censored.of(statistics.cells).one_by_one()
    start = np.where(statistics.cells["bridged"] > 0, 1.0, -1.0)
    return draw_posterior(
        [
            Source(
                statistics=statistics,
                values=start,
                censored=censored,
                precision=PRECISION,
                feature_sd=BETWEEN_GAPS,
            )
        ],
        None,
        PLAN,
    )


@pytest.fixture(scope="module")
def grid(prints):
    """Posterior on a grid: level, slope, standard deviation between prints, and their weights."""
    level, slope, deviation = np.meshgrid(
        np.linspace(-40.0, 40.0, 241),
        np.linspace(-25.0, 25.0, 251),
        np.geomspace(1e-3, 400.0, 160),
        indexing="ij",
    )
    coded = DESIGN.factors[0].code(prints["x"])[:, 0]
    sign = 2.0 * prints["y"].to_numpy() - 1.0
    found = -0.5 * (PRECISION[0] * level**2 + PRECISION[1] * slope**2)
    # half-t of the deviation; one more deviation because the grid is even in its logarithm
    found += stats.t.logpdf(deviation / WIDTH, PLAN.freedom) + np.log(deviation)
    for x, side in zip(coded, sign):
        found += stats.norm.logcdf(side * (level + slope * x) / np.hypot(deviation, BETWEEN_GAPS))
    return level, slope, deviation, np.exp(found - found.max())


def test_slope_and_spread_are_those_of_the_integral(draws, grid):
    level, slope, deviation, weight = grid
    drawn = draws.coefficients[0]
    mean = np.average(slope, weights=weight)
    spread = np.sqrt(np.average((slope - mean) ** 2, weights=weight))
    assert drawn[:, 1].mean() == pytest.approx(mean, abs=0.05 * spread)
    assert drawn[:, 1].std() == pytest.approx(spread, rel=0.05)
    log_deviation = np.average(np.log(deviation), weights=weight)
    assert 0.5 * np.log(draws.print_[:, 0, 0]).mean() == pytest.approx(log_deviation, abs=0.06)
    assert drawn[:, 0].mean() == pytest.approx(np.average(level, weights=weight), abs=0.1 * spread)


@pytest.mark.parametrize("x", [1.0, 3.0, 4.5])
def test_share_of_bridged_gaps_is_that_of_the_integral(draws, grid, x):
    at = DESIGN.factors[0].code([x])[0, 0]
    level, slope, deviation, weight = grid
    expected = np.average(
        stats.norm.cdf((level + slope * at) / np.hypot(deviation, BETWEEN_GAPS)), weights=weight
    )
    drawn, spread = draws.coefficients[0] @ [1.0, at], np.sqrt(draws.print_[:, 0, 0] + BETWEEN_GAPS**2)
    assert stats.norm.cdf(drawn / spread).mean() == pytest.approx(expected, abs=0.01)


def test_boundary_is_that_of_the_penalised_logit(draws):
    """Both lie in the middle of the open and the bridged prints."""
    logit = read_json("complete_separation.json")["computed"]
    level, slope = draws.coefficients[0].mean(axis=0)
    middle = DESIGN.factors[0].decode(-level / slope)
    assert middle == pytest.approx(-logit["intercept"] / logit["slope"], abs=0.15)
