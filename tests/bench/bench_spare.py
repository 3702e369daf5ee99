"""How many make-readies a trial needs to show how much they differ; prints, asserts nothing.

    python tests/bench/bench_spare.py [TRIALS [LAYOUT ...]]

Simulated trials of the demo's process (60 of each kind unless told otherwise) in few of its make-readies, which differ as
the demo's do, and in variance 5 and 15 times as much. Once the spread between them is learned from the trial alone, once the
usual spread is held beside it; also on one roll alone. At the set-up that each trial recommends: stated less true conformance, and how often the
lower 95 % bound lies below the true one. The last layout has three make-readies, one of each of three rolls.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from unittest import mock

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

import pwindow as pw
from pwindow.errors import UnusableInput
from pwindow.surfaces.posterior import make_readies
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.trials.trial import MeasuredTrial, Trial
from pwindow.window.calibration import _Runs
from pwindow.window.confidence import ConformanceInterval, conformance_by_process
from pwindow.window.window import Window, find_window

COUNTS = (7, 8, 9, 10, 12)
FEW = (2, 3, 4, 5, 6)
RATIOS = (1.0, 5.0, 15.0)
RULES = {"learned": 0, "held": 10_000}


def layouts(trial: Trial) -> Iterator[tuple[str, Trial]]:
    rng, readies = np.random.default_rng(3), trial.prints["make_ready"].unique()
    for count in COUNTS:
        kept = rng.choice(readies, count, replace=False)
        yield f"{count} make-readies", _part(trial, trial.features["make_ready"].isin(kept))
    features = trial.features
    rolls = sorted(features["roll"].unique())[::2]
    some = _part(trial, features["roll"].isin(rolls) & (features["plate"] == "laser-imaged"))
    # a make-ready has one roll: a trial of one roll spends only the first on its surfaces
    on_one = features.assign(roll="2047", cell_volume=7.2, plate="laser-imaged", plate_width=30.0)
    for count in FEW:
        ready = pd.Series(pd.factorize(on_one["print"])[0] % count, on_one.index).map("M{}".format)
        yield f"one roll, {count} make-readies", replace(trial, features=on_one.assign(make_ready=ready))
    yield "three make-readies", replace(some, features=some.features.assign(make_ready=some.features["roll"]))


def _part(trial: Trial, kept: pd.Series) -> Trial:
    return MeasuredTrial(trial.features[kept], trial.pressure_unit, trial.files)


def judge(window: Window, trial: Trial, truth: Truth, least: int, seed: int) -> dict | None:
    """What one simulated trial recommends, and what is true there."""
    drawn = simulate_trial(trial, truth, np.random.default_rng(seed))
    with mock.patch.object(make_readies, "LEAST_SPARE", least):
        try:
            own = find_window(pw.fit(drawn), window.product, window.study)
            best = own.recommended()
        except UnusableInput:
            return None
        if best is None:
            return None
        frame = best.setup.frame(own)
        bound = ConformanceInterval.of(conformance_by_process(own, frame)[0]).at_least
    true = _Runs.draw(window, truth, np.random.default_rng(11)).conformance(frame)[0]
    return {
        "spare": own.surfaces.mountings.spare,
        "speed": best.setup.speed,
        "off": best.conformance - true,
        "holds": bound <= true,
    }


def main(trials: int, chosen: list[str]) -> None:
    study, tag = pw.read_study(pw.demo("study.toml")), pw.read_product(pw.demo("tag.toml"))
    window = find_window(pw.fit(pw.read_trial(pw.demo("trial_first.csv"))), tag, study)
    demo = replace(Truth.of(window.surfaces), growths={})
    for name, trial in layouts(window.surfaces.trial):
        if chosen and not any(name.startswith(one) for one in chosen):
            continue
        own = trial.prints["make_ready"].astype(str)
        print(f"\n{name}, {len(trial.prints)} prints")
        for ratio in RATIOS:
            truth = replace(demo, make_ready=demo.make_ready * ratio, of_print=own)
            for rule, least in RULES.items():
                work = (delayed(judge)(window, trial, truth, least, seed) for seed in range(trials))
                rows = pd.DataFrame([row for row in Parallel(n_jobs=-1)(work) if row is not None])
                if rows.empty:
                    print(
                        f"  variance × {ratio:g}, {rule}: nothing recommended in {trials} trials", flush=True
                    )
                    continue
                print(
                    f"  variance × {ratio:g}, {rule}: {rows['spare'].iloc[0]} to spare, {rows['speed'].mean():.1f} m/min, "
                    f"off {rows['off'].mean():+.3f} ± {rows['off'].sem():.3f}, bound holds {rows['holds'].mean():.2f} "
                    f"of {len(rows)}",
                    flush=True,
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60, sys.argv[2:])
