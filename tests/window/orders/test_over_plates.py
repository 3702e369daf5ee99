"""The map over plate width and gap, against windows of single plates."""

from dataclasses import replace

import numpy as np
import pytest

from pwindow.plates import plate_making
from pwindow.trials.plates import NO_PLATES
from pwindow.window.confidence import reach_under_each
from pwindow.window.orders import order_map
from pwindow.window.orders.new_plate import NewPlate
from pwindow.window.orders.over_plates import look

PROCESS = "laser-imaged"


@pytest.fixture(scope="module")
def making(plates_trial, study):
    return plate_making(plates_trial.plates, study).of(PROCESS)


@pytest.fixture(scope="module")
def found(plates_surfaces, sensor, study, making):
    return order_map(plates_surfaces, sensor, study, making)


def test_it_covers_what_was_tried_of_the_process(found, plates_surfaces):
    tried = plates_surfaces.region.covariates[PROCESS]
    assert (found.widths[0], found.widths[-1]) == pytest.approx(tried["plate_width"])
    assert (found.gaps[0], found.gaps[-1]) == pytest.approx(tried["plate_gap"])
    assert found.fastest.shape == found.best.shape == found.tried.shape == (40, 40)


@pytest.mark.parametrize(("row", "column"), [(5, 18), (12, 20), (20, 25), (3, 30)])
def test_a_place_of_it_is_the_window_of_that_plate(
    found, making, plates_surfaces, sensor, study, row, column
):
    plate = NewPlate(making, float(found.widths[column]), float(found.gaps[row]))
    window = plate.window(plates_surfaces, sensor, study)
    of_row = found.rows[found.of_row[row, column]]
    at = window.setups(PROCESS, found.speed_at_best[row, column], of_row.roll.cell_volume, of_row.pressure)
    speeds = np.geomspace(of_row.slowest, of_row.fastest, 60)
    along = window.joint_conformance(window.setups(PROCESS, speeds, of_row.roll.cell_volume, of_row.pressure))
    if np.isfinite(found.fastest[row, column]):
        exact = speeds[np.flatnonzero(along >= window.level).max()]
        assert found.fastest[row, column] == pytest.approx(exact, rel=0.03)
    else:
        assert window.joint_conformance(at)[0] == pytest.approx(found.best[row, column], abs=0.01)
        assert along.max() < window.level + 0.01


@pytest.mark.slow
def test_a_plate_that_varies_more_is_assured_less(found, plates_trial, plates_surfaces, sensor, study):
    """Where no plate was measured, what lines become of their artwork is common practice, give or take."""
    unknown = replace(
        plate_making(plates_trial.plates, study).of(PROCESS),
        width=plate_making(NO_PLATES, study).of(PROCESS).width,
    )
    worse = order_map(plates_surfaces, sensor, study, unknown)
    assert np.isfinite(worse.fastest).sum() < 0.8 * np.isfinite(found.fastest).sum()


def test_how_sure_it_is_is_what_single_plates_are(making, plates_surfaces, sensor, study):
    looked = look(plates_surfaces, sensor, study, making)
    few = looked.map(looked.axis("plate_width", 9), looked.axis("plate_gap", 6))
    found, rows = looked.with_sureness(few), looked.rows
    assert found.sure.shape == (6, 9) and found.sure.min() == 0.0 and found.sure.max() > 0.95
    compared = []
    for at in ((1, 3), (2, 3), (2, 4), (3, 2)):
        plate = NewPlate(making, float(few.widths[at[1]]), float(few.gaps[at[0]]))
        window = plate.window(plates_surfaces, sensor, study)
        shares = []
        for row in rows:
            speeds = np.geomspace(row.slowest, row.fastest, 17)
            setups = window.setups(PROCESS, speeds, row.roll.cell_volume, row.pressure)
            if window.joint_conformance(setups).max() > few.best[at] - 0.005:
                shares.append(reach_under_each(window, setups).any(axis=0).mean())
        compared.append(min(abs(found.sure[at] - share) for share in shares))
    assert max(compared) < 0.08  # of 120 processes; all 1,920 are looked at here


def test_of_one_width_a_process_only_that_is_shown(demo_surfaces, tag, study, demo_trial):
    making = plate_making(demo_trial.plates, study).of("laser-imaged")
    found = order_map(demo_surfaces, tag, study, making, cells=10)
    assert found.widths.tolist() == [30.0]
    assert found.gaps.tolist() == np.linspace(45.0, 75.0, 10).tolist()
    assert 0.3 < found.best.max() < 0.95  # 0.99 on a plate that is as ordered
    assert np.isnan(found.to_frame()["fastest_speed_m_min"]).all()
