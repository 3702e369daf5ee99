"""Shares of conforming prints under all processes, against one-sided tolerance factors.

The factors are those that ISO 16269-6 tabulates (its printed digits from memory), each beside its exact value by the
noncentral t.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm

from pwindow.surfaces.model.responses import ResponseData, ResponseKind
from pwindow.surfaces.model.terms import Design, Factor
from pwindow.surfaces.posterior.joint import join_responses
from pwindow.surfaces.posterior.processes import Processes
from tests.helpers.cells import make_cells

MEAN_ALONE = Design((Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0)), ((),))
DRAWS = 400_000


@pytest.fixture(scope="module")
def factors():
    with Path(__file__).with_name("tolerance_factors.csv").open() as lines:
        return [row for row in csv.DictReader(lines) if row["sides"] == "1"]


@pytest.fixture
def plain_kind():
    return ResponseKind(name="response", label="response", unit="", key="response", log=False, covariates=())


def test_a_limit_at_the_factor_holds_its_share_with_its_confidence(factors, plain_kind):
    """With the limit k deviations from the mean of n prints, a share of at least the coverage conforms under a part of
    the processes that is the confidence: what `confidence` in a product asks for, one normal sample and one limit."""
    assert len(factors) > 15
    for row in factors:
        count, coverage, confidence = int(row["n"]), float(row["coverage"]), float(row["confidence"])
        sample = norm.ppf((np.arange(count) + 0.5) / count)
        tried = [(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50, 80)]
        cells = make_cells([tried[at % len(tried)] for at in range(count)]).assign(value=sample)
        joint = join_responses({"a": ResponseData(kind=plain_kind, cells=cells)}, {"a": MEAN_ALONE})
        drawn = Processes.of(joint, DRAWS)
        limit = sample.mean() + float(row["k_published_recalled"]) * sample.std(ddof=1)
        shares = ndtr((limit - drawn.coefficients[0][:, 0]) / np.sqrt(drawn.spread[:, 0, 0]))
        error = np.sqrt(confidence * (1.0 - confidence) / DRAWS)
        assert (shares >= coverage).mean() == pytest.approx(confidence, abs=4.0 * error + 3e-4), row
