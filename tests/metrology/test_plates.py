"""Plates with known answers: gaps with lips and depth, lines with flat and rounded tops."""

from dataclasses import replace

import numpy as np
import pytest

from pwindow.errors import UnusableInput
from pwindow.metrology.plates import measure_plate
from tests.helpers.profiles import plate

ALIKE = {"rel": 1e-4}


@pytest.mark.parametrize("tilt", [0.0, 0.02, -0.05])
def test_a_gap_with_lips_and_depth_to_four_digits(tilt):
    found = measure_plate(plate(lip=1.2, tilt=tilt))
    assert len(found.gaps) == 3 and len(found.lines) == 2
    for gap in found.gaps:
        assert gap.width.value == pytest.approx(50.0, **ALIKE)
        assert gap.depth.value == pytest.approx(12.0, **ALIKE)
        assert gap.lip_width.value == pytest.approx(62.0, **ALIKE)
        assert [lip.height.value for lip in gap.lips] == pytest.approx([1.2, 1.2], **ALIKE)
        assert gap.flags == ()
    for line in found.lines:
        assert line.width.value == pytest.approx(100.0, **ALIKE) and line.radius is None


@pytest.mark.parametrize("radius", [40.0, 80.0, 200.0])
def test_a_rounded_top_to_four_digits(radius):
    """Caps of lines 30 µm wide; their walls begin below the crest by the sag of the cap, and lead on up to it."""
    found = measure_plate(
        plate(gap=60.0, depth=30.0, centres=(95.0, 185.0, 275.0, 365.0), radius=radius, wall=5.0)
    )
    sag = radius - np.sqrt(radius**2 - 15.0**2)
    surface = 0.2  # µm: at most so far below the crest is the surface, being the mean of what lies near it
    for line in found.lines:
        assert line.radius.value == pytest.approx(radius, rel=1e-3)
        assert -0.05 <= line.width.value - (30.0 - 2.0 * sag / 5.0) <= 2.0 * surface / 5.0


def test_without_lips_none_are_found():
    found = measure_plate(plate(noise=0.05))
    for gap in found.gaps:
        assert gap.lips == (None, None)
        assert gap.lip_width.value == gap.width.value


def test_one_lip_may_be_higher_than_the_other():
    made = plate(centres=(300.0,), lip=0.5)
    higher = replace(
        made, z=np.where((made.x > 325.0) & (made.x < 345.0), 5.0 + 2.0 * (made.z - 5.0), made.z)
    )
    (gap,) = measure_plate(higher).gaps
    assert [lip.height.value for lip in gap.lips] == pytest.approx([0.5, 1.0], rel=1e-3)


def test_of_a_deep_relief_only_what_the_ink_sees_counts():
    """A wall that is undercut deep down prints as one that is not."""
    made = plate(depth=400.0, wall=8.0, gap=150.0, centres=(150.0, 400.0))
    (first, second) = measure_plate(made).gaps
    assert first.width.value == pytest.approx(150.0, **ALIKE) and "deeper than 30 µm" in first.flags[0]
    assert first.depth.value == pytest.approx(400.0, rel=1e-3) and second.depth.value == first.depth.value


def test_walls_that_the_instrument_does_not_see_are_told():
    made = plate(gap=60.0)
    hidden = (
        np.min([np.abs(np.abs(made.x - centre) - 27.0) for centre in (150.0, 300.0, 450.0)], axis=0) < 4.0
    )
    found = measure_plate(replace(made, z=np.where(hidden, np.nan, made.z)))
    assert all("was not seen and is interpolated" in gap.flags[0] for gap in found.gaps)
    assert found.gaps[0].width.value == pytest.approx(60.0, abs=4.0)


def test_a_bottom_that_was_not_seen_has_no_depth():
    made = plate(gap=60.0, noise=0.02)
    found = measure_plate(replace(made, z=np.where(np.abs(made.x - 300.0) < 15.0, np.nan, made.z)))
    assert found.gaps[1].depth is None and found.gaps[1].flags[0] == "its bottom was not seen: no depth"
    assert [gap.depth.value for gap in found.gaps[::2]] == pytest.approx([12.0, 12.0], abs=0.02)


def test_stated_uncertainties_cover_errors_of_noise():
    """Of the widths, lip widths, depths and lip heights of 100 noisy scans, at least 90 in 100 lie within two of them."""
    rng, inside = np.random.default_rng(5), []
    for _ in range(35):
        for gap in measure_plate(plate(lip=1.0, noise=0.05, tilt=0.01, rng=rng)).gaps:
            known = ((gap.width, 50.0), (gap.lip_width, 62.0), (gap.depth, 12.0))
            known += tuple((lip.height, 1.0) for lip in gap.lips)
            inside.append([abs(value.value - truth) <= 2.0 * value.error for value, truth in known])
    assert (np.mean(inside, axis=0) >= 0.90).all(), np.mean(inside, axis=0)


def test_a_flat_plate_is_refused():
    with pytest.raises(UnusableInput, match="nothing on it is clearly below the surface"):
        measure_plate(plate(depth=0.0, noise=0.05))
