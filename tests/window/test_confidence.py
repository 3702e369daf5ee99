"""How sure a conformance probability is: its parts by brute force, and that outlets agree."""

import numpy as np
import pytest

import pwindow as pw
from pwindow.surfaces.posterior.processes import Processes
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.window.confidence import (
    ConformanceInterval,
    conformance_by_process,
    conformance_interval,
    sampling_error,
)
from pwindow.window.setup import Setup
from pwindow.wording import bound


@pytest.fixture(scope="module", params=["tag", "mesh"])
def window(request, demo_surfaces, study):
    product = pw.read_product(pw.demo(f"{request.param}.toml"))
    return pw.find_window(demo_surfaces, product, study)


def test_the_mean_over_processes_is_the_stated_conformance(window):
    """Their shares of conforming prints average to what is stated, wherever that lies."""
    best = window.recommended().setup
    speeds = np.linspace(32.0, 118.0, 15)
    setups = window.setups(best.plate, speeds, best.roll.cell_volume, best.pressure)
    stated = window.joint_conformance(setups)
    assert stated.min() < 0.3 and stated.max() > 0.95
    assert conformance_by_process(window, setups).mean(axis=1) == pytest.approx(stated, abs=0.008)


def test_the_demo_is_less_sure_than_it_looks(tag_window):
    """Median and lower bound of p(θ) stand apart from the 95.0 % that is stated."""
    setup = tag_window.recommended().setup.frame(tag_window)
    shares = conformance_by_process(tag_window, setup)[0]
    assert np.median(shares) == pytest.approx(0.976, abs=1e-3)
    found = conformance_interval(tag_window, setup)
    assert found.at_least == pytest.approx(0.837, abs=1e-3) == found.low
    assert (found.level, found.confidence) == (0.9, 0.95) and found.high > 0.99


def test_a_share_is_that_of_prints_drawn_one_by_one(tag_window):
    """40,000 prints of some processes, each with the worst of its 48 gaps, against the integral."""
    window, rng = tag_window, np.random.default_rng(3)
    setup = window.recommended().setup.frame(window)
    processes, limits = Processes.of(window.joint, 1920), window.limits[window.plates[0]]
    shares, means = conformance_by_process(window, setup)[0], processes.means(setup)[0]
    drift = [
        (window.joint.means(high) - window.joint.means(low))[0] / 2
        for low, high in (
            [
                setup.assign(**{one.setting: setup[one.setting] + sign * one.half_width(setup[one.setting])})
                for sign in (-1, 1)
            ]
            for one in window.tolerances
        )
    ]
    order = np.argsort(shares)
    for at in order[[60, 300, 700]]:
        size = processes.deviations(setup)[0, at]
        prints = rng.multivariate_normal(means[at], processes.spread[at] * np.outer(size, size), 40_000)
        prints += sum(rng.uniform(-1, 1, (len(prints), 1)) * each for each in drift)
        value = dict(zip(window.joint.names, prints.T))
        gaps = processes.between[at, window.joint.names.index("gap_closure")] * rng.standard_normal(
            (len(prints), 48)
        )
        ink = rng.normal(0.0, window.study.ink.resistivity_spread, len(prints))
        met = np.ones(len(prints), bool)
        for requirement in window.product.requirements:
            item = limits.quantities[requirement.name]
            base = sum(weight * value[name] for name, weight in item.weights.items()) + item.constant
            base = base + ink * (item.error == "ink")
            worst = (gaps.max(axis=1), gaps.min(axis=1)) if requirement.name == "gap" else (0.0, 0.0)
            if requirement.least is not None:
                met &= item.natural(base + worst[0]) >= requirement.least
            if requirement.most is not None:
                met &= item.natural(base + worst[1]) <= requirement.most
        assert shares[at] == pytest.approx(met.mean(), abs=0.012)
        assert 0.3 < met.mean() < 0.999, "a share that tells something"


def test_bands_and_the_recommended_set_up_have_the_bound_of_their_set_ups(tag_window):
    best = tag_window.recommended()
    frame = best.setup.frame(tag_window)
    assert best.interval == conformance_interval(tag_window, frame)
    assert best.band.fastest_at_least == pytest.approx(best.interval.at_least)
    for _, band in tag_window.speed_bands().iterrows():
        assert band["conformance_at_fastest_at_least"] < band["conformance_at_fastest"]
        assert band["conformance_at_safest_at_least"] > band["conformance_at_fastest_at_least"]


def test_of_a_large_share_counts_are_of_a_thousand_and_a_sure_one_is_not_called_small():
    sure = ConformanceInterval(low=0.995, high=0.999, level=0.9, at_least=0.995, confidence=0.95)
    assert sure.sentence(0.998) == (
        "of 1000 prints, each from a new make-ready, about 998 would meet all requirements; with 95 % confidence at least 995"
    )


def test_a_bound_reads_the_same_wherever_it_stands(tag_window):
    """0.8634 is 86.3 % and 86 of 100: cut in words, in tables and on the run sheet alike."""
    setup = Setup("laser-imaged", tag_window.roll("1318"), 50.0, 83.1)
    found = conformance_interval(tag_window, setup.frame(tag_window))
    assert found.at_least == pytest.approx(0.8634, abs=5e-4)
    assert found.sentence(0.951).endswith("at least 86")
    assert bound(found.to_dict()).endswith("at least 86.3 %")
    sheet = pw.review.run_sheet_html(pw.review.run_sheet_of(tag_window, setup=setup))
    assert (
        "About 95 of 100 prints, each from a new make-ready (perhaps as few as 86), meet every limit" in sheet
    )


@pytest.mark.slow
def test_the_sampling_error_is_that_from_one_seed_to_the_next(demo_trial):
    """Standard deviation of the mean over processes among fits that differ by their seed alone."""
    means, errors = [], []
    for seed in range(10):
        surfaces = pw.fit(demo_trial, plan=Plan(seed=seed))
        window = pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml")))
        setup = window.setups("laser-imaged", 97.8, 7.2, 50.0)
        means.append(conformance_by_process(window, setup)[0].mean())
        errors.append(sampling_error(window, setup))
    ratio = np.std(means, ddof=1) / np.mean(errors)
    assert 0.55 < ratio < 1.6, "99 % of ten normal values are within this of their deviation"
