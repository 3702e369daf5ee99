"""What a print should not show: drops of ink beside lines, missing lines, tails."""

from dataclasses import replace

import numpy as np
import pytest

from pwindow.errors import UnusableInput
from pwindow.metrology.features import measure
from pwindow.metrology.rows import trial_rows
from pwindow.metrology.trace import Trace
from tests.helpers.profiles import across, parabola, plate

CENTRES = (100.0, 220.0, 340.0, 460.0, 580.0, 700.0)


def with_drop(trace, at=280.0, width=12.0, height=0.4):
    return replace(trace, z=trace.z + height * parabola((trace.x - at) / width))


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_drop_of_ink_in_a_gap_is_no_line(noise):
    found = measure(with_drop(across(parabola, noise=noise)))
    assert len(found.lines) == 6 and len(found.gaps) == 5 and found.bridged == 0
    (drop,) = found.gaps[1].satellites
    assert drop == pytest.approx((274.2, 285.8), abs=0.5)
    assert found.gaps[1].flags == (f"ink in it, {drop[1] - drop[0]:.3g} µm wide",)
    assert found.gaps[1].width.value == pytest.approx(found.gaps[2].width.value, abs=0.5)
    assert all(gap.flags == () for at, gap in enumerate(found.gaps) if at != 1)


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_missing_line_makes_no_gap_of_the_pattern(noise):
    found = measure(across(parabola, centres=(*CENTRES[:2], *CENTRES[3:]), noise=noise))
    assert [gap.missing for gap in found.gaps] == [0, 1, 0, 0]
    assert found.gaps[1].flags == ("1 line is missing in it",)
    rows = trial_rows([found], {"a trace": "A-001"})
    assert rows["gap [um]"].count() == 3 and rows["gaps_inspected"].max() == 3


def test_groups_of_lines_further_apart_are_no_missing_lines():
    found = measure(across(parabola, centres=(100.0, 220.0, 340.0, 530.0, 650.0), length=750.0))
    assert [gap.missing for gap in found.gaps] == [0, 0, 0, 0]


def test_a_tail_shows_in_the_skirts():
    """A line whose right flank falls off slowly below a quarter of its height."""
    trace = across(parabola)
    tail = sum(
        np.where((trace.x > at) & (trace.x < at + 60.0), 0.2 * (1.0 - (trace.x - at) / 60.0), 0.0)
        for at in CENTRES
    )
    found = measure(replace(trace, z=np.maximum(trace.z, tail + 3.0)))
    for line in found.lines:
        left, right = line.skirts
        assert right.value - left.value > 8.0 * np.hypot(left.error, right.error)
    for line in measure(trace).lines:
        assert line.skirts[0].value == pytest.approx(line.skirts[1].value, rel=1e-3)


def bridged(pairs, count=20, noise=0.005):
    """A profile of lines 40 µm wide 60 µm apart, some of whose gaps are filled to 0.6 µm; how many are."""
    centres = 80.0 + 60.0 * np.arange(count)
    trace = across(
        parabola, centres=centres, width=40.0, height=1.0, points=4000, length=60.0 * count + 100.0
    )
    z = trace.z.copy()
    for at in pairs:
        between = (trace.x > centres[at]) & (trace.x < centres[at + 1])
        z[between] = np.maximum(z[between], 3.6)
    return replace(trace, z=z + noise * np.random.default_rng(3).standard_normal(len(z)))


@pytest.mark.parametrize("count", [1, 6, 11, 14])
def test_bridged_gaps_are_counted_however_many_they_are(count):
    pairs = np.random.default_rng(count).choice(19, count, replace=False)
    found = measure(bridged(pairs))
    assert found.bridged == count and len(found.gaps) == 19 - count


def test_lines_of_different_widths_are_not_bridged():
    trace = across(
        parabola, centres=(150.0, 450.0), width=50.0, height=1.0, length=1500.0, points=6000, noise=0.005
    )
    wide = replace(trace, z=trace.z + sum(parabola((trace.x - at) / 200.0) for at in (800.0, 1200.0)))
    found = measure(wide)
    assert found.bridged == 0 and [line.closed for line in found.lines] == [0] * 4
    assert found.lines[3].width.value == pytest.approx(4.0 * found.lines[0].width.value, rel=0.02)


def test_what_reaches_an_end_is_left_out_and_told():
    whole = across(parabola, noise=0.01)
    assert measure(whole).notes == ()
    inside = whole.x < 705.0
    found = measure(replace(whole, x=whole.x[inside], z=whole.z[inside]))
    assert len(found.lines) == 5
    assert [note[:18] for note in found.notes] == [
        "its right end lies"
    ] and "is a line cut there" in found.notes[0]


def test_a_weak_line_makes_no_open_gap_without_a_word():
    trace = across(parabola, centres=(*CENTRES[:2], *CENTRES[3:]), noise=0.003)
    found = measure(with_drop(trace, at=340.0, width=60.0, height=0.1))
    assert [bool(gap.satellites) for gap in found.gaps] == [False, True, False, False]
    assert "ink in it" in found.gaps[1].flags[0]


def test_ink_everywhere_that_is_taken_for_film_is_told():
    """Of a profile whose gaps are all filled there is more ink of one height than film."""
    found = measure(bridged(range(19)))
    assert ["below what is taken for film" in note for note in found.notes] == [True, True]


def turned(trace):
    return replace(trace, z=-trace.z)


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_hollow_is_told_where_no_line_is_found(noise):
    with pytest.raises(UnusableInput, match=r"at [34]\d\d.* µm it lies 0.7.* µm below the film") as found:
        measure(turned(across(parabola, centres=(400.0,), noise=noise)))
    assert "is the scan upside down, or is it of a plate (--of plate)?" in str(found.value)


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_scan_upside_down_without_film_is_told(noise):
    with pytest.raises(UnusableInput, match="turned upside down it shows lines: is the scan upside down"):
        measure(turned(across(parabola, noise=noise)))


def test_a_film_bent_like_a_bowl_is_told():
    x = np.linspace(0.0, 800.0, 2000)
    z = 2.0 * ((x - 400.0) / 400.0) ** 8 + 0.02 * np.random.default_rng(4).standard_normal(2000)
    with pytest.raises(UnusableInput, match="is the film bent like a bowl"):
        measure(Trace(name="a bowl", x=x, z=z))


def test_flat_film_is_neither():
    x = np.linspace(0.0, 800.0, 2000)
    z = 0.02 * np.random.default_rng(4).standard_normal(2000)
    with pytest.raises(UnusableInput, match=r"than the film \(noise .* nm\); check that it crosses a line"):
        measure(Trace(name="film", x=x, z=z))


def test_a_plate_measured_as_a_print_is_told():
    found = measure(plate(noise=0.02))
    assert len(found.notes) == 1 and "both of its ends lie as high as its lines" in found.notes[0]
    assert "--of plate" in found.notes[0]
