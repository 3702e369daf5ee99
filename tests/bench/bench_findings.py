"""How often findings notice what is wrong with a trial, and how often they object to nothing; prints, asserts nothing.

    python tests/bench/bench_findings.py [TRIALS]

Simulated trials of the demo (37 of each kind unless told otherwise), clean or with one thing against the assumptions.
Of each kind the share in which its own finding stands, and in which any does.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

import pwindow as pw
from pwindow.study import IN_FILE_ORDER, MakeReadies
from pwindow.surfaces.findings import findings
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.trials.trial import MeasuredTrial

_ORDERED = MakeReadies(press_order=IN_FILE_ORDER)
Change = Callable[[pd.DataFrame, np.random.Generator], pd.DataFrame]


def clean(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    return features


def drift(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Lines that lose 8 % of their height from the first print to the last."""
    return _scaled(features, -0.08 * pd.factorize(features["print"])[0] / features["print"].nunique())


def more_spread(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Heights that differ twice as much from print to print at high pressure as elsewhere."""
    off = pd.Series(rng.normal(0.0, 0.07, features["print"].nunique()), features["print"].unique())
    return _scaled(features, features["print"].map(off) * (features["pressure"] > 60.0))


def slopes(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """An effect of speed on height that differs by 10 % over the tried speeds between make-readies."""
    own = pd.Series(rng.normal(0.0, 0.10, features["make_ready"].nunique()), features["make_ready"].unique())
    return _scaled(features, features["make_ready"].map(own) * np.log(features["speed"] / 60.0) / np.log(4.0))


def corner(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Heights that fall 12 % more from 80 to 120 m/min, and are as before below."""
    return _scaled(features, -0.12 * np.log(features["speed"] / 80.0).clip(lower=0.0) / np.log(1.5))


def wrong_pressure(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Pressures the wrong way round in the file."""
    return features.assign(
        pressure=features["pressure"].max() + features["pressure"].min() - features["pressure"]
    )


def copied(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A tenth of the prints entered twice."""
    names = rng.choice(features["print"].unique(), features["print"].nunique() // 10, replace=False)
    return pd.concat([features, features[features["print"].isin(names)]], ignore_index=True)


def lopsided(features: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Gaps of skewness 1 about their print."""
    keys = [features[name] for name in ("print", "plate_gap")]
    mean = features["gap"].groupby(keys).transform("mean")
    off = 1.75 * (rng.gamma(4.0, size=len(features)) - 4.0) / 2.0
    return features.assign(gap=(mean - off).where(features["gap"].notna()).clip(lower=1.0))


def _scaled(features: pd.DataFrame, logs: pd.Series | np.ndarray) -> pd.DataFrame:
    """Heights times a factor, with the areas and resistances that go with them."""
    factor = np.exp(logs)
    return features.assign(
        line_height=features["line_height"] * factor,
        section_area=features["section_area"] * factor,
        resistance=features["resistance"] / factor,
    )


KINDS: dict[str, tuple[Change, str]] = {
    "clean": (clean, ""),
    "drift": (drift, "from the first print to the last"),
    "twice the spread at high pressure": (more_spread, "is uneven"),
    "slopes differ between make-readies": (slopes, "differs from make-ready"),
    "a corner in speed": (corner, "curvature"),
    "pressures the wrong way round": (wrong_pressure, "but it usually rises in printing"),
    "copied rows": (copied, "another row of its print"),
    "lopsided gaps": (lopsided, "are not normally distributed"),
}


def told(trial, truth: Truth, change: Change, seed: int) -> list[str]:
    """Every finding about one simulated trial but that of the draws."""
    rng = np.random.default_rng(seed)
    drawn = simulate_trial(trial, truth, rng)
    changed = MeasuredTrial(change(drawn.features, rng), trial.pressure_unit, trial.files)
    return [
        one.sentence
        for one in findings(pw.fit(changed, make_readies=_ORDERED))
        if "have not settled" not in one.sentence
    ]


def main(trials: int) -> None:
    trial = pw.read_trial(pw.demo("trial_first.csv"))
    truth = Truth.of(pw.fit(trial))
    for name, (change, words) in KINDS.items():
        found = Parallel(n_jobs=-1)(
            delayed(told)(trial, truth, change, 1000 + seed) for seed in range(trials)
        )
        own = np.mean([any(words in one for one in each) for each in found]) if words else np.nan
        some = np.mean([bool(each) for each in found])
        print(f"{name:36s} own finding {own:5.2f}   any finding {some:5.2f}   of {trials}", flush=True)
        if not words:
            said = Counter(" ".join(one.split()[:12]) for each in found for one in each)
            for sentence, count in said.most_common(8):
                print(f"    {count} × {sentence} …")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 37)
