"""Gaps that were counted as open or bridged, and not measured."""

from functools import cache

import numpy as np
import pytest
from scipy import stats

import pwindow as pw
from pwindow.errors import WindowProblem
from tests.helpers.products import make_product
from tests.helpers.trials import read_frame

NARROWER, SCATTER, GAP = 10.0, 4.0, 45.0
PRESSURES = np.array([20.0, 35.0, 50.0, 65.0, 80.0])


@pytest.fixture(scope="module")
def counted(simulated):
    """Trial of counts alone: gaps as if `NARROWER` µm narrower, with a scatter of their own."""

    @cache
    def make(inspected, narrower=NARROWER):
        rows = simulated[simulated["plate_gap [um]"].notna()]
        groups = rows.groupby(["print", "plate_gap [um]"], sort=False)
        table = groups.first().reset_index()
        mean = groups["gap [um]"].mean().fillna(0.0).to_numpy()
        drawn = np.random.default_rng(3).normal(mean[:, None] - narrower, SCATTER, (len(table), inspected))
        bridged = (drawn <= 0).sum(axis=1)
        return pw.fit(
            read_frame(
                table.assign(**{"gap [um]": np.nan, "gaps_inspected": inspected, "gaps_bridged": bridged})
            )
        )

    return make


def open_gap(make_product, count=1, least=0.0, most=None):
    return make_product(pattern={"plate_gap": GAP}, gap=(least, most, {"count": count}))


def stated(surfaces, product):
    window = pw.find_window(surfaces, product)
    return window.joint_conformance(window.setups("laser-imaged", 60.0, 4.4, PRESSURES))


@pytest.mark.slow
@pytest.mark.parametrize("inspected, off", [(3, 0.15), (24, 0.13)])
def test_share_of_open_gaps_is_near_the_truth(counted, make_demo, inspected, off):
    found = stated(counted(inspected), open_gap(make_product))
    truth = make_demo.read_truth()
    setups = make_demo.pd.DataFrame(
        {"speed": 60.0, "cell_volume": 4.4, "pressure": PRESSURES, "plate": "laser-imaged", "plate_gap": GAP}
    )
    mean = make_demo.expected(truth, setups)["closure"].to_numpy() + NARROWER
    sd = np.array([truth["sd"][level]["closure"] for level in ("make_ready", "print", "feature")])
    spread = np.sqrt(sd[0] ** 2 + sd[1] ** 2 + sd[2] ** 2 / 3 + SCATTER**2)
    expected = stats.norm.cdf((GAP - mean) / spread)
    print(f"{inspected} inspected: stated {found.round(3)}, true {expected.round(3)}")
    assert expected[0] - expected[-1] > 0.3
    assert np.abs(found - expected).max() < off


@pytest.mark.slow
def test_many_gaps_are_less_safe_than_one(counted):
    surfaces = counted(24)
    one, many = (stated(surfaces, open_gap(make_product, count)) for count in (1, 48))
    assert (many < one - 0.1).any() and (many <= one + 1e-3).all()


@pytest.mark.slow
@pytest.mark.parametrize("limits", [{"least": 5.0}, {"most": 30.0}])
def test_how_wide_a_gap_is_cannot_be_judged(counted, limits):
    with pytest.raises(WindowProblem, match="counted bridged gaps but measured none"):
        pw.find_window(counted(3), open_gap(make_product, **limits))


@pytest.mark.slow
@pytest.mark.parametrize("narrower, inside", [(200.0, (0.0, 0.2)), (-200.0, (0.8, 1.0))])
def test_all_bridged_and_none_bridged_are_answered(counted, narrower, inside):
    found = stated(counted(3, narrower=narrower), open_gap(make_product))
    assert np.isfinite(found).all()
    assert (found >= inside[0]).all() and (found <= inside[1]).all()


@pytest.mark.slow
def test_a_clean_boundary_is_answered(simulated):
    """Open below 50 µm of engagement, bridged from there on, without exception."""
    rows = simulated[simulated["plate_gap [um]"] == GAP].groupby("print", sort=False).first().reset_index()
    closed = (rows["pressure [um]"] >= 50).astype(int)
    rows = rows.assign(**{"gap [um]": np.nan, "gaps_inspected": 1, "gaps_bridged": closed})
    found = stated(pw.fit(read_frame(rows)), open_gap(make_product))
    assert (np.diff(found) < 0.02).all()
    assert found[0] > 0.8 and found[2] < 0.3 and found[-1] < 0.1
