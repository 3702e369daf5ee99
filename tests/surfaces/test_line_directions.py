"""Lines along the web, across it, and diagonal ones."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import pwindow as pw
from pwindow.errors import WindowProblem
from pwindow.window import find_window
from tests.helpers.trials import read_frame

WIDER = {0.0: 0.0, 90.0: 0.02, 45.0: 0.06}
"""Logarithm of how much wider lines of a direction print, in the trial that is made here."""


@pytest.fixture(scope="module")
def surfaces(demo_rows):
    """The demo's lines printed in three directions, diagonals leaning to either side; its gaps along the web."""
    rng, parts = np.random.default_rng(3), [demo_rows[demo_rows["line_width [um]"].isna()]]
    lines = demo_rows[demo_rows["line_width [um]"].notna()]
    for angle, wider in WIDER.items():
        side = rng.choice([-1.0, 1.0], len(lines))
        width = lines["line_width [um]"] * np.exp(wider + rng.normal(0.0, 0.01, len(lines)))
        parts.append(lines.assign(**{"direction [deg]": angle * side, "line_width [um]": width}))
    return pw.fit(read_frame(pd.concat(parts)))


def test_each_direction_has_its_own_width(surfaces):
    found = surfaces.by_name["line_width"].coefficients()
    mean = np.mean(list(WIDER.values()))
    for angle in (45.0, 90.0):
        row = found.loc[f"direction={angle:.0f}"]
        assert row["coefficient"] == pytest.approx(WIDER[angle] - mean, abs=3.0 * row["std_error"])
        assert row["std_error"] < 0.0015
    factors = surfaces.by_name["gap_closure"].design.factors
    assert "direction" not in [factor.name for factor in factors], "gaps ran one way"


def test_a_window_is_that_of_its_direction(surfaces, tag, study):
    speeds = {
        angle: find_window(surfaces, _along(tag, angle), study).recommended().setup.speed
        for angle in (0.0, 45.0, 135.0, -45.0, 180.0)
    }
    assert speeds[45.0] == speeds[135.0] == speeds[-45.0] < speeds[0.0] == speeds[180.0]


@pytest.mark.parametrize(
    "angle, said",
    [
        (30.0, r"asks for direction 30 deg, which was not tried .* \(0 deg, 45 deg and 90 deg\)"),
        (None, "has no direction, and the trial has lines at 0 deg, 45 deg and 90 deg"),
    ],
)
def test_a_direction_that_was_not_tried_is_refused(surfaces, tag, study, angle, said):
    with pytest.raises(WindowProblem, match=said):
        find_window(surfaces, _along(tag, angle), study)


def test_the_region_holds_the_directions_that_were_tried(surfaces):
    setups = pd.DataFrame(
        {"speed": 60.0, "cell_volume": 4.4, "pressure": 50.0, "plate": "laser-imaged", "plate_width": 30.0}
        | {"direction": [0.0, 135.0, 90.0, 30.0, np.nan]}
    )
    assert surfaces.region.contains(setups).tolist() == [True, True, True, False, True]


def _along(product, angle):
    return replace(product, pattern=replace(product.pattern, direction=angle))
