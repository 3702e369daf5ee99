"""Joint conformance over a map of 60 x 60 set-ups: how fast, and how far from accurate answers.

python tests/bench/bench_probability.py [rectangles]

Everything is measured in one run on one thread of the linear algebra library; nothing is asserted.
Three comparisons: with one call of scipy's multivariate t for each set-up; with the matrix product
that draws of the coefficients cannot do without; and with 20,011 points of the lattice. `rectangles`
(40 unless given) are drawn about random set-ups of the maps, their sides open or not.
"""

from __future__ import annotations

import statistics
import sys
import time
from dataclasses import dataclass

import numpy as np
from scipy.stats import multivariate_t
from threadpoolctl import threadpool_limits

import pwindow as pw
from pwindow.product import Assurance, Pattern, Product, Requirement
from pwindow.window.probability.plackett import quick_probability
from pwindow.window.probability.rectangle import rectangle_probability
from pwindow.window.search.maps import predictive_on_grid, window_map

CELLS = 60
PRESSURE = 50.0
SEED = 20
ACCURATE = 20011
DRAWS, TERMS, RESPONSES = 1000, 10, 3


@dataclass(frozen=True)
class Case:
    """A window with the arguments of a probability at every set-up of its map."""

    name: str
    window: pw.window.Window
    rectangle: tuple


def four_requirements(count: int) -> Product:
    """Line resistance, line width, line height, and a gap limited on both sides."""
    limits = {
        "line_resistance": (None, 300.0, {"length": 80.0}),
        "line_width": (None, 65.0, {}),
        "line_height": (0.6, None, {}),
        "gap": (20.0, 34.0, {"count": count}),
    }
    requirements = tuple(Requirement(name, *limit) for name, limit in limits.items())
    pattern = Pattern(plate="laser-imaged", plate_width=30.0, plate_gap=60.0, direction=0.0)
    return Product("part", requirements, pattern, Assurance(speed_tolerance=0.02))


def cases() -> list[Case]:
    surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    study = pw.read_study(pw.demo("study.toml"))
    products = {
        "four requirements, every one of 48 gaps": four_requirements(48),
        "four requirements, one gap": four_requirements(1),
        "demo tag": pw.read_product(pw.demo("tag.toml")),
        "demo mesh": pw.read_product(pw.demo("mesh.toml")),
    }
    return [case(name, pw.find_window(surfaces, product, study)) for name, product in products.items()]


def case(name: str, window: pw.window.Window) -> Case:
    prints, plate = window.surfaces.trial.prints, window.plates[0]
    axes = (np.linspace(prints[name].min(), prints[name].max(), CELLS) for name in ("cell_volume", "speed"))
    found = predictive_on_grid(window, plate, PRESSURE, *axes)
    _, lower, upper = window.limits[plate].bounds()
    return Case(name, window, (lower, upper, found.mean, found.scale, found.df))


def milliseconds(ask, times: int = 15) -> float:
    """Median time of a call."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        ask()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken) * 1e3


def by_scipy(lower, upper, mean, scale, df) -> np.ndarray:
    return np.array(
        [
            multivariate_t.cdf(upper, loc, shape, df, lower_limit=lower, random_state=1)
            for loc, shape in zip(mean, scale)
        ]
    )


def bare_product() -> float:
    rng = np.random.default_rng(SEED)
    setups = rng.normal(size=(CELLS * CELLS, TERMS))
    draws = rng.normal(size=(TERMS, DRAWS * RESPONSES))
    return milliseconds(lambda: setups @ draws)


def compare(each: Case, product: float) -> None:
    own = milliseconds(lambda: quick_probability(*each.rectangle))
    start = time.perf_counter()
    theirs = by_scipy(*each.rectangle)
    calls = (time.perf_counter() - start) * 1e3
    found = quick_probability(*each.rectangle)
    accurate = rectangle_probability(*each.rectangle, points=ACCURATE, settled=0.0)
    print(f"\n{each.name}: {len(each.rectangle[0])} limited quantities, df {each.rectangle[-1]:.1f}")
    print(f"  joint probability, smallest to largest     {found.min():10.4f} to {found.max():.4f}")
    print(f"  3,600 set-ups                              {own:10.2f} ms")
    print(f"  scipy, a call for each set-up              {calls:10.0f} ms   {calls / own:8.0f} times as long")
    print(f"  bare product of {DRAWS} draws                 {product:10.2f} ms   {own / product:8.2f} of it")
    print(f"  largest difference from scipy              {np.abs(found - theirs).max():10.5f}")
    print(f"  largest difference from {ACCURATE} points      {np.abs(found - accurate).max():10.5f}")
    print(f"  scipy from {ACCURATE} points                   {np.abs(theirs - accurate).max():10.5f}")


def slider(each: Case) -> None:
    """Whole maps at pressures that were not asked for before."""
    plate, taken = each.window.plates[0], []
    for pressure in np.linspace(25.3, 74.7, 25):
        taken.append(milliseconds(lambda at=pressure: window_map(each.window, plate, at), times=1))
    ordered = sorted(taken)
    print(f"  {each.name:42s} median {ordered[12]:7.2f} ms   largest {ordered[-1]:7.2f} ms")


def random_rectangle(mean, scale, rng) -> tuple[np.ndarray, np.ndarray]:
    centre = rng.integers(len(mean))
    deviation = np.sqrt(np.diag(scale[centre]))
    lower, upper = (
        mean[centre] + sign * deviation * np.exp(rng.uniform(np.log(0.2), np.log(4.0), len(deviation)))
        for sign in (-1, 1)
    )
    side = rng.integers(3, size=len(deviation))
    return np.where(side == 0, -np.inf, lower), np.where(side == 1, np.inf, upper)


def random_rectangles(known: list[Case], count: int) -> None:
    """Compared where the quick answer is furthest from 499 points of the lattice, and anywhere."""
    rng, worst, times, ridges = np.random.default_rng(SEED), {}, [], 0
    for _ in range(count):
        each = known[rng.integers(len(known))]
        mean, scale, df = each.rectangle[2:]
        ends = random_rectangle(mean, scale, rng)
        times.append(milliseconds(lambda ask=(*ends, mean, scale, df): quick_probability(*ask), times=3))
        found = quick_probability(*ends, mean, scale, df)
        apart = np.abs(found - rectangle_probability(*ends, mean, scale, df, points=499))
        some = np.unique([*np.argsort(apart)[-150:], *rng.integers(len(mean), size=100)])
        accurate = rectangle_probability(*ends, mean[some], scale[some], df, points=ACCURATE, settled=0.0)
        worst.setdefault(len(ends[0]), []).append(np.abs(found[some] - accurate).max())
        ridges += found.max() < 0.4
    print(f"\n{count} random rectangles (seed {SEED}), {ridges} of them nowhere above 0.4")
    print(f"  median {statistics.median(times):.2f} ms, largest {max(times):.2f} ms")
    for size, errors in sorted(worst.items()):
        print(
            f"  {size} limited quantities: {len(errors):3d} rectangles, largest difference {max(errors):.5f}"
        )


def main() -> None:
    known = cases()
    product = bare_product()
    for each in known:
        compare(each, product)
    print(f"\nThe whole map at a new pressure, {CELLS} x {CELLS}")
    for each in known:
        slider(each)
    random_rectangles(known, int(sys.argv[1]) if len(sys.argv) > 1 else 40)


if __name__ == "__main__":
    with threadpool_limits(1, user_api="blas"):
        main()
