"""Directions that printing does not show, and draws that have not settled."""

from dataclasses import replace

import pytest

import pwindow as pw
from pwindow.surfaces.checks.directions import unexpected
from pwindow.surfaces.findings import findings
from pwindow.surfaces.posterior.processes import Processes
from pwindow.surfaces.surfaces import Surfaces
from tests.helpers.trials import read_frame


def found(surfaces: Surfaces):
    cells = {name: surface.cells for name, surface in surfaces.by_name.items()}
    return list(unexpected(Processes.of(surfaces.joint, 960), cells))


@pytest.fixture(scope="module")
def turned(demo_rows):
    """The demo's prints with their pressures the wrong way round."""
    return pw.fit(read_frame(demo_rows.assign(**{"pressure [um]": 100 - demo_rows["pressure [um]"]})))


def test_a_process_as_others_shows_none(demo_surfaces):
    assert found(demo_surfaces) == []


def test_pressures_the_wrong_way_round_are_noticed(turned):
    told = {(one.response, one.setting): one for one in found(turned)}
    assert set(told) == {("line_width", "pressure"), ("gap_closure", "pressure")}
    assert all(one.probability > 0.99 and not one.rises for one in told.values())
    sentences = [one.sentence for one in findings(turned) if one.response == "gap_closure"]
    assert any(
        sentence.startswith("gap closure falls with pressure on average over the tried set-ups")
        and "but it usually rises in printing" in sentence
        for sentence in sentences
    )


def test_a_height_that_rises_with_speed_is_noticed(demo_rows):
    speeds = 3600 / demo_rows["speed [m/min]"]
    surfaces = pw.fit(read_frame(demo_rows.assign(**{"speed [m/min]": speeds})))
    assert [(one.response, one.setting, one.rises) for one in found(surfaces)] == [
        ("line_height", "speed", True)
    ]


@pytest.mark.parametrize("mixing, told", [(1.19, False), (1.31, True)])
def test_draws_that_have_not_settled_are_told(demo_surfaces, mixing, told):
    draws = replace(demo_surfaces.joint.draws, mixing=mixing)
    surfaces = replace(demo_surfaces, joint=replace(demo_surfaces.joint, posterior=draws))
    assert any("have not settled" in one.sentence for one in findings(surfaces)) == told
    assert findings(demo_surfaces) == ()
