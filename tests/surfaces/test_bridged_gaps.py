"""Bridged gaps as censored closures."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pwindow.surfaces.bridged import cell_closures, censored_mean

PLATE_GAP, SPREAD = 50.0, 2.0


def most_likely_on_a_grid(closures, bridged, unmeasured, plate_gap, spread) -> float:
    """Mean closure of largest likelihood, one factor for each gap, to 0.001 µm."""
    means = np.arange(plate_gap - 40.0, plate_gap + 20.0, 0.001)
    log_likelihood = sum((stats.norm.logpdf(c, means, spread) for c in closures), np.zeros_like(means))
    log_likelihood += bridged * stats.norm.logsf(plate_gap, means, spread)
    log_likelihood += unmeasured * stats.norm.logcdf(plate_gap, means, spread)
    return float(means[np.argmax(log_likelihood)])


@pytest.mark.parametrize(
    "closures, bridged, unmeasured",
    [
        ([46.0, 47.5, 48.0], 1, 0),
        ([46.0, 47.5, 48.0], 5, 0),
        ([49.5], 12, 0),
        ([40.0, 41.0], 1, 0),
        ([46.0, 47.5, 48.0], 2, 7),
        ([45.0], 1, 40),
        ([30.0], 3, 0),
    ],
)
def test_is_the_maximum_of_the_censored_likelihood(closures, bridged, unmeasured):
    found = censored_mean(np.mean(closures), len(closures), bridged, PLATE_GAP, SPREAD, unmeasured=unmeasured)
    expected = most_likely_on_a_grid(closures, bridged, unmeasured, PLATE_GAP, SPREAD)
    assert found == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize("bridged, open_", [(1, 3), (2, 2), (9, 1)])
def test_counts_alone_give_the_probit_of_the_bridged_share(bridged, open_):
    found = censored_mean(np.nan, 0, bridged, PLATE_GAP, SPREAD, unmeasured=open_)
    share = bridged / (bridged + open_)
    assert found == pytest.approx(PLATE_GAP + SPREAD * stats.norm.ppf(share), abs=1e-4)


@pytest.mark.parametrize("bridged", [1, 3, 20])
def test_all_bridged_gives_the_mean_at_which_all_close_half_the_time(bridged):
    found = censored_mean(np.nan, 0, bridged, PLATE_GAP, SPREAD)
    assert stats.norm.sf(PLATE_GAP, found, SPREAD) ** bridged == pytest.approx(0.5, rel=1e-9)


def test_no_bridged_gap_is_the_plain_mean():
    assert censored_mean(46.5, 4, 0, PLATE_GAP, SPREAD) == 46.5


def test_more_bridged_gaps_mean_more_closure():
    means = [censored_mean(46.0, 3, bridged, PLATE_GAP, SPREAD) for bridged in range(8)]
    assert np.all(np.diff(means) > 0)


def test_censoring_removes_most_of_the_bias_of_dropping_bridged_gaps():
    """True mean 49 µm, spread 2 µm: of 20,000 gaps 31 % are bridged."""
    closures = np.random.default_rng(3).normal(49.0, SPREAD, 20_000)
    open_ = closures[closures < PLATE_GAP]
    found = censored_mean(open_.mean(), len(open_), len(closures) - len(open_), PLATE_GAP, SPREAD)
    assert open_.mean() < 48.1
    assert found == pytest.approx(49.0, abs=4 * SPREAD / np.sqrt(20_000) * 1.1)


def features(rows) -> pd.DataFrame:
    columns = ["print", "plate_gap", "gap", "gaps_inspected", "gaps_bridged"]
    return pd.DataFrame(rows, columns=columns).astype(dict.fromkeys(columns[1:], float))


def test_cells_count_measured_and_bridged_gaps():
    nan = np.nan
    cells, variance, df, notes = cell_closures(
        features(
            [
                ("A", 50, 12.0, 1, 0),
                ("A", 50, 10.0, 1, 0),
                ("A", 50, 8.0, 1, 0),
                ("B", 50, 2.0, 1, 0),
                ("B", 50, 4.0, 1, 0),
                ("B", 50, nan, 1, 1),
                ("C", 50, nan, 5, 5),
                ("D", 50, nan, nan, nan),
            ]
        ),
        ["print", "plate_gap"],
    )
    cells = cells.set_index("print")
    assert list(cells.index) == ["A", "B", "C"]
    assert list(cells["count"]) == [3, 3, 5]
    assert (variance, df) == (pytest.approx((8.0 + 2.0) / 3), 3)
    assert cells["value"]["A"] == 40.0
    assert 47.0 < cells["value"]["B"] < 50.0
    assert cells["value"]["C"] > 50.0
    assert any("6 bridged gaps" in note for note in notes)
    assert any("lower bound" in note for note in notes)
