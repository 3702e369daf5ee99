"""The range over the tails that a trial leaves possible."""

from dataclasses import replace

import pytest

import pwindow as pw
from pwindow.window.tails import TailRange, tail_range


def asking_for(tag, count):
    return replace(
        tag,
        requirements=tuple(
            replace(one, parameters={**one.parameters, "count": count}) if one.name == "gap" else one
            for one in tag.requirements
        ),
    )


@pytest.fixture(scope="module")
def ranged(tag, demo_surfaces, study):
    """Range and stated conformance of one set-up, by the number of gaps."""

    def of(count):
        window = pw.find_window(demo_surfaces, asking_for(tag, count), study)
        setup = window.setups("laser-imaged", 80.0, 7.2, 50.0)
        return tail_range(window, setup), float(window.joint_conformance(setup)[0])

    return of


def test_there_is_none_of_as_many_gaps_as_the_trial_compares(ranged):
    assert ranged(48)[0] is None and ranged(378)[0] is None


def test_it_holds_what_is_stated_and_widens_with_the_number(ranged):
    few, stated = ranged(400)
    assert few.low < stated < few.high
    many, stated = ranged(4000)
    assert many.low < stated < many.high
    assert many.high - many.low > few.high - few.low


def test_one_possible_shape_leaves_one_figure(tag, study, demo_surfaces):
    shape = demo_surfaces.gap_shape
    alone = replace(shape, skews=shape.skews[:1], tails=shape.tails[:1], weights=shape.weights[:1] * 0 + 1.0)
    surfaces = replace(demo_surfaces)
    surfaces.__dict__["gap_shape"] = alone
    window = pw.find_window(surfaces, asking_for(tag, 1000), study)
    setup = window.setups("laser-imaged", 80.0, 7.2, 50.0)
    found = tail_range(window, setup)
    assert found == TailRange(found.low, found.low)
    assert found.low == pytest.approx(window.joint_conformance(setup)[0], abs=1e-4)
