"""Spreads that grow with a setting, stated against true conformance under several priors; prints, asserts nothing.

    python tests/bench/bench_spread.py [TRIALS]

Simulated trials of the demo (60 of each kind unless told otherwise), whose spread from print to print is even or grows,
in heights alone or in all responses. Of the set-up that each trial recommends, and of set-ups over the trial region of
which 0.8 to 0.99 is stated: the stated and the true conformance, and how often the lower 95 % bound lies below the true one.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

import pwindow as pw
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.surfaces.single.spread_growth import SpreadGrowth
from pwindow.window.calibration import _Runs, _setups
from pwindow.window.confidence import ConformanceInterval, conformance_by_process
from pwindow.window.window import Window, find_window

PRIORS = (None, 0.15, 0.25, 0.4)
SETUPS = 60


@dataclass(frozen=True)
class Step:
    """Twice the spread above a value of a setting."""

    setting: str
    above: float

    def deviation(self, setups: pd.DataFrame) -> np.ndarray:
        return np.where(setups[self.setting] > self.above, 2.0, 1.0)


@dataclass(frozen=True)
class Power:
    """A spread that doubles, or halves, from the low end to the high one."""

    setting: str
    low: float
    high: float
    ratio: float

    def deviation(self, setups: pd.DataFrame) -> np.ndarray:
        at = np.log(setups[self.setting] / self.low) / np.log(self.high / self.low)
        return self.ratio ** (np.asarray(at, float) - 0.5)


def kinds(window: Window) -> dict[str, dict[str, object]]:
    """What grows."""
    prints, names = window.surfaces.trial.prints, window.joint.names
    ends = {
        name: (float(prints[name].min()), float(prints[name].max()))
        for name in ("speed", "pressure", "cell_volume")
    }
    return {
        "even": {},
        "heights, twice above the middle pressure": {
            "line_height": Step("pressure", float(prints["pressure"].median()))
        },
        "all, twice as much at the highest speed": dict.fromkeys(names, Power("speed", *ends["speed"], 2.0)),
        "all, twice as much at the lowest speed": dict.fromkeys(names, Power("speed", *ends["speed"], 0.5)),
        "all, twice as much at high pressure": dict.fromkeys(
            names, Power("pressure", *ends["pressure"], 2.0)
        ),
        "all, twice as much at low volume": dict.fromkeys(
            names, Power("cell_volume", *ends["cell_volume"], 0.5)
        ),
    }


def judge(window: Window, truth: Truth, seed: int) -> list[dict]:
    """One simulated trial under every prior."""
    surfaces = pw.fit(simulate_trial(window.surfaces.trial, truth, np.random.default_rng(seed)))
    runs = _Runs.draw(window, truth, np.random.default_rng(11))
    (setups,) = _setups(window, SETUPS, np.random.default_rng(7)).values()
    realised = runs.conformance(setups)
    found = []
    for prior in PRIORS:
        growths = {
            name: SpreadGrowth.of(one, prior) for name, one in surfaces.by_name.items() if prior is not None
        }
        again = replace(surfaces, joint=replace(surfaces.joint, growths=growths))
        own = find_window(again, window.product, window.study)
        stated = own.joint_conformance(setups)
        near = (stated >= 0.8) & (stated <= 0.99)
        row = {"prior": prior, "stated": stated[near].mean(), "true": realised[near].mean()}
        best = own.recommended()
        if best is not None:
            frame = best.setup.frame(own)
            bound = ConformanceInterval.of(conformance_by_process(own, frame)[0]).at_least
            true = runs.conformance(frame)[0]
            row |= {
                "speed": best.setup.speed,
                "best": best.conformance,
                "best_true": true,
                "holds": bound <= true,
            }
        found.append(row)
    return found


def main(trials: int) -> None:
    trial = pw.read_trial(pw.demo("trial_first.csv"))
    study = pw.read_study(pw.demo("study.toml"))
    window = find_window(pw.fit(trial), pw.read_product(pw.demo("tag.toml")), study)
    for name, growths in kinds(window).items():
        truth = replace(Truth.of(window.surfaces), growths=growths)
        work = (delayed(judge)(window, truth, seed) for seed in range(trials))
        table = pd.DataFrame([row for rows in Parallel(n_jobs=-1)(work) for row in rows])
        print(f"\n{name}")
        for prior in PRIORS:
            own = table[table["prior"].isna() if prior is None else table["prior"] == prior]
            off, best = own["stated"] - own["true"], own["best"] - own["best_true"]
            print(
                f"  prior {'none' if prior is None else prior}: stated {own['stated'].mean():.3f} off {off.mean():+.4f} "
                f"± {off.sem():.4f}; recommended {own['speed'].mean():.1f} m/min, stated {own['best'].mean():.3f}, off "
                f"{best.mean():+.4f} ± {best.sem():.4f}; bound holds {own['holds'].dropna().astype(float).mean():.2f} of "
                f"{own['best'].count()}",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
