"""Bridged gaps as censored closures."""

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from pwindow.surfaces.model.censoring import Censored, expected_closures

PLATE_GAP = 50.0


def cells_of(rows) -> pd.DataFrame:
    """Cells of (measured, their mean, bridged, open and not measured)."""
    columns = ["measured", "measured_mean", "bridged", "unmeasured"]
    return pd.DataFrame(rows, columns=columns).astype(float).assign(plate_gap=PLATE_GAP)


def most_likely(cells, design, inside) -> np.ndarray:
    """Coefficients and log spread of largest likelihood, by direct search."""

    def misfit(theta):
        mean, spread = design @ theta[:-1], np.exp(theta[-1])
        m, beyond = cells["measured"].to_numpy(), (mean - PLATE_GAP) / spread
        squares = (m * (cells["measured_mean"].fillna(0) - mean) ** 2).sum() + inside
        found = m.sum() * theta[-1] + squares / (2 * spread**2)
        return (
            found
            - cells["bridged"] @ stats.norm.logcdf(beyond)
            - cells["unmeasured"] @ stats.norm.logsf(beyond)
        )

    start = np.r_[45.0, np.zeros(design.shape[1] - 1), np.log(2.0)]
    return optimize.minimize(misfit, start, method="BFGS", options={"gtol": 1e-9}).x


@pytest.mark.parametrize(
    "rows, inside",
    [
        ([(3, 46.0, 1, 0), (3, 44.0, 0, 0), (2, 48.0, 2, 0), (3, 40.0, 0, 0)], 20.0),
        ([(3, 46.0, 5, 0), (3, 44.0, 0, 0), (0, np.nan, 4, 0), (3, 40.0, 0, 0)], 20.0),
        ([(1, 46.0, 1, 9), (1, 44.0, 0, 12), (1, 48.0, 2, 4), (1, 40.0, 0, 6)], 0.0),
    ],
)
def test_is_the_maximum_of_the_censored_likelihood(rows, inside):
    cells, design = cells_of(rows), np.column_stack([np.ones(4), [0.2, -0.3, 0.9, -1.0]])
    fitted, found = expected_closures(Censored.of(cells), design, inside), most_likely(cells, design, inside)
    np.testing.assert_allclose(fitted.coefficients, found[:2], atol=2e-4)
    assert fitted.spread == pytest.approx(np.exp(found[2]), abs=2e-4)
    assert fitted.means[2] > 48.0 and fitted.settled


def test_a_sharp_division_into_open_and_bridged_gaps_is_said_not_to_settle():
    cells = cells_of([(0, np.nan, 0, 6), (0, np.nan, 0, 6), (0, np.nan, 6, 0), (0, np.nan, 6, 0)])
    fitted = expected_closures(
        Censored.of(cells), np.column_stack([np.ones(4), [-1, -0.4, 0.4, 1]]), 0.0, 2.5
    )
    assert not fitted.settled


def test_nothing_censored_is_the_plain_mean():
    cells = cells_of([(4, 46.5, 0, 0), (3, 41.0, 0, 0), (3, 42.0, 0, 0)])
    fitted = expected_closures(Censored.of(cells), np.ones((3, 1)), 5.0)
    np.testing.assert_allclose(fitted.means, [46.5, 41.0, 42.0])


def test_censoring_removes_the_bias_of_dropping_bridged_gaps():
    """True mean 49 µm, spread 2 µm: of 20,000 gaps 31 % are bridged."""
    closures = np.random.default_rng(3).normal(49.0, 2.0, 20_000)
    open_ = closures[closures < PLATE_GAP]
    cells = cells_of([(len(open_), open_.mean(), len(closures) - len(open_), 0)])
    fitted = expected_closures(Censored.of(cells), np.ones((1, 1)), open_.var() * len(open_))
    assert open_.mean() < 48.1
    assert fitted.coefficients[0] == pytest.approx(49.0, abs=4 * 2.0 / np.sqrt(20_000) * 1.1)
    assert fitted.spread == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("depth", [-30.0, -3.0, 0.0, 2.0])
def test_draws_lie_beyond_their_edge_and_have_the_moments_of_a_truncated_normal(sign, depth):
    censored = Censored(
        cell=np.array([0]),
        edge=np.array([50.0]),
        sign=np.array([sign]),
        times=np.ones(1),
        measured=np.zeros(1),
        measured_mean=np.zeros(1),
    )
    mean = np.full((40_000, 1), 50.0 + sign * depth * 2.0)
    drawn = censored.draw(mean, np.full(40_000, 2.0), np.random.default_rng(1))[:, 0]
    assert (sign * (drawn - 50.0) >= 0).all() and np.isfinite(drawn).all()
    law = stats.truncnorm(-depth, np.inf)
    assert np.mean(sign * (drawn - mean[0, 0]) / 2.0) == pytest.approx(law.mean(), abs=4 * law.std() / 200)


def test_expanded_gaps_complete_as_counted_ones_do():
    censored = Censored.of(cells_of([(3, 46.0, 2, 4), (0, np.nan, 0, 5)]))
    each = censored.one_by_one()
    assert list(each.cell) == [0] * 6 + [1] * 5
    one, other = (
        censored.complete(np.array([[51.0, 44.0, 40.0]])),
        each.complete(np.array([[51.0] * 2 + [44.0] * 4 + [40.0] * 5])),
    )
    np.testing.assert_allclose(one[0], other[0])
    np.testing.assert_allclose(one[1], other[1])
