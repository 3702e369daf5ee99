"""How long a refit takes, its checks included; prints, asserts nothing.

python tests/bench/bench_fit.py
"""

from __future__ import annotations

import statistics
import time

import pandas as pd

import pwindow as pw
from pwindow.surfaces.findings import findings
from pwindow.trials.trial import MeasuredTrial, Trial

REPEATS = 5


def copies(trial: Trial, count: int) -> Trial:
    """The trial many times over, each with prints and make-readies of its own."""
    parts = [
        trial.features.assign(
            print=trial.features["print"] + f"-{at}", make_ready=trial.features["make_ready"] + f"-{at}"
        )
        for at in range(count)
    ]
    return MeasuredTrial(pd.concat(parts, ignore_index=True), trial.pressure_unit, trial.files)


def timed(name: str, trial: Trial, repeats: int, terms: str = "all") -> None:
    seconds = {"fit": [], "findings": []}
    for _ in range(repeats):
        start = time.perf_counter()
        surfaces = pw.fit(trial, terms)
        middle = time.perf_counter()
        findings(surfaces)
        seconds["fit"].append(middle - start)
        seconds["findings"].append(time.perf_counter() - middle)
    told = ", ".join(f"{part} {statistics.median(values):.2f} s" for part, values in seconds.items())
    print(f"{name}: {len(trial.features):,} features of {len(trial.prints):,} prints: {told}")


def main() -> None:
    demo = pw.read_trial(pw.demo("trial_first.csv"))
    pw.fit(demo)  # imports
    timed("demo", demo, REPEATS)
    timed("demo, free to bend", demo, REPEATS, "bending")
    timed("large", copies(demo, 77), 2)


if __name__ == "__main__":
    main()
