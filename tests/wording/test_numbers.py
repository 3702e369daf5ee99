"""One rule for numbers, and outlets that follow it."""

import math
import re
from pathlib import Path

import pytest

import pwindow as pw
from pwindow.markup import part
from pwindow.panels.set_up_speed import view
from pwindow.window.bands import SPEED_STEP
from pwindow.wording import (
    METRIC,
    SPEED_DECIMALS,
    amount,
    percent,
    points,
    pressure,
    span,
    speed,
    us_customary,
    volume,
    with_interval,
)
from tests.helpers.words import plain

OUTLETS = ("panels", "review", "cli", "charts")


def test_speeds_have_the_digits_of_the_step_that_bands_are_searched_with():
    assert pytest.approx(10.0**-SPEED_DECIMALS) == SPEED_STEP
    assert [speed(one) for one in (98.84, 78.0, 1234.56)] == ["98.8", "78", "1234.6"]


@pytest.mark.parametrize("scale", [10.0**power for power in range(-6, 7)])
def test_a_value_shares_its_decimals_with_its_interval(scale):
    for width in (1.0, 2.4, 9.9):
        told = with_interval(5.4321 * scale, (5.4321 - width / 2) * scale, (5.4321 + width / 2) * scale)
        assert len({len(one.partition(".")[2]) for one in told}) == 1
        off = max(abs(float(one) - exact * scale) for one, exact in zip(told, (5.4321, 5.4321 - width / 2)))
        assert off <= max(0.05 * width * scale, 0.5), "to a tenth of the width's first digit, or to a whole"


def test_an_interval_without_a_width_has_some_digits():
    assert with_interval(1.0, 1.0, 1.0) == ("1.000",) * 3
    assert span(0.61, math.nan)[0] == "0.610"


@pytest.mark.parametrize("value", [0.9994, 0.99951, 0.99999, 1.0])
def test_no_probability_rounds_up_to_certainty(value):
    assert "100" not in percent(value) and "1.000" not in percent(value)


def test_minus_is_a_minus_sign():
    assert (amount(-0.5), points(-2.0), pressure(-3.0)) == ("−0.5", "−2.0", "−3")
    assert volume(5.0) == "5" and points(-0.01) == "±0.0"


ROUNDED = re.compile(
    r"(speed_m_min|speed_low|speed_high|cell_volume|conformance|joint)\w*(\"|')?\]?:\.?\d*[gf]"
)


@pytest.mark.parametrize("part", OUTLETS)
def test_no_outlet_rounds_speeds_volumes_and_probabilities_itself(part):
    folder = Path(pw.__file__).parent / part
    found = [
        f"{path.name}: {match[0]}"
        for path in folder.rglob("*.py")
        for match in ROUNDED.finditer(path.read_text(encoding="utf-8"))
        # an address holds the number itself, and what is declared stands in full as it was declared
        if ":.10g" not in match[0] and (path.name, match[0]) != ("words.py", "cell_volume:g")
    ]
    assert found == []


def test_the_page_and_the_command_tell_a_height_alike(tag_window):
    """One line height was 0.77 in one table and 0.768 in another."""
    from pwindow.cli.tables import _response_table

    frame = tag_window.setups("laser-imaged", 97.8, 7.2, 50.0)
    found = tag_window.surfaces.predict("line_height", frame).iloc[0]
    value, low, high = with_interval(*found[["mean", "obs_ci_low", "obs_ci_high"]])
    command = _response_table({"line_height_um": found.to_dict()}, METRIC)
    assert {value, low, high} <= set(command.split())
    ends, unit = view._predicted(found, METRIC.length)
    page = part(view.__package__, "view", "interval", ends=ends, unit=unit)
    assert f"<b>{value}</b> µm ({low} … {high})" == plain(page)


@pytest.mark.parametrize(
    "told, ends",
    [
        (("0.77", "0.70", "0.84"), (0.7682, 0.6991, 0.8402)),
        (("132", "117", "150"), (132.4, 116.9, 149.8)),
        (("67.5", "64.9", "70.3"), (67.52, 64.87, 70.28)),
    ],
)
def test_an_interval_leaves_two_digits_of_its_width(told, ends):
    assert with_interval(*ends) == told


@pytest.mark.parametrize("digits", ["85.125", "0.4125", "330.1234", "1.97"])
def test_what_was_stated_in_thou_is_told_as_it_was_stated(digits):
    assert us_customary().length.limit(25.4 * float(digits)) == f"{digits} thou"


@pytest.mark.parametrize("kept, told", [(200.0, "7.87"), (50.0, "1.97"), (0.5, "0.0197"), (70.0, "2.76")])
def test_a_length_stated_in_metric_takes_three_digits_in_thou(kept, told):
    us = us_customary()
    assert us.length.limit(kept) == us.pressure.words(kept) == f"{told} thou"
    assert us.length.typed(kept) == float(told)
