"""Priors of the spreads held against known processes; prints, asserts nothing.

    python tests/bench/bench_prior.py [TRIALS [LAYOUT ...]]

Simulated trials of the demo's process (100 of each kind unless told otherwise), in several layouts, with make-readies that
differ as much as the demo's, √5 times as much and √5 times less. For each prior: how often a true standard deviation lies
beyond the 5 % and the 95 % quantiles of its posterior; stated less true conformance at set-ups of which 0.8 to 0.99 is
stated, and at the fastest of which 0.9 or more is; and how often the lower 95 % bound there lies below the true one.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.trials.trial import MeasuredTrial, Trial
from pwindow.window.calibration import _Runs, _setups
from pwindow.window.confidence import ConformanceInterval, conformance_by_process
from pwindow.window.window import Window, find_window

PRIORS = {
    "half-t, scale 0.25": Plan(width=0.25),
    "half-t, scale 0.5": Plan(width=0.5),
    "half-t, scale 0.7": Plan(width=0.7),
}
RATIOS = (0.2, 1.0, 5.0)
SETUPS = 60


def layouts(trial: Trial) -> Mapping[str, Trial]:
    """Parts of a trial, or its prints in other make-readies."""
    readies = trial.prints["make_ready"].unique()
    own = trial.features.assign(make_ready="own " + trial.features["print"].astype(str))
    sixteen = np.random.default_rng(3).choice(trial.prints.index, 16, replace=False)
    return {
        "demo": trial,
        "two thirds": _part(trial, ~trial.features["make_ready"].isin(readies[::3])),
        "16 prints": _part(trial, trial.features["print"].isin(sixteen)),
        "a print each": MeasuredTrial(own, trial.pressure_unit, trial.files),
    }


def _part(trial: Trial, kept: pd.Series) -> Trial:
    return MeasuredTrial(trial.features[kept], trial.pressure_unit, trial.files)


def processes(window: Window) -> Iterator[tuple[float, Truth]]:
    """The demo's process with make-readies that differ more or less."""
    demo = Truth.of(window.surfaces)
    for ratio in RATIOS:
        yield ratio, replace(demo, make_ready=demo.make_ready * ratio)


def judge(window: Window, trial: Trial, truth: Truth, plan: Plan, seed: int) -> dict | None:
    """One simulated trial under one prior; None where it cannot be fitted or judged."""
    drawn = simulate_trial(trial, truth, np.random.default_rng(seed))
    try:
        again = find_window(pw.fit(drawn, plan=plan), window.product, window.study)
    except UnusableInput:
        return None
    draws = again.surfaces.joint.draws
    spreads = np.sqrt(np.einsum("sii->si", draws.make_ready + draws.print_))
    true = np.sqrt(np.diag(truth.make_ready + truth.print_))
    low, high = np.quantile(spreads, [0.05, 0.95], axis=0)
    (setups,) = _setups(window, SETUPS, np.random.default_rng(7)).values()
    stated = again.joint_conformance(setups)
    runs = _Runs.draw(again, truth, np.random.default_rng(11))
    realised = runs.conformance(setups)
    near = (stated >= 0.8) & (stated <= 0.99)
    found = {
        "above": (true > high).mean(),
        "below": (true < low).mean(),
        "stated": stated[near].mean() if near.any() else np.nan,
        "realised": realised[near].mean() if near.any() else np.nan,
    }
    assured = stated >= 0.9
    if assured.any():
        fastest = int(np.flatnonzero(assured)[setups["speed"].to_numpy()[assured].argmax()])
        bound = ConformanceInterval.of(conformance_by_process(again, setups.iloc[[fastest]])[0]).at_least
        found |= {"fast_off": stated[fastest] - realised[fastest], "bounded": bound <= realised[fastest]}
    return found


def report(name: str, rows: list[dict | None], seconds: float) -> None:
    table = pd.DataFrame([row for row in rows if row is not None])
    off, fast = (table["stated"] - table["realised"]).dropna(), table["fast_off"].dropna()
    print(
        f"  {name:20s} true spread above the 95 % quantile {table['above'].mean():.3f}, below the 5 % one "
        f"{table['below'].mean():.3f}; stated {table['stated'].mean():.3f}, off {off.mean():+.3f} ± {off.sem():.3f}; "
        f"at the fastest assured off {fast.mean():+.3f} ± {fast.sem():.3f}, "
        f"lower bound holds {table['bounded'].dropna().mean():.3f} of {table['bounded'].count()}; "
        f"{len(table)} of {len(rows)} trials; {seconds:.0f} s",
        flush=True,
    )


def main() -> None:
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    whole = pw.read_trial(pw.demo("trial_first.csv"))
    study = pw.read_study(pw.demo("study.toml"))
    tag = pw.read_product(pw.demo("tag.toml"))
    window = find_window(pw.fit(whole), tag, study)
    for layout, trial in layouts(whole).items():
        if len(sys.argv) > 2 and layout not in sys.argv[2:]:
            continue
        for ratio, truth in processes(window):
            own = trial.prints["make_ready"].astype(str)
            print(
                f"\n{layout}: {len(trial.prints)} prints in {own.nunique()} make-readies, their variance × {ratio:g}"
            )
            for name, plan in PRIORS.items():
                start = time.perf_counter()
                work = (
                    delayed(judge)(window, trial, replace(truth, of_print=own), plan, seed)
                    for seed in range(trials)
                )
                report(name, Parallel(n_jobs=-1)(work), time.perf_counter() - start)


if __name__ == "__main__":
    main()
