"""Gaps that are not spread as normal ones held against what is stated of the worst of them; prints, asserts nothing.

    python tests/bench/bench_tails.py [TRIALS]

Simulated trials of the demo (40 of each kind unless told otherwise), whose gaps lie about their print as normal,
lopsided or heavy-tailed ones; for the demo's tag with other numbers of gaps and assurances: stated against true
conformance at the recommended set-up, and at the slow end of its band, where gaps limit. Each with the shapes that the
trial leaves possible, and with normal gaps taken for granted.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from unittest import mock

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

import pwindow as pw
from pwindow.product import Product
from pwindow.surfaces import simulation
from pwindow.surfaces.posterior.gap_shape import GapShape
from pwindow.surfaces.simulation import Truth
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.calibration import _Runs

Draw = Callable[[np.random.Generator, int], np.ndarray]
FAMILIES: dict[str, Draw] = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "skewness 1": lambda rng, n: (rng.gamma(4.0, size=n) - 4.0) / 2.0,
    "2 % close 3 more": lambda rng, n: (
        (rng.standard_normal(n) + 3.0 * (rng.random(n) < 0.02) - 0.06) / np.sqrt(1.1764)
    ),
    "t, 5 degrees": lambda rng, n: rng.standard_t(5, n) / np.sqrt(5 / 3),
}
KINDS = (
    ("normal", 48, 0.95),
    ("normal", 200, 0.9),
    ("2 % close 3 more", 200, 0.9),
    ("skewness 1", 200, 0.95),
    ("t, 5 degrees", 200, 0.95),
    ("normal", 2000, 0.99),
    ("skewness 1", 2000, 0.99),
)
NORMAL = GapShape(skews=np.zeros(1), tails=np.zeros(1), weights=np.ones(1), inspected=0, p=1.0, skewness=0.0)
_AT_ONCE = 200


class Gaps:
    """Random numbers of which standard normal ones come from a family."""

    def __init__(self, rng: np.random.Generator, draw: Draw):
        self.rng, self.draw = rng, draw

    def standard_normal(self, count: int) -> np.ndarray:
        return self.draw(self.rng, count)


def simulated(trial, truth: Truth, draw: Draw, seed: int):
    fill = simulation._fill_gaps
    with mock.patch.object(simulation, "_fill_gaps", lambda *given: fill(*given[:-1], Gaps(given[-1], draw))):
        return simulation.simulate_trial(trial, truth, np.random.default_rng(seed))


def next_runs(window, truth: Truth, draw: Draw, count: int) -> _Runs:
    """Runs of which the worst of the gaps comes from a family."""
    runs, rng = _Runs.draw(window, truth, np.random.default_rng(5)), np.random.default_rng(6)
    parts = [
        draw(rng, _AT_ONCE * count).reshape(_AT_ONCE, count) for _ in range(len(runs.largest) // _AT_ONCE)
    ]
    spread = dict(zip(truth.names, truth.feature))["gap_closure"]
    largest, smallest = (
        spread * np.concatenate([end(part, axis=1) for part in parts]) for end in (np.max, np.min)
    )
    return replace(runs, largest=largest, smallest=smallest)


def asked(tag: Product, count: int, level: float) -> Product:
    requirements = tuple(
        replace(one, parameters={**one.parameters, "count": count}) if one.name == "gap" else one
        for one in tag.requirements
    )
    return replace(tag, requirements=requirements).with_assurance(level)


def judge(known, product: Product, study, draw: Draw, count: int, seed: int) -> Iterator[dict]:
    """Stated and true at the ends of the recommended band of one simulated trial, by either rule."""
    truth = Truth.of(known)
    surfaces = pw.fit(simulated(known.trial, truth, draw, seed))
    runs = next_runs(pw.find_window(known, product, study), truth, draw, count)
    for rule, shape in (("normal", NORMAL), ("shapes", GapShape.of(surfaces.trial))):
        with mock.patch.object(Surfaces, "gap_shape", shape):
            window = pw.find_window(surfaces, product, study)
            best = window.recommended()
            if best is None:
                continue
            for end, setup in (("fast", best.setup), ("slow", replace(best.setup, speed=best.band.low))):
                frame = setup.frame(window)
                yield {
                    "rule": rule,
                    "end": end,
                    "stated": window.joint_conformance(frame)[0],
                    "true": runs.conformance(frame)[0],
                }


def main(trials: int) -> None:
    known = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    tag, study = pw.read_product(pw.demo("tag.toml")), pw.read_study(pw.demo("study.toml"))
    for family, count, level in KINDS:
        product, draw = asked(tag, count, level), FAMILIES[family]
        work = (
            delayed(lambda *given: list(judge(*given)))(known, product, study, draw, count, seed)
            for seed in range(trials)
        )
        rows = pd.DataFrame([row for rows in Parallel(n_jobs=-1)(work) for row in rows])
        print(f"\n{family}, worst of {count}, assurance {level:g}")
        table = rows.groupby(["rule", "end"]).agg(
            trials=("true", "size"), stated=("stated", "mean"), true=("true", "mean"), error=("true", "sem")
        )
        print(table.round(4).to_string(), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
