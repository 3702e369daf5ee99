"""The width of the plate gap that is found to predict the printed one, against the truth; prints, asserts nothing.

    python tests/bench/bench_gap_reference.py [TRIALS]

Simulated trials (60 of each kind unless told otherwise) of which the printed gap follows one width alone, of layouts drawn
from 5 to 20 features on 1 to 4 plates and 12 to 48 prints, with 1 to 3 µm between features: lips from nearly proportional
to the surface width (1 µm beside it) to independent of it, wide gaps and some that bridge, closures that depend on the
gap. Layouts count as able to tell where the slope of the true width differs from 0 with a probability of 98 % if all
spreads are known.
"""

from __future__ import annotations

import sys

import pandas as pd
from joblib import Parallel, delayed

from pwindow.surfaces.checks.gap_reference import gap_reference
from tests.helpers.gap_truths import KINDS, GapTruth, judge


def judged(trials: int) -> pd.DataFrame:
    work = (
        delayed(judge)(kind, follows, seed)
        for kind in KINDS
        for follows in ("lip", "surface")
        for seed in range(trials)
    )
    return pd.DataFrame(Parallel(n_jobs=2)(work))


def main(trials: int) -> None:
    rows = judged(trials)
    shares = {"trials": ("right", "size"), "right": ("right", "mean"), "wrong": ("wrong", "mean")}
    table = rows.groupby(["kind", "follows", "can tell"]).agg(**shares)
    print(table.round(3).to_string())
    print(f"\nall\n{rows.groupby('can tell').agg(**shares).round(4).to_string()}")
    print("\nOne trial of 12 features on 2 plates, 24 prints, whose printed gaps follow the lips")
    found = gap_reference(GapTruth().trial(1))
    print(found.to_frame().round(3).to_string(index=False))
    print(found.words)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
