"""Set-ups that are assured with a confidence: by brute force, and alike wherever they are told."""

import dataclasses

import numpy as np
import pytest

import pwindow as pw
from pwindow.errors import DeclarationProblem
from pwindow.window.bands import SPEED_STEP, SpeedBand
from pwindow.window.confidence import (
    conformance_at_least,
    conformance_by_process,
    conformance_interval,
    reach_under_each,
    reached,
)
from pwindow.window.search.inner import _least, inner_set
from pwindow.window.search.maps import grid_setups, window_map
from pwindow.window.search.starting import closest_setup
from pwindow.window.shortfall.shortfall import shortfall
from pwindow.window.shortfall.words import conflicts, promise
from pwindow.window.trade_offs.frontier import frontier


def held(demo_surfaces, study, product, confidence):
    return pw.find_window(demo_surfaces, product.with_confidence(confidence), study)


@pytest.fixture(scope="module")
def sure(demo_surfaces, study, tag):
    return held(demo_surfaces, study, tag, 0.9)


def along(window, pressure, speeds):
    best = window.rolls[-1]
    return window.setups(window.plates[0], speeds, best.cell_volume, pressure)


@pytest.mark.parametrize("which", ["tag", "mesh"])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.99])
def test_a_bound_is_the_quantile_over_all_processes(which, confidence, demo_surfaces, study, request):
    """Every process integrated, against those alone that decide; low, high and between."""
    window = held(demo_surfaces, study, request.getfixturevalue(which), confidence)
    setups = along(window, 50.0, np.linspace(32.0, 118.0, 25))
    brute = np.quantile(conformance_by_process(window, setups), 1.0 - confidence, axis=1)
    assert brute.min() < 0.25 and brute.max() > 0.9
    np.testing.assert_allclose(conformance_at_least(window, setups, confidence), brute, atol=1e-9)
    near = np.abs(brute - 0.95) < 0.03
    quick = conformance_at_least(window, setups, confidence, 0.95)
    np.testing.assert_allclose(quick[near], brute[near], atol=1e-9)
    assert ((quick >= 0.95) == (brute >= 0.95)).all()


def test_the_edge_of_the_map_has_no_kink_of_its_own(demo_surfaces, study, tag):
    """Up to the roll of most volume: as all processes have it at each volume, and as smooth."""
    window = held(demo_surfaces, study, tag, 0.9)
    shown = window_map(window, window.plates[0], 50.0, 80)
    low, _ = shown.edges(0.95)
    top = np.arange(80)[-16::3]
    speeds = np.arange(38.0, 62.0, 0.5)
    setups = grid_setups(window, window.plates[0], 50.0, shown.volumes[top], speeds)
    exact = conformance_at_least(window, setups, 0.9).reshape(len(top), len(speeds))
    edges = [np.interp(0.95, row, speeds) for row in exact]
    np.testing.assert_allclose(low[top], edges, atol=0.9)
    np.testing.assert_allclose(np.diff(low[top]), np.diff(edges), atol=1.2)


def test_without_a_confidence_the_stated_conformance_decides(tag_window):
    setups = along(tag_window, 50.0, [60.0, 100.0])
    stated = tag_window.joint_conformance(setups)
    np.testing.assert_array_equal(reached(tag_window, setups), stated)
    np.testing.assert_array_equal(reached(tag_window, setups, stated=stated / 2), stated / 2)
    assert tag_window.least_stated == tag_window.level


def test_bands_end_where_one_step_more_is_not_assured(sure):
    table, checked = sure.speed_bands(), 0
    for _, row in table.iterrows():
        band = SpeedBand.of(row.to_dict(), sure)
        for end, step in (("low", -SPEED_STEP), ("high", SPEED_STEP)):
            at = getattr(band, end)
            setups = sure.setups(band.plate, [at, at + step], band.roll.cell_volume, band.pressure)
            inside, outside = np.quantile(conformance_by_process(sure, setups), 0.1, axis=1)
            assert inside >= 0.95
            if not row[f"trial_ends_{end}"]:
                checked += 1
                assert outside < 0.95
        assert band.fastest_at_least >= 0.95 and band.safest_at_least >= band.fastest_at_least
    assert checked > 8


def test_the_surer_the_slower(demo_surfaces, study, tag, tag_window):
    fastest = [held(demo_surfaces, study, tag, one).recommended().setup.speed for one in (0.5, 0.8, 0.95)]
    assert fastest == sorted(fastest, reverse=True) and len(set(fastest)) == 3
    assert fastest[0] > tag_window.recommended().setup.speed > fastest[1]


def test_what_is_said_of_it(sure):
    best = sure.recommended()
    assert "95 % with 90 % confidence" in best.why and "lower bound" in best.why
    assert best.interval.confidence == 0.9 and best.interval.at_least >= 0.95
    subject = pw.review.report_of(sure)
    assert subject.essentials.promise.assured
    faster = dataclasses.replace(best.setup, speed=best.setup.speed + 1.0)
    less = pw.review.report_of(sure, setup=faster)
    assert less.essentials.promise.joint > 0.95 and not less.essentials.promise.assured


