"""Stated against realised conformance under several priors; prints, asserts nothing.

    python tests/bench/bench_calibration.py [TRIALS]

200 simulated trials of the demo layout unless told otherwise, the fit of the demo trial taken as
true; then the same with every second make-ready left out, where variance priors matter more.
"""

from __future__ import annotations

import sys
import time

import pwindow as pw
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.trials.trial import MeasuredTrial, Trial
from pwindow.window.calibration import calibrate

PRIORS = {
    "half-t, scale 0.25 residual SD (as shipped)": Plan(),
    "half-t, scale 0.5": Plan(width=0.5),
    "half-t, scale 1": Plan(width=1.0),
    "inverse Wishart, scale 1": Plan(width=1.0, hierarchical=False),
}


def halved(trial: Trial) -> Trial:
    """The prints of every second make-ready."""
    kept = trial.prints["make_ready"].unique()[::2]
    return MeasuredTrial(
        trial.features[trial.features["make_ready"].isin(kept)], trial.pressure_unit, trial.files
    )


def report(name: str, window, trials: int, plan: Plan) -> None:
    start = time.perf_counter()
    found = calibrate(window, trials, plan=plan)
    table, best = found.to_frame(), found.recommended
    inner = table[(table["from"] >= 0.5) & (table["to"] <= 0.99)]
    offs = " ".join(f"{off:+.3f}" for off in inner["difference"])
    errors = " ".join(f"{error:.3f}" for error in inner["std_error"])
    print(f"{name:46s} {offs} (±{errors})  recommended: stated {best['stated'].mean():.3f}, observed "
          f"{best['realised'].mean():.3f} ± {best['realised'].sem():.3f} in {len(best)}; "
          f"{time.perf_counter() - start:.0f} s")  # fmt: skip


def main() -> None:
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    whole = pw.read_trial(pw.demo("trial_first.csv"))
    study = pw.read_study(pw.demo("study.toml"))
    print("stated - realised in the tenths from 0.5 to 0.9, and from 0.9 to 0.99")
    for layout, trial in (("demo layout", whole), ("half of its make-readies", halved(whole))):
        for product in ("tag", "mesh"):
            print(f"\n{layout}, {product}: {len(trial.prints)} prints")
            window = pw.find_window(pw.fit(trial), pw.read_product(pw.demo(f"{product}.toml")), study)
            for name, plan in PRIORS.items():
                report(name, window, trials, plan)


if __name__ == "__main__":
    main()
