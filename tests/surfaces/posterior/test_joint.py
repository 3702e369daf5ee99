"""The joint predictive distribution: the closed form, and the draws where there is none."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design, Factor
from pwindow.surfaces.posterior.joint import join_responses
from pwindow.surfaces.posterior.sampler import Plan
from tests.helpers.cells import line_height, make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, ((), ("speed",), ("pressure",), ("speed", "pressure")))
SET_UPS = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)] * 3
NEW = pd.DataFrame({"speed": [40.0, 110.0], "pressure": [70.0, 20.0]})
LONG = Plan(chains=32, warm=200, kept=600)


@pytest.fixture
def pair(plain_kind):
    """Two correlated responses of the same prints."""

    def make(**columns):
        cells = make_cells(SET_UPS, **columns)
        noise = np.random.default_rng(0).multivariate_normal([0, 0], [[1, 0.6], [0.6, 1]], len(cells))
        return {
            name: ResponseData(kind=plain_kind, cells=cells.assign(value=noise[:, at]))
            for at, name in enumerate("ab")
        }

    return make


def joined(responses, plan=None):
    return join_responses(responses, dict.fromkeys(responses, DESIGN), plan)


def test_complete_prints_of_their_own_make_ready_have_a_closed_form(pair):
    joint = joined(pair())
    assert joint.draws is None
    assert joint.df == len(SET_UPS) - 4 - 2 + 1


def test_draws_agree_with_the_closed_form_where_both_exist(pair):
    """An absent value asks for draws; with one of 27 absent they must be near the closed form.

    The prior of the draws is wider than the closed form's, by about a degree of freedom.
    """
    whole, responses = pair(), pair()
    cells = responses["b"].cells
    responses["b"] = ResponseData(kind=responses["b"].kind, cells=cells.iloc[:-1].reset_index(drop=True))
    closed, drawn = joined(whole).predict(NEW), joined(responses, LONG).predict(NEW)
    for at in range(2):
        reach = np.sqrt(closed.scale[:, at, at])
        assert np.abs(drawn.mean[:, at] - closed.mean[:, at]).max() < 0.25 * reach.min()
        ends = [stats.t.ppf(0.95, f.df) * np.sqrt(f.scale[:, at, at]) for f in (closed, drawn)]
        np.testing.assert_allclose(ends[1], ends[0], rtol=0.12)


def test_the_matched_t_is_the_mixture_it_was_matched_to(pair):
    """Probability below a bound: draws of coefficients and variances averaged, against the t."""
    joint = joined(pair(make_ready=[f"M{at // 3}" for at in range(len(SET_UPS))]), LONG)
    found, draws = joint.predict(NEW), joint.draws
    rows = DESIGN.matrix(NEW)
    for at in range(2):
        mean = draws.coefficients[at] @ rows.T
        spread = np.sqrt(draws.make_ready[:, at, at] + draws.print_[:, at, at])
        for z in (-1.5, 0.0, 1.0, 2.0):
            bound = found.mean[:, at] + z * np.sqrt(found.scale[:, at, at])
            mixture = stats.norm.cdf((bound - mean) / spread[:, None]).mean(axis=0)
            np.testing.assert_allclose(mixture, stats.t.cdf(z, found.df), atol=0.012)


def test_correlation_is_that_of_the_residuals(pair):
    responses = pair()
    matrix = DESIGN.matrix(responses["a"].cells)
    one, other = (
        data.cells["value"] - matrix @ np.linalg.lstsq(matrix, data.cells["value"], rcond=None)[0]
        for data in responses.values()
    )
    expected = one @ other / np.sqrt((one @ one) * (other @ other))
    assert joined(responses).correlation[0, 1] == pytest.approx(expected, rel=1e-9)


def test_a_response_of_half_the_prints_learns_from_the_other(pair):
    """With a correlation of 0.6 the mean of the incomplete response leans on the complete one."""
    responses = pair()
    cells = responses["b"].cells.iloc[::2].reset_index(drop=True)
    responses["b"] = ResponseData(kind=responses["b"].kind, cells=cells)
    joint = joined(responses, LONG)
    alone = joined({"b": responses["b"]})
    complete = joined(pair()).predict(NEW).mean[:, 1]
    off = [np.abs(found.predict(NEW).mean[:, -1] - complete).mean() for found in (joint, alone)]
    assert joint.draws is not None and off[0] < off[1]


def test_scatter_of_features_is_not_in_the_true_mean():
    """With four features a print, a quarter of their variance leaves the predictive scale."""
    cells = make_cells(SET_UPS, count=4)
    plain, scattered = (
        joined({"h": line_height(cells, feature_variance=v, feature_df=81)}) for v in (0.0, 0.004)
    )
    assert plain.spread[0, 0] - scattered.spread[0, 0] == pytest.approx(0.001, rel=1e-9)


def test_scale_stays_positive_definite_when_responses_repeat_each_other(plain_kind):
    data = ResponseData(kind=plain_kind, cells=make_cells(SET_UPS))
    joint = joined({"a": data, "b": data})
    assert np.linalg.eigvalsh(joint.spread).min() > 0
    assert joint.correlation[0, 1] == pytest.approx(1.0, abs=1e-5)


def test_equal_trials_get_equal_answers(pair):
    responses = pair(make_ready=[f"M{at // 3}" for at in range(len(SET_UPS))])
    one, other = joined(responses).predict(NEW), joined(responses).predict(NEW)
    np.testing.assert_array_equal(one.mean, other.mean)
    np.testing.assert_array_equal(one.scale, other.scale)