@pytest.mark.parametrize("pressure", [20.0, 37.0, 50.0])
def test_the_map_tells_it_between_its_set_ups(sure, pressure):
    """To 0.02 about the level, from 15 speeds and 15 volumes and half of the processes."""
    shown = window_map(sure, "laser-imaged", pressure, 40)
    volumes, speeds = shown.volumes[::9], shown.speeds[::3]
    for volume, row in zip(volumes, shown.at_least[::9, ::3]):
        setups = sure.setups("laser-imaged", speeds, volume, pressure)
        exact = conformance_at_least(sure, setups, 0.9)
        near = (exact > 0.9) & (exact < 0.99) & np.isfinite(row)
        np.testing.assert_allclose(row[near], exact[near], atol=0.02)
    assert "conformance_at_least" in shown.to_frame()
    assert window_map(sure, "laser-imaged", pressure, 10).held.shape == (10, 10)


def test_a_frontier_of_speed_and_silver_is_of_set_ups_in_bands(sure):
    bands = sure.speed_bands()
    table = frontier(sure, bands=bands)
    rows = table[table["trade"].str.contains("speed and silver") & (table["pressure_um"] == 50.0)]
    assert rows["assured"].all() and len(rows)
    for _, row in rows.iterrows():
        own = bands[(bands["roll"] == row["roll"]) & (bands["pressure_um"] == 50.0)]
        assert own["speed_low_m_min"].iloc[0] <= row["speed_m_min"] <= own["speed_high_m_min"].iloc[0]


class TestAllAtOnce:
    def test_the_largest_set_by_hand(self):
        """Five processes, four set-ups; in the order of their shares, until fewer than 60 % reach the level in all."""
        reaching = np.array(
            [[1, 1, 1, 1, 1], [1, 1, 1, 1, 0], [0, 1, 1, 1, 0], [0, 0, 1, 1, 0]], bool
        )  # shares 1, 0.8, 0.6, 0.4; together 1, 0.8, 0.6, 0.4
        assert _least(reaching, 0.6) == 0.6
        assert _least(reaching, 0.7) == 0.8
        assert _least(reaching[3:], 0.5) is None

    def test_it_lies_inside_of_what_is_assured_and_holds_together(self, sure):
        found = inner_set(sure, "laser-imaged", 50.0)
        assert 0.9 < found.least <= 1.0
        volume, speed = (grid.ravel() for grid in np.meshgrid(found.volumes, found.speeds, indexing="ij"))
        inside = np.nan_to_num(found.share.ravel()) >= found.least
        some = np.flatnonzero(inside)[::7]
        setups = sure.setups("laser-imaged", speed[some], volume[some], 50.0)
        reaching = reach_under_each(sure, setups)
        assert (reaching.mean(axis=1) >= 0.9).all()
        assert 0.88 <= reaching.all(axis=0).mean() < 1.0
        assured = np.nan_to_num(found.share.ravel()) >= 0.9
        assert inside.sum() < assured.sum()

    def test_a_confidence_must_be_asked_for(self, tag_window):
        with pytest.raises(ValueError, match="confidence"):
            inner_set(tag_window, "laser-imaged", 50.0)


@pytest.fixture(scope="module")
def beyond(demo_surfaces, study, tag):
    return pw.find_window(demo_surfaces, tag.with_assurance(0.999).with_confidence(0.99), study)


def test_the_closest_says_both(beyond):
    assert beyond.recommended() is None
    found, closest = shortfall(beyond), closest_setup(beyond)
    frame = closest.setup.frame(beyond)
    assert closest.at_least == pytest.approx(conformance_interval(beyond, frame).at_least, abs=1e-9)
    assert "with 99 % confidence" in promise(found)
    assert promise(found).endswith(
        f", with 99 % confidence at least {100 * closest.at_least // 0.1 / 10:.1f} %."
    )
    assert closest.joint >= 0.999 and "more make-readies would help" in conflicts(found)[0]


def test_a_remedy_is_assured(beyond, demo_surfaces, study):
    one = next(one for one in shortfall(beyond).loosenings if one.remedy is not None)
    (requirement,) = [each for each in beyond.product.requirements if each.name == one.side.requirement.name]
    looser = dataclasses.replace(requirement, **{one.side.end: one.value})
    requirements = tuple(looser if each is requirement else each for each in beyond.product.requirements)
    changed = pw.find_window(
        demo_surfaces, dataclasses.replace(beyond.product, requirements=requirements), study
    )
    assert conformance_interval(changed, one.remedy.setup.frame(changed)).at_least >= 0.999


@pytest.mark.parametrize("text, value", [('"90 %"', 0.9), ("0.9", 0.9), ('"50 %"', 0.5)])
def test_a_product_file_asks_for_it(tmp_path, text, value):
    product = written(tmp_path, text)
    assert product.assurance.confidence == pytest.approx(value)
    assert product.assurance.words == f"95 % with {100 * value:g} % confidence"


@pytest.mark.parametrize("text", ['"40 %"', '"100 %"', '"95 µm"', '"sure"', "true", "0.3"])
def test_what_is_no_confidence_is_refused(tmp_path, text):
    with pytest.raises(DeclarationProblem, match="confidence"):
        written(tmp_path, text)


def test_a_confidence_in_code_is_checked_too(tag):
    assert tag.with_confidence(None) == tag
    with pytest.raises(DeclarationProblem, match="50 %"):
        tag.with_confidence(0.3)


def written(folder, text):
    lines = (
        pw.demo("tag.toml")
        .read_text(encoding="utf-8")
        .replace("[assurance]", f"[assurance]\nconfidence = {text}")
    )
    assert "confidence" in lines
    file = folder / "product.toml"
    file.write_text(lines, encoding="utf-8")
    return pw.read_product(file)
