"""Lines and gaps of topographies that are made with known edges."""

from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import find_contours, label

from pwindow.errors import UnusableInput
from pwindow.metrology.areas import measure_area
from pwindow.metrology.raggedness import unseen_by_line, unseen_by_mean
from pwindow.metrology.topography import Topography
from tests.helpers.profiles import foot, printed, rough


def test_widths_heights_and_gaps_are_those_of_the_shape():
    found = measure_area(printed(tilt=(0.01, -0.004))[0])
    assert len(found.lines) == 4 and len(found.gaps) == 3 and found.length == 800.0
    assert found.noise == pytest.approx(0.005, rel=0.05)
    for line in found.lines:
        assert line.measured.width.value == pytest.approx(60.0 * foot(), rel=0.005)
        assert line.measured.height.value == pytest.approx(0.7, rel=0.01)
        assert line.measured.area.value == pytest.approx(28.0, rel=0.005)
        assert line.breaks == 0 and line.voids == 0.0
    for gap in found.gaps:
        assert gap.width.value == pytest.approx(100.0 - 60.0 * foot(), abs=0.2)
        assert (gap.bridges, gap.bridged) == (0, 0.0)


def test_lines_that_run_the_other_way_are_turned():
    made, _ = printed()
    found = measure_area(made.turned())
    assert len(found.lines) == 4 and found.length == 800.0


@pytest.mark.parametrize("sags", [(0.0, 1.0), (0.5, 0.0), (-2.0, 0.8)])
def test_a_film_that_bends_both_ways_is_levelled(sags):
    flat, _ = printed(tilt=(0.01, -0.004))
    x, y = (np.linspace(-1.0, 1.0, count) for count in flat.z.shape[::-1])
    found = measure_area(replace(flat, z=flat.z + sags[0] * x**2 + sags[1] * y[:, None] ** 2))
    straight = measure_area(flat)
    assert found.noise == pytest.approx(straight.noise, rel=0.01)
    for own, other in zip(found.lines, straight.lines, strict=True):
        assert own.measured.width.value == pytest.approx(other.measured.width.value, abs=0.1)
        assert own.measured.height.value == pytest.approx(other.measured.height.value, abs=0.002)
        assert own.measured.area.value == pytest.approx(other.measured.area.value, rel=0.003)


def test_raggedness_and_its_correlation_length_are_found():
    rng, roughness, lengths = np.random.default_rng(5), [], []
    for _ in range(4):
        found = measure_area(printed(rows=1000, edge=1.0, correlation=12.0, noise=0.002, rng=rng)[0])
        for line in found.lines:
            for edge in (line.left, line.right):
                roughness.append(edge.roughness**2 / (1.0 - edge.unseen))
                lengths.append(edge.correlation_length)
    # the foot lies inside the base: it moves by half of the share of both edges
    inner = np.hypot((1 + foot()) / 2, (1 - foot()) / 2)
    assert np.sqrt(np.mean(roughness)) == pytest.approx(inner, rel=0.08)
    assert np.mean(lengths) == pytest.approx(12.0, rel=0.25)


def test_raggedness_of_gaps_is_that_of_two_edges():
    rng, found = np.random.default_rng(9), []
    for _ in range(5):
        made, _ = printed(rows=1000, edge=1.0, correlation=12.0, noise=0.002, rng=rng)
        found += [(gap.raggedness**2, gap.correlation_length) for gap in measure_area(made).gaps]
    variance, alike = np.mean(found, axis=0)
    inner = np.hypot((1 + foot()) / 2, (1 - foot()) / 2)
    assert np.sqrt(variance) == pytest.approx(np.sqrt(2.0) * inner, rel=0.08)
    assert alike == pytest.approx(12.0, rel=0.25)


def test_the_share_that_a_length_does_not_show():
    """Mean removed 18.00, 9.50, 3.92 %; a straight line removed 32.24, 18.02, 7.68 % (own computation)."""
    for ratio, mean, line in ((10.0, 18.00, 32.24), (20.0, 9.50, 18.02), (50.0, 3.92, 7.68)):
        assert 100 * unseen_by_mean(1.0, ratio) == pytest.approx(mean, abs=0.006)
        assert 100 * unseen_by_line(1.0, ratio) == pytest.approx(line, abs=0.006)


def test_what_a_straight_line_removes_is_lost():
    """Of simulated edges of 20 correlation lengths: the mean square about a fitted line against the formula."""
    rng, y, kept = np.random.default_rng(8), np.arange(400) * 1.0, []
    for _ in range(600):
        edge = rough(400, 1.0, 1.0, 20.0, rng)
        kept.append(np.mean((edge - np.polyval(np.polyfit(y, edge, 1), y)) ** 2))
    assert 1.0 - np.mean(kept) == pytest.approx(unseen_by_line(20.0, 400.0), abs=0.04)


