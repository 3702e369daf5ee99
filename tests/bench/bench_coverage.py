"""Whether lower bounds hold and stated probabilities come true, over many simulated trials; prints, asserts nothing.

    python tests/bench/bench_coverage.py bounds [TRIALS [LAYOUT ...]]
    python tests/bench/bench_coverage.py truths [TRUTHS [TIMES]]

`bounds`: 2,000 trials of the demo's process in each layout unless told otherwise. At the recommended set-up, and at the slow
end of its band, how often the 95 % lower bound of the conformance lies below the true one, with its 95 % binomial interval.

`truths`: 400 processes unless told otherwise, each with one trial in the demo's layout. They are drawn about the demo's:
constants ± 5 % (closures ± 2 µm) or so many TIMES that, effects times 0.5 to 1.5, squares and products times -0.5 to 2.5, variances times
exp(± 0.7), all uniform. At set-ups spread evenly over the trial region, stated less true conformance by tenths of what is stated.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from joblib import Parallel, delayed
from scipy.special import betaincinv

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.trials.trial import Trial
from pwindow.window.calibration import _Runs, _setups
from pwindow.window.confidence import ConformanceInterval, conformance_by_process
from pwindow.window.window import Window, find_window

SETUPS = 120


def bounds_of(window: Window, trial: Trial, truth: Truth, seed: int) -> list[dict]:
    """What one simulated trial states at the ends of its recommended band, and what is true there."""
    try:
        surfaces = pw.fit(simulate_trial(trial, truth, np.random.default_rng(seed)))
        own = find_window(surfaces, window.product, window.study)
        best = own.recommended()
    except UnusableInput:
        return []
    if best is None:
        return []
    runs, found = _Runs.draw(window, truth, np.random.default_rng(11)), []
    for end, speed in (("recommended", best.setup.speed), ("slow end", best.band.low)):
        frame = replace(best.setup, speed=speed).frame(own)
        bound = ConformanceInterval.of(conformance_by_process(own, frame)[0]).at_least
        stated, true = own.joint_conformance(frame)[0], runs.conformance(frame)[0]
        found.append({"end": end, "stated": stated, "true": true, "bound": bound})
    return found


def bounds(window: Window, trials: int, chosen: list[str]) -> None:
    from bench_prior import layouts  # beside this script

    for layout, trial in layouts(window.surfaces.trial).items():
        if chosen and layout not in chosen:
            continue
        start = time.perf_counter()
        own = trial.prints["make_ready"].astype(str)
        truth = replace(Truth.of(window.surfaces), of_print=own)
        work = (delayed(bounds_of)(window, trial, truth, seed) for seed in range(trials))
        rows = pd.DataFrame([row for rows in Parallel(n_jobs=-1)(work) for row in rows])
        print(f"\n{layout}: {len(trial.prints)} prints in {own.nunique()} make-readies, {trials} trials, "
              f"{time.perf_counter() - start:.0f} s")  # fmt: skip
        if rows.empty:
            print("  none recommends a set-up")
            continue
        for end, part in rows.groupby("end"):
            held = int((part["bound"] <= part["true"]).sum())
            low, high = _binomial(held, len(part))
            off = part["stated"] - part["true"]
            print(
                f"  {end}: bound {part['bound'].mean():.3f} lies below the true value in {held / len(part):.4f} "
                f"({low:.4f} to {high:.4f}) of {len(part)}; stated {part['stated'].mean():.3f}, off "
                f"{off.mean():+.4f} ± {off.sem():.4f}",
                flush=True,
            )


def _binomial(held: int, count: int) -> tuple[float, float]:
    """Exact 95 % interval of a share (Clopper & Pearson 1934, Biometrika 26, 404-413)."""
    low = betaincinv(held, count - held + 1, 0.025) if held else 0.0
    high = betaincinv(held + 1, count - held, 0.975) if held < count else 1.0
    return float(low), float(high)


def process(demo: Truth, times: float, rng: np.random.Generator) -> Truth:
    """One of the processes about the demo's."""
    coefficients = []
    for name, design, beta in zip(demo.names, demo.designs, demo.coefficients):
        factor = np.array([_factor(len(term), rng) for term in design.terms])
        off = times * (2.0 if name == "gap_closure" else 0.05)
        coefficients.append(beta * factor + off * rng.uniform(-1.0, 1.0) * np.eye(len(beta))[0])
    size = np.exp(0.35 * rng.uniform(-1.0, 1.0, (3, len(demo.names))))
    return replace(
        demo,
        coefficients=tuple(coefficients),
        make_ready=demo.make_ready * np.outer(size[0], size[0]),
        print_=demo.print_ * np.outer(size[1], size[1]),
        feature=demo.feature * size[2],
    )


def _factor(order: int, rng: np.random.Generator) -> float:
    return 1.0 if order == 0 else rng.uniform(0.5, 1.5) if order == 1 else rng.uniform(-0.5, 2.5)


def truth_of(window: Window, times: float, seed: int) -> Iterator[dict]:
    """Stated and true conformance of one process, at set-ups spread over the trial region."""
    rng = np.random.default_rng(seed)
    truth = process(replace(Truth.of(window.surfaces), growths={}), times, rng)
    runs = _Runs.draw(window, truth, rng)
    (setups,) = _setups(window, SETUPS, rng).values()
    surfaces = pw.fit(simulate_trial(window.surfaces.trial, truth, rng))
    own = find_window(surfaces, window.product, window.study)
    for stated, true in zip(own.joint_conformance(setups), runs.conformance(setups)):
        yield {"truth": seed, "stated": stated, "true": true}


def truths(window: Window, count: int, times: float) -> None:
    work = (delayed(lambda seed: list(truth_of(window, times, seed)))(seed) for seed in range(count))
    table = pd.DataFrame([row for rows in Parallel(n_jobs=-1)(work) for row in rows])
    print(f"\n{count} processes, {len(table)} set-ups")
    everywhere, error = _off(table)
    print(f"  all: stated {table['stated'].mean():.4f} off {everywhere:+.4f} ± {error:.4f}")
    for at, part in table.groupby((table["stated"] * 10.0).astype(int).clip(upper=9)):
        off, error = _off(part)
        print(f"  {at / 10:.1f} to {(at + 1) / 10:.1f}: {len(part):6d} set-ups, stated {part['stated'].mean():.4f} "
              f"off {off:+.4f} ± {error:.4f}")  # fmt: skip


def _off(table: pd.DataFrame) -> tuple[float, float]:
    """Mean of stated less true, and its standard error from process to process."""
    off = table["stated"] - table["true"]
    by_truth = (off - off.mean()).groupby(table["truth"]).sum()
    return float(off.mean()), float(np.sqrt((by_truth**2).sum()) / len(off))


def main(what: str, count: int | None, chosen: list[str]) -> None:
    tag, study = pw.read_product(pw.demo("tag.toml")), pw.read_study(pw.demo("study.toml"))
    window = find_window(pw.fit(pw.read_trial(pw.demo("trial_first.csv"))), tag, study)
    if what == "bounds":
        bounds(window, count or 2000, chosen)
    else:
        truths(window, count or 400, float(chosen[0]) if chosen else 1.0)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else None, sys.argv[3:])
