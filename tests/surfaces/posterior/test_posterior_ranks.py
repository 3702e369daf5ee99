"""Simulation-based calibration of the posterior draws (Talts et al. 2018, arXiv:1804.06788).

Parameters are drawn from the prior, a trial from them, and the posterior from the trial: the rank of
each true parameter among independent posterior draws is then uniform. 200 trials, 63 draws each
(the ends of 63 chains), ranks in 8 classes; a quantity is rejected at χ² p < 0.001.
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

TRIALS, DRAWS, CLASSES, LEVEL = 200, 63, 8, 0.001
READIES, PRINTS, FEATURES = 10, 4, 3
DESIGN = Design((Factor("speed", "linear", -1.0, 1.0),), ((), ("speed",)))
SCALES, NOISE, EDGE = (1.0, 0.6), (0.7, 0.9), 0.8
PLAN = Plan(chains=DRAWS, warm=120, kept=1, doublings=0, scales=SCALES)
SPEED = np.tile(np.linspace(-1.0, 1.0, PRINTS), READIES)
NAMES = [f"P{at:02d}" for at in range(READIES * PRINTS)]
MEMBER = np.repeat(np.arange(READIES), PRINTS)


def prior_covariance(rng):
    """Huang & Wand's prior, straight from its definition: Σ ~ IW(ν + q - 1, 2ν diag(1/a))."""
    a = stats.invgamma.rvs(0.5, scale=1.0 / np.array(SCALES) ** 2, random_state=rng)
    return stats.invwishart.rvs(PLAN.freedom + 1, 2 * PLAN.freedom * np.diag(1.0 / a), random_state=rng)


def simulate(rng):
    """True parameters, and values of shape (prints, responses, features)."""
    beta = rng.normal(size=(2, 2))
    make_ready, print_ = prior_covariance(rng), prior_covariance(rng)
    effects = rng.multivariate_normal([0, 0], make_ready, READIES)[MEMBER]
    effects = effects + rng.multivariate_normal([0, 0], print_, len(MEMBER))
    mean = np.column_stack([np.ones_like(SPEED), SPEED]) @ beta + effects
    values = mean[:, :, None] + np.array(NOISE)[:, None] * rng.normal(size=(*mean.shape, FEATURES))
    return (beta, make_ready, print_), values


def sources(values, drop_bridged=False):
    """The first response whole on all but some prints, the second censored from `EDGE` on."""
    cells = pd.DataFrame({"print": NAMES, "speed": SPEED})
    whole = cells.assign(value=values[:, 0].mean(axis=1), count=FEATURES).iloc[:-7]
    opened = values[:, 1] < EDGE
    measured = opened.sum(axis=1)
    mean = np.where(opened, values[:, 1], 0.0).sum(axis=1) / np.maximum(measured, 1)
    bridged = np.zeros_like(measured) if drop_bridged else FEATURES - measured
    censored = cells.assign(
        value=np.where(measured > 0, mean, EDGE),
        measured=measured,
        measured_mean=mean,
        bridged=bridged,
        unmeasured=0,
        plate_gap=EDGE,
        count=measured + bridged,
    )
    censored = censored[censored["count"] > 0]
    found = []
    for table, noise in zip((whole, censored), NOISE):
        data = ResponseData(kind=RESPONSE_KINDS["line_height"], cells=table.reset_index(drop=True))
        statistics = PrintStatistics.of(data, DESIGN, pd.Index(NAMES))
        gaps = Censored.of(statistics.cells).one_by_one() if "bridged" in table else None
        values = statistics.cells["value"].to_numpy(float)
        found.append(
            Source(
                statistics=statistics, values=values, censored=gaps, precision=np.ones(2), feature_sd=noise
            )
        )
    return found


def quantities(beta, make_ready, print_):
    """What is ranked; leading axes are draws."""
    total = make_ready + print_
    return {
        "slope of the whole response": beta[0][..., 1],
        "slope of the censored response": beta[1][..., 1],
        "level of the censored response": beta[1][..., 0],
        "make-ready variance": make_ready[..., 0, 0],
        "print variance": print_[..., 1, 1],
        "variance of a new print": total[..., 1, 1],
        "covariance of a new print": total[..., 0, 1],
    }


def ranks(trials, **options):
    found = {}
    for seed in range(trials):
        rng = np.random.default_rng(seed)
        (beta, make_ready, print_), values = simulate(rng)
        draws = draw_posterior(sources(values, **options), MEMBER, PLAN)
        true = quantities(list(beta.T), make_ready, print_)
        drawn = quantities(draws.coefficients, draws.make_ready, draws.print_)
        for name in true:
            found.setdefault(name, []).append(int((drawn[name] < true[name]).sum()))
    return found


def p_value(found):
    counts = np.bincount(np.array(found) * CLASSES // (DRAWS + 1), minlength=CLASSES)
    return stats.chisquare(counts).pvalue


@pytest.mark.slow
def test_ranks_of_the_truth_are_uniform():
    found = {name: p_value(values) for name, values in ranks(TRIALS).items()}
    print({name: round(p, 3) for name, p in found.items()})
    assert min(found.values()) > LEVEL


@pytest.mark.slow
def test_dropping_bridged_gaps_would_be_seen():
    found = ranks(TRIALS // 8, drop_bridged=True)
    assert p_value(found["level of the censored response"]) < LEVEL


@pytest.mark.parametrize("seed", [0, 1])
def test_the_prior_has_half_t_deviations_and_uniform_correlations(seed):
    """Huang & Wand 2013, section 2: ν = 2."""
    rng = np.random.default_rng(seed)
    drawn = np.array([prior_covariance(rng) for _ in range(2000)])
    deviation = np.sqrt(drawn[:, 0, 0]) / SCALES[0]
    correlation = drawn[:, 0, 1] / np.sqrt(drawn[:, 0, 0] * drawn[:, 1, 1])
    assert stats.kstest(deviation, lambda x: 2 * stats.t.cdf(x, 2) - 1).pvalue > LEVEL
    assert stats.kstest(correlation, stats.uniform(-1, 2).cdf).pvalue > LEVEL
