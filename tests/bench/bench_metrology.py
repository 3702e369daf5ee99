"""Bias and coverage of what is measured on profiles of known shapes and on plates, and how long a thousand take; asserts
nothing.

    python tests/bench/bench_metrology.py [ERRORS]

For each shape, noise (share of the height, a point) and number of points: bias of height, width, area and gap, their spread
beside the uncertainty that is stated, and the share of ERRORS (2,000 unless told otherwise) within two standard
uncertainties, with its 95 % binomial interval. The instrument is taken as exact.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from scipy.special import betaincinv

sys.path.insert(0, str(Path(__file__).parents[2]))

from pwindow.errors import UnusableInput
from pwindow.metrology.features import measure
from pwindow.metrology.instruments import Instrument
from pwindow.metrology.plates import measure_plate
from tests.helpers.profiles import across, double_ridge, ellipse, parabola, plate, rectangle, triangle

EXACT = Instrument("exact", 0.0, 0.0, 0.0, "none")
SHAPES = (rectangle, parabola, ellipse, triangle, double_ridge)
CASES = ((0.05, 700), (0.05, 2000), (0.02, 2000))


def true_values(shape) -> dict[str, float]:
    fine = measure(across(shape, points=80_001), EXACT)
    line, gap = fine.lines[2], fine.gaps[2]
    width = 60.0 if shape is rectangle else line.width.value
    return {
        "height": line.height.value,
        "width": width,
        "area": 42.0 if shape is rectangle else line.area.value,
        "gap": gap.width.value + line.width.value - width,
    }


def errors(shape, noise: float, points: int, count: int, rng: np.random.Generator):
    """Of each quantity, measured less true, and the uncertainty that is stated."""
    true, found = true_values(shape), {"height": [], "width": [], "area": [], "gap": []}
    while len(found["gap"]) < count:
        moved = np.array([100.0, 220.0, 340.0, 460.0, 580.0, 700.0]) + rng.uniform(-2.0, 2.0, 6)
        trace = across(shape, centres=moved, points=points, noise=noise, tilt=rng.normal(0.0, 0.01), rng=rng)
        try:
            one = measure(trace, EXACT)
        except UnusableInput:  # a foot that lies in the noise
            continue
        if len(one.lines) != 6:
            continue
        for line in one.lines:
            for name in ("height", "width", "area"):
                value = getattr(line, name)
                found[name].append((value.value - true[name], value.error))
        for gap, apart in zip(one.gaps, np.diff(moved)):
            found["gap"].append((gap.width.value - true["gap"] - (apart - 120.0), gap.width.error))
    return true, {name: np.array(pairs[:count]) for name, pairs in found.items()}


def plate_errors(noise: float, count: int, rng: np.random.Generator):
    """The same of gaps with lips, and of lines with rounded tops."""
    true = {"gap": 50.0, "lip width": 62.0, "depth": 12.0, "lip height": 1.0, "radius": 45.0}
    found = {name: [] for name in true}
    while len(found["radius"]) < count:
        tilt = rng.normal(0.0, 0.01)
        for gap in measure_plate(plate(lip=1.0, noise=noise, tilt=tilt, points=1201, rng=rng), EXACT).gaps:
            values = {"gap": gap.width, "lip width": gap.lip_width, "depth": gap.depth}
            for name, value in values.items():
                found[name].append((value.value - true[name], value.error))
            found["lip height"] += [(lip.height.value - 1.0, lip.height.error) for lip in gap.lips if lip]
        centres = (95.0, 185.0, 275.0, 365.0)
        made = plate(
            gap=60.0, depth=30.0, centres=centres, radius=45.0, wall=5.0, noise=noise, points=721, rng=rng
        )
        tops = [line.radius for line in measure_plate(made, EXACT).lines]
        found["radius"] += [(top.value - 45.0, top.error) for top in tops if top]
    return true, {name: np.array(pairs[:count]) for name, pairs in found.items()}


def report(true: dict[str, float], found: dict[str, np.ndarray]) -> None:
    for name, pairs in found.items():
        (off, stated), count = pairs.T, len(pairs)
        held = int((np.abs(off) <= 2.0 * stated).sum())
        low = betaincinv(held, count - held + 1, 0.025)
        high = betaincinv(held + 1, count - held, 0.975) if held < count else 1.0
        print(
            f"  {name:10} bias {100 * off.mean() / true[name]:+6.2f} %  spread {100 * off.std() / true[name]:5.2f} %  "
            f"stated {100 * np.median(stated) / true[name]:5.2f} %  covered {held / count:.3f} ({low:.3f} to {high:.3f})",
            flush=True,
        )


def main(count: int) -> None:
    rng = np.random.default_rng(3)
    for noise in (0.02, 0.1):
        print(f"\nplates, noise {noise:g} µm, steps of 0.5 µm")
        report(*plate_errors(noise, count, rng))
    for shape in SHAPES:
        for noise, points in CASES:
            true, found = errors(shape, noise, points, count, rng)
            print(f"\n{shape.__name__}, noise {noise:g}, {points} points over 800 µm")
            report(true, found)
    traces = [across(parabola, noise=0.02, rng=rng) for _ in range(200)]
    start = time.perf_counter()
    for trace in traces:
        measure(trace)
    print(
        f"\n1,000 traces of 2,000 points, six lines each: {5 * (time.perf_counter() - start):.1f} s in one process"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
