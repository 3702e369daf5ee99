"""Lines and gaps of shapes whose answers are known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.signal import peak_widths, savgol_filter

from pwindow.errors import UnusableInput
from pwindow.metrology.features import measure
from pwindow.metrology.instruments import INSTRUMENTS, Instrument
from pwindow.metrology.levelling import level
from pwindow.metrology.lines import local_parabolas
from pwindow.metrology.trace import Trace
from tests.helpers.profiles import across, double_ridge, ellipse, parabola, rectangle, triangle

SMOOTH = (parabola, ellipse, triangle, double_ridge)
EXACT = Instrument("exact", 0.0, 0.0, 0.0, "none")
# domain figures: step by ISO 5436-1 over peak height, and area over width times peak, with the width of the whole shape
SECTION = {rectangle: 1.0, parabola: 2 / 3, ellipse: np.pi / 4, triangle: 0.5}


def step_of(shape, width):
    """ISO 5436-1: the mean height of the middle third of the width, above film at zero."""
    return quad(shape, -width / 6, width / 6, points=(0.0,))[0] / (width / 3)


def foot_of(shape, share=0.1):
    """Width at a share of the step height, which depends on that width: by iteration."""
    width = 1.0
    for _ in range(100):
        threshold = share * step_of(shape, foot_width(shape, 0.1 * step_of(shape, width)))
        width = foot_width(shape, threshold) if share == 0.1 else width
    return foot_width(shape, threshold), step_of(shape, width)


def foot_width(shape, threshold):
    return 2 * brentq(lambda u: float(shape(np.array(u))) - threshold, 0.26, 0.5)


@pytest.mark.parametrize("shape", SMOOTH)
def test_a_shape_without_noise_is_measured_to_four_digits(shape):
    found = measure(across(shape, points=40_001, tilt=0.011), EXACT)
    width, step = foot_of(shape)
    assert len(found.lines) == 6 and found.bridged == 0
    for one in found.lines:
        assert one.line.step == pytest.approx(0.7 * step, rel=2e-4)
        assert one.width.value == pytest.approx(60.0 * width, rel=2e-4)
        peak = 0.7 * float(shape(np.linspace(-0.5, 0.5, 20_001)).max())
        assert one.height.value == pytest.approx(peak, rel=2e-4)
        area = 42.0 * quad(shape, -0.5, 0.5, points=(0.0,))[0]
        assert one.area.value == pytest.approx(area, rel=2e-4)
    for gap in found.gaps:
        assert gap.width.value == pytest.approx(120.0 - 60.0 * width, rel=2e-4)


def test_a_rectangle_is_measured_to_a_step_of_the_scan():
    found = measure(across(rectangle, points=40_001, tilt=-0.02), EXACT)
    for one in found.lines:
        assert one.line.step == pytest.approx(0.7, rel=1e-9)
        assert one.width.value == pytest.approx(60.0, abs=0.04)
        assert one.half_width.value == one.width.value
        assert one.line.section_factor == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    "shape, step", [(rectangle, 1.0), (parabola, 0.963), (ellipse, 0.981), (triangle, 0.833)]
)
def test_the_step_of_a_dome_over_its_whole_width_is_the_known_one(shape, step):
    """Peak, step and area are three things: figures of the step by ISO 5436-1 over the whole width (own computation)."""
    assert step_of(shape, 1.0) == pytest.approx(step, abs=6e-4)


def test_half_width_is_what_scipy_measures():
    trace = across(parabola, points=40_001)
    line = measure(trace, EXACT).lines[2].line
    peak = int(np.argmin(np.abs(trace.x - 340.0)))
    # scipy takes half of the prominence, which is the peak's height; here half of the step is asked for
    widths, *_ = peak_widths(trace.z, [peak], rel_height=1.0 - 0.5 * line.step / 0.7)
    assert line.half_width == pytest.approx(widths[0] * trace.step, rel=1e-4)


def test_a_double_ridge_has_two_ridges_and_a_saddle():
    for noise in (0.0, 0.02):
        found = measure(across(double_ridge, points=4001, noise=noise), EXACT)
        for one in found.lines:
            (left, low), (right, high) = one.line.ridges
            assert right - left == pytest.approx(30.0, abs=0.6 + 60 * noise)
            assert low == pytest.approx(0.7 * 0.996, rel=0.01 + 3 * noise)
            assert high == pytest.approx(low, rel=0.01 + 3 * noise)
            assert one.line.saddle == pytest.approx(0.42, abs=0.01 + noise)
            assert one.flags == ("2 ridges",)


def test_a_dome_has_one_ridge_through_noise():
    rng, ridges = np.random.default_rng(4), []
    for _ in range(20):
        ridges += [len(one.line.ridges) for one in measure(across(parabola, noise=0.05, rng=rng)).lines]
    assert np.mean(np.array(ridges) == 1) > 0.9


@pytest.mark.parametrize("steps", [None, 0.01])
def test_a_flat_top_has_one_ridge(steps):
    """Points of equal height are no ridges, whether by rounding or because an instrument has steps."""
    plain = across(rectangle, tilt=0.003)
    z = plain.z if steps is None else steps * np.round(plain.z / steps)
    found = measure(replace(plain, z=z))
    assert found.bridged == 0 and all(len(one.line.ridges) == 1 for one in found.lines)


@pytest.mark.parametrize("tilt", [-0.05, 0.0, 0.011, 0.2])
@pytest.mark.parametrize("shape", [rectangle, *SMOOTH])
def test_tilt_is_found_beside_lines_and_changes_nothing(shape, tilt):
    found, flat = level(across(shape, tilt=tilt)), level(across(shape))
    assert found.slope == pytest.approx(tilt, abs=1e-9) and found.base(0.0) == pytest.approx(3.0, abs=1e-6)
    np.testing.assert_allclose(found.height, flat.height, atol=1e-8)


def test_film_is_found_where_it_is_less_than_half_of_the_trace():
    trace = across(parabola, centres=tuple(np.arange(50.0, 790.0, 80.0)), width=62.0, tilt=0.011, noise=0.03)
    found = level(trace)
    assert found.slope == pytest.approx(0.011, abs=2e-5)
    on_line = np.abs((trace.x - 50.0 + 40.0) % 80.0 - 40.0) < 29.0
    assert not (found.film & on_line & (trace.x < 780.0)).any(), "no flank is taken for film"


def test_voids_stay_voids():
    trace = across(parabola, noise=0.02)
    z = trace.z.copy()
    hidden = (trace.x > 210.0) & (trace.x < 216.0)
    z[hidden] = np.nan
    found = measure(replace(trace, z=z))
    assert np.isnan(found.levelled.height[hidden]).all()
    assert found.lines[1].line.interpolated == pytest.approx(6.0 / found.lines[1].width.value, abs=0.01)
    assert found.lines[1].area.error > found.lines[0].area.error
    assert found.lines[1].area.value == pytest.approx(28.0, rel=0.03)


@pytest.mark.parametrize(
    "side, name", [(-28.0, "width"), (-21.0, "half_width"), (0.0, "height"), (0.0, "area")]
)
def test_uncertainties_tell_of_what_was_not_seen(side, name):
    """Of 300 domes with 6 µm not seen about the foot, a flank or the crest, 93 in 100 lie within two uncertainties."""
    rng, held = np.random.default_rng(4), []
    true = getattr(measure(across(parabola, points=80_001), EXACT).lines[2], name).value
    for _ in range(50):
        trace = across(parabola, noise=0.02, rng=rng)
        z = trace.z.copy()
        for centre in (100.0, 220.0, 340.0, 460.0, 580.0, 700.0):
            z[np.abs(trace.x - centre - side - rng.uniform(-2.0, 2.0)) < 3.0] = np.nan
        found = (getattr(line, name) for line in measure(replace(trace, z=z), EXACT).lines)
        held += [abs(one.value - true) <= 2.0 * one.error for one in found]
    assert len(held) == 300 and np.mean(held) >= 0.93


def test_much_that_was_not_seen_is_flagged():
    trace = across(parabola, noise=0.02)
    z = np.where((trace.x > 205.0) & (trace.x < 222.0), np.nan, trace.z)
    (flag,) = measure(replace(trace, z=z)).lines[1].flags
    assert "was not seen and is interpolated" in flag


def test_a_bridged_gap_is_counted_and_its_line_flagged():
    trace = across(parabola, noise=0.02)
    ink = 0.3 * ((trace.x > 340.0) & (trace.x < 460.0))
    found = measure(replace(trace, z=np.maximum(trace.z, 3.0 + ink)))
    assert found.bridged == 1 and len(found.lines) == 5 and len(found.gaps) == 4
    assert found.lines[2].closed == 1 and found.lines[2].flags == ("as wide as 2 lines: 1 gap bridged",)


def test_a_trace_without_lines_says_so():
    x = np.linspace(0.0, 500.0, 1000)
    flat = replace(across(parabola), x=x, z=0.01 * x + 1e-3 * np.random.default_rng(0).standard_normal(1000))
    with pytest.raises(UnusableInput, match="nothing on it is clearly higher than the film"):
        measure(flat)


def test_lines_that_the_ends_cut_are_left_out():
    found = measure(across(parabola, centres=(10.0, 220.0, 340.0, 795.0), noise=0.01))
    assert len(found.lines) == 2


@pytest.mark.parametrize("shape", [rectangle, parabola, ellipse])
def test_widths_and_areas_are_unbiased_through_noise(shape):
    """A signal-to-noise ratio of 20 and at least 50 points a line: width within 1 %, area within 0.5 %."""
    rng = np.random.default_rng(7)
    exact = measure(across(shape, points=40_001), EXACT).lines[2]
    found = [
        one
        for _ in range(40)
        for one in measure(across(shape, points=700, noise=0.05, tilt=0.01, rng=rng), EXACT).lines
    ]
    assert found[0].line.points > 45
    assert np.mean([one.width.value for one in found]) == pytest.approx(exact.width.value, rel=0.01)
    assert np.mean([one.area.value for one in found]) == pytest.approx(exact.area.value, rel=0.005)


def test_uncertainty_holds_the_instrument_and_grows_with_noise():
    quiet, loud = (measure(across(parabola, noise=noise), EXACT).lines[0] for noise in (0.01, 0.05))
    assert quiet.height.error < loud.height.error and quiet.area.error < loud.area.error
    stylus = measure(across(parabola, noise=0.01), INSTRUMENTS["stylus"]).lines[0]
    assert stylus.height.error == pytest.approx(
        np.hypot(quiet.height.error, INSTRUMENTS["stylus"].height_error(stylus.height.value)), rel=1e-6
    )
    assert 1e3 * INSTRUMENTS["optical"].height_error(1.0) == pytest.approx(np.hypot(3.0, 1.2))


@pytest.mark.parametrize("count, half", [(5, 2), (40, 3), (61, 30)])
def test_local_parabolas_are_those_of_scipy(count, half):
    values = np.random.default_rng(count).standard_normal(count)
    expected = savgol_filter(values, 2 * half + 1, 2, mode="interp")
    np.testing.assert_allclose(local_parabolas(values, half), expected, atol=1e-12)


@pytest.mark.parametrize("sag", [0.05, 0.3, 3.0, -0.1, -3.0])
@pytest.mark.parametrize("shape", [parabola, rectangle, ellipse])
def test_of_a_bent_film_lines_and_gaps_are_as_of_a_straight_one(shape, sag):
    """The film bends by up to four heights of the lines from the middle of the profile to its ends."""
    made = across(shape, tilt=0.01)
    bent = replace(made, z=made.z + sag * (1.0 - ((made.x - 400.0) / 400.0) ** 2))
    straight, found = measure(made), measure(bent)
    assert straight.levelled.bend == 0.0 and found.levelled.bend == pytest.approx(sag, rel=1e-6)
    assert any("the film is bent" in note for note in found.notes)
    for name in ("height", "width", "area"):
        own, other = ([getattr(line, name).value for line in one.lines] for one in (found, straight))
        assert own == pytest.approx(other, rel=1e-5)


def test_a_flat_film_is_seldom_taken_for_a_bent_one():
    rng = np.random.default_rng(5)
    told = sum(level(across(parabola, noise=0.03, rng=rng)).bend != 0.0 for _ in range(200))
    assert told <= 2


@pytest.mark.parametrize("printed, sign", [("left to right", 1.0), ("Right to left", -1.0)])
def test_a_tail_is_that_of_the_trailing_edge(printed, sign):
    """Lines that rise over 10 µm at their left and fall over 30 µm at their right: 0.4 of 20 µm between half and a tenth."""
    x = np.linspace(0.0, 400.0, 4001)
    z = sum(np.clip(np.minimum((x - at) / 10.0, (at + 80.0 - x) / 30.0), 0.0, 1.0) for at in (80.0, 240.0))
    found = measure(Trace(name="tails", x=x, z=z, header={"printed": printed}), EXACT)
    for line in found.lines:
        assert line.tail.value == pytest.approx(sign * 0.4 * 20.0, abs=0.02)
        assert any("a tail: its trailing edge reaches" in flag for flag in line.flags) == (sign > 0)
    assert measure(Trace(name="tails", x=x, z=z), EXACT).lines[0].tail is None


def test_a_direction_of_printing_that_is_none_is_refused():
    made = replace(across(parabola), header={"printed": "uphill"})
    with pytest.raises(UnusableInput, match="“printed: uphill” must be “left to right” or “right to left”"):
        measure(made)


@pytest.mark.parametrize("wave", [70.0, 150.0, 400.0])
def test_waves_of_the_film_are_no_lines(wave):
    """Of 3 % of the lines' height, thirty times the noise: lines are all found, and as high as they are within the waves."""
    made = across(parabola, noise=0.001)
    found = measure(replace(made, z=made.z + 0.021 * np.sin(2.0 * np.pi * made.x / wave)))
    assert [line.line.left.foot for line in found.lines] == pytest.approx(
        [at - 28.5 for at in (100.0, 220.0, 340.0, 460.0, 580.0, 700.0)], abs=2.0
    )
    assert [line.height.value for line in found.lines] == pytest.approx([0.7] * 6, abs=0.045)


def test_a_scan_that_is_too_steep_is_refused():
    with pytest.raises(UnusableInput, match="steeper than 0.2 µm/µm; check the units"):
        measure(across(parabola, tilt=3.0))
