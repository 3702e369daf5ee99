"""Smooth departures from the second-order form."""

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.surfaces.model.departures import BendingDesign, bending
from pwindow.surfaces.model.terms import Design, Factor, second_order
from pwindow.surfaces.posterior.joint import join_responses
from pwindow.surfaces.posterior.sampler import Plan
from tests.helpers.cells import line_height, make_cells

FACTORS = (Factor("speed", "log", 30.0, 120.0), Factor("pressure", "linear", 20.0, 80.0))
DESIGN = Design(FACTORS, second_order(FACTORS))
SPEEDS = np.geomspace(30.0, 120.0, 9)
SET_UPS = [(s, 4.0, p) for s in SPEEDS for p in (20, 50, 80)] * 2
NEW = pd.DataFrame({"speed": np.geomspace(31.0, 118.0, 25), "pressure": 45.0})
PLAN = Plan(warm=60, kept=120)


def wave(setups, size):
    """A departure that no second-order surface can follow."""
    return size * np.sin(4.5 * DESIGN.coded(setups)["speed"])


def found(size, seed):
    """Predictions of both surfaces on a truth that waves by `size`, and what is wrong with them."""
    cells = make_cells(SET_UPS, seed)
    cells["value"] += wave(cells, size)
    responses = {"h": line_height(cells)}
    truth = 0.8 * np.log(4.0) - 0.3 * np.log(NEW["speed"]) + wave(NEW, size)
    both = []
    for design in (DESIGN, bending(DESIGN, cells)):
        predicted = join_responses(responses, {"h": design}, PLAN).predict(NEW)
        both.append((predicted.mean[:, 0] - truth, np.sqrt(predicted.scale[:, 0, 0])))
    return both


def test_columns_are_apart_from_the_second_order_terms():
    cells = make_cells(SET_UPS)
    design = bending(DESIGN, cells)
    assert isinstance(design, BendingDesign) and sum(design.penalised) > 8 and len(design.penalised) == 2
    tried = cells.drop_duplicates(["speed", "pressure"])
    matrix = design.matrix(tried)
    plain, smooth = matrix[:, : len(DESIGN.terms)], matrix[:, len(DESIGN.terms) :]
    np.testing.assert_allclose(plain, DESIGN.matrix(tried))
    np.testing.assert_allclose(plain.T @ smooth, 0.0, atol=1e-9)
    assert len(design.labels) == matrix.shape[1]


def test_too_few_set_ups_leave_nothing_to_depart_by():
    few = make_cells([(s, 4.0, p) for s in (30, 60, 120) for p in (20, 50)])
    assert bending(DESIGN, few) is DESIGN


def test_follows_what_the_second_order_form_misses():
    for seed in range(3):
        (plain, _), (smooth, scale) = found(0.15, seed)
        assert np.abs(smooth).mean() < 0.5 * np.abs(plain).mean()
        assert np.mean(np.abs(smooth) < 2.0 * scale) > 0.95


def test_costs_little_where_there_is_nothing_to_follow():
    for seed in range(3):
        (_, plain), (off, smooth) = found(0.0, seed)
        assert (smooth / plain).max() < 1.35
        assert np.mean(np.abs(off) < 2.0 * smooth) == 1.0


@pytest.mark.slow
def test_carries_the_same_probabilities(demo_trial, demo_surfaces, tag, study):
    """A window is found as on any surface; on the demo's second-order truth it moves little."""
    smooth = pw.fit(demo_trial, terms="bending")
    at = pw.find_window(smooth, tag).setups("laser-imaged", [40.0, 90.0], 4.4, 50.0)
    for name in smooth.by_name:
        one, other = (surfaces.predict(name, at) for surfaces in (demo_surfaces, smooth))
        assert (other["obs_ci_low"] < other["mean_ci_low"]).all() and (
            other["mean_ci_low"] < other["mean"]
        ).all()
        np.testing.assert_allclose(other["mean"], one["mean"], rtol=0.08)
    windows = [pw.find_window(surfaces, tag, study) for surfaces in (demo_surfaces, smooth)]
    fastest = [window.speed_bands()["fastest_speed_m_min"].max() for window in windows]
    assert fastest[1] == pytest.approx(fastest[0], rel=0.08)
