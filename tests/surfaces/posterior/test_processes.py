"""Draws of processes: one normal sample against its exact bounds, and several responses against the closed form."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtr

from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design, Factor
from pwindow.surfaces.posterior.joint import join_responses
from pwindow.surfaces.posterior.processes import Processes
from tests.helpers.cells import make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
MEAN_ALONE = Design(FACTORS, ((),))
PLANE = Design(FACTORS, ((), ("speed",), ("pressure",)))


@pytest.fixture
def joint_of(plain_kind):
    """The joint predictive of responses whose prints have these values."""

    def make(design, **values):
        count = len(next(iter(values.values())))
        tried = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)]
        cells = make_cells([tried[at % len(tried)] for at in range(count)])
        responses = {
            name: ResponseData(kind=plain_kind, cells=cells.assign(value=own)) for name, own in values.items()
        }
        return join_responses(responses, dict.fromkeys(responses, design))

    return make


@pytest.mark.parametrize(
    "count, k, low, high, share",
    [
        (6, 2.1765, 0.798, 0.9997, 0.696),
        (8, 2.0095, 0.823, 0.9987, 0.670),
        (12, 1.8692, 0.851, 0.9959, 0.639),
        (20, 1.7718, 0.877, 0.9907, 0.608),
        (60, 1.6850, 0.911, 0.9779, 0.562),
    ],
)
def test_shares_below_a_limit_have_the_bounds_of_the_noncentral_t(joint_of, count, k, low, high, share):
    """A mean share of 0.95 lies `k` deviations below the limit: 5 % and 95 % quantiles, and Pr(share ≥ 0.95).

    Exact by the noncentral t (Hahn & Meeker 1991, Statistical Intervals, section 4.6), worked out beside the table.
    """
    sample = stats.norm.ppf((np.arange(count) + 0.5) / count)
    drawn = Processes.of(joint_of(MEAN_ALONE, a=sample), 1_000_000)
    limit = sample.mean() + k * sample.std(ddof=1)
    conforming = ndtr((limit - drawn.coefficients[0][:, 0]) / np.sqrt(drawn.spread[:, 0, 0]))
    assert conforming.mean() == pytest.approx(0.95, abs=5e-4)
    assert np.quantile(conforming, [0.05, 0.95]) == pytest.approx([low, high], abs=1e-3)
    assert (conforming >= 0.95).mean() == pytest.approx(share, abs=2e-3)
    exact = stats.nct.ppf(0.95, count - 1, np.sqrt(count) * stats.norm.ppf(low)) / np.sqrt(count)
    assert exact == pytest.approx(k, abs=0.01), "the table is that of the noncentral t"


def test_processes_mix_to_the_closed_form(joint_of):
    """Averaged over processes a print of two responses falls where the multivariate t has it."""
    rng = np.random.default_rng(5)
    a, b = rng.multivariate_normal([0, 0], [[1, 0.6], [0.6, 1]], 27).T
    joint = joint_of(PLANE, a=a, b=b)
    drawn = Processes.of(joint, 200_000)
    setup = make_cells([(40, 4.0, 70)])
    means, found = drawn.means(setup)[0], joint.predict(setup)
    for at in range(2):
        scale = np.sqrt(found.scale[0, at, at])
        for z in (-2.0, -0.7, 1.3):
            bound = found.mean[0, at] + z * scale
            mixed = ndtr((bound - means[:, at]) / np.sqrt(drawn.spread[:, at, at])).mean()
            assert mixed == pytest.approx(stats.t.cdf(z, joint.df), abs=2e-3)
    correlated = (drawn.spread[:, 0, 1] / np.sqrt(drawn.spread[:, 0, 0] * drawn.spread[:, 1, 1])).mean()
    assert correlated == pytest.approx(joint.correlation[0, 1], abs=0.05)


def test_the_same_fit_gives_the_same_processes(joint_of):
    joint = joint_of(PLANE, a=np.sin(np.arange(18.0)))
    one, other = Processes.of(joint, 50), Processes.of(joint, 50)
    assert np.array_equal(one.coefficients[0], other.coefficients[0]) and len(one.spread) == 50