def test_a_skew_line_is_straight():
    found = measure_area(printed(angle=0.01)[0])
    for line in found.lines:
        assert line.left.angle == pytest.approx(0.01, abs=2e-4) and line.left.roughness < 0.3
        assert line.measured.width.value == pytest.approx(60.0 * foot(), rel=0.01)


def test_bridges_necks_breaks_and_voids_are_counted():
    made, _ = printed(noise=0.002)
    z = made.z.copy()
    x = np.arange(z.shape[1]) * made.dx
    z[100:110, (x > 160.0) & (x < 260.0)] = np.maximum(z[100:110, (x > 160.0) & (x < 260.0)], 0.3)
    z[500:520, (x > 160.0) & (x < 260.0)] = np.maximum(z[500:520, (x > 160.0) & (x < 260.0)], 0.3)
    z[300:305, (x > 30.0) & (x < 90.0)] = 0.0
    z[600:620, (x > 350.0) & (x < 370.0)] = 0.0
    found = measure_area(Topography(name="made", z=z, dx=made.dx, dy=made.dy))
    assert [gap.bridges for gap in found.gaps] == [0, 2, 0]
    assert found.gaps[1].bridged == pytest.approx(30 / 800, abs=2e-3) and found.gaps[1].narrowest == 0.0
    assert [line.breaks for line in found.lines] == [1, 0, 0, 1] and found.lines[0].narrowest == 0.0
    assert "broken in 1 place" in found.lines[0].measured.flags
    assert found.lines[3].voids == pytest.approx(20 * 20 / (800 * 57.0), rel=0.1)


def test_edges_are_the_contours_that_an_image_library_finds():
    """`skimage.measure.find_contours` at the height of the foot, on lines with rough edges and no noise."""
    made, _ = printed(edge=1.0, noise=0.0)
    found = measure_area(made)
    for line in found.lines:
        contours = [
            one * (made.dy, made.dx) for one in find_contours(found.topography.z, line.measured.line.foot)
        ]
        for edge in (line.left, line.right):
            place = np.nanmean(edge.place)
            (own,) = (one for one in contours if abs(one[:, 1].mean() - place) < 10.0)
            rows = own[own[:, 0] == np.round(own[:, 0] / made.dy) * made.dy]
            at = np.round(rows[:, 0] / made.dy).astype(int)
            assert len(np.unique(at)) == made.z.shape[0]
            assert edge.place[at] == pytest.approx(rows[:, 1], abs=0.02)


def test_bridges_and_breaks_are_the_regions_that_an_image_library_labels():
    """`skimage.measure.label` of what lies above the foot: a bridge joins two lines, and a break parts one."""
    made, _ = printed(noise=0.002)
    z, x = made.z.copy(), np.arange(made.z.shape[1]) * made.dx
    assert label(z > 0.07, connectivity=1).max() == 4
    z[100:110, (x > 160.0) & (x < 260.0)] = np.maximum(z[100:110, (x > 160.0) & (x < 260.0)], 0.3)
    z[300:305, (x > 20.0) & (x < 100.0)] = 0.0
    found = measure_area(replace(made, z=z))
    regions = label(z > 0.07, connectivity=1).max()
    assert (
        regions == 4 - sum(gap.bridges for gap in found.gaps) + sum(line.breaks for line in found.lines) == 4
    )
    assert (found.gaps[1].bridges, found.lines[0].breaks) == (1, 1)


def test_what_was_not_seen_is_left_out():
    made, _ = printed()
    z = made.z.copy()
    hidden = np.random.default_rng(1).random(z.shape) < 0.1
    z[hidden] = np.nan
    found = measure_area(Topography(name="made", z=z, dx=made.dx, dy=made.dy))
    assert found.lines[1].measured.width.value == pytest.approx(60.0 * foot(), rel=0.01)
    assert np.isnan(found.topography.z[hidden]).all()


def test_gaps_that_are_bridged_over_their_whole_length_are_refused():
    made, _ = printed()
    z = made.z.copy()
    x = np.arange(z.shape[1]) * made.dx
    z[:, (x > 160.0) & (x < 260.0)] = np.maximum(z[:, (x > 160.0) & (x < 260.0)], 0.3)
    with pytest.raises(UnusableInput, match="bridged over the whole length"):
        measure_area(Topography(name="made", z=z, dx=made.dx, dy=made.dy))
