"""Variance components by restricted maximum likelihood: yield of dyestuff in six batches.

A batch stands for a make-ready and each sample for a print.
"""

import numpy as np
import pytest

from pwindow.surfaces.responses import ResponseData, ResponseKind
from pwindow.surfaces.surface import fit_surface
from pwindow.surfaces.terms import Design


@pytest.fixture(scope="module")
def published(read_json):
    return read_json("dyestuff.json")["published"]


@pytest.fixture(scope="module")
def surface(read_table):
    table = read_table("dyestuff.csv")
    cells = table.rename(columns={"batch": "make_ready"}).assign(
        print=[f"sample {at:02d}" for at in range(len(table))], value=table["yield"].astype(float), count=1
    )
    data = ResponseData(ResponseKind("yield", "yield", "", "", False, ()), cells)
    return fit_surface(data, Design((), ((),)))


def test_published_components(published, printed, surface):
    """Found to 7e-7 of the published variances, so the printed digits of both are reached."""
    assert surface.solution.params[0] == printed(published["reml"]["mean"])
    assert surface.components.make_ready == printed(published["reml"]["batch"])
    assert surface.components.print_ == printed(published["reml"]["residual"])


def test_components_are_those_of_the_analysis_of_variance(published, surface):
    """Balanced data with a positive between-batch component: (MS_batch - MS_residual)/5."""
    between, within = (float(published["analysis_of_variance"][k]) for k in ("ms_batch", "ms_residual"))
    assert surface.components.make_ready == pytest.approx((between - within) / 5, rel=1e-5)
    assert surface.components.print_ == pytest.approx(within, rel=1e-5)


def test_degrees_of_freedom_are_satterthwaite(published, surface):
    """Of MS_batch/5 + 4/5 MS_residual, which stand on 5 and 24 degrees of freedom."""
    between, within = (float(published["analysis_of_variance"][k]) for k in ("ms_batch", "ms_residual"))
    parts = np.array([between / 5, within * 4 / 5])
    expected = parts.sum() ** 2 / (parts**2 / [5, 24]).sum()
    assert surface.df == pytest.approx(expected, rel=1e-5)


def test_standard_error_of_the_mean(published, surface):
    """√(MS_batch/30)."""
    error = np.sqrt(surface.scale * surface.solution.unscaled_cov[0, 0])
    expected = np.sqrt(float(published["analysis_of_variance"]["ms_batch"]) / 30)
    assert error == pytest.approx(expected, rel=1e-5)
