"""Intervals of the merging of close lines against the demo's truth; prints, asserts nothing.

    python tests/bench/bench_merging.py [TRIALS]

Simulated trials of the demo's truth (40 unless told otherwise) with gaps of 45 and 75 µm, at three set-ups of the demo and
two pressures: how many 95 % intervals hold the true probability that a gap bridges, and the true plate gaps at which half,
one in a hundred and one in ten thousand do. The intervals of one trial hold or fail together.
"""

from __future__ import annotations

import importlib.util
import sys
from types import ModuleType

from joblib import Parallel, delayed

import pwindow as pw
from tests.helpers.merging_truths import covered, table_of


def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo", pw.demo("make_demo.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def judge(seed: int) -> list[dict]:
    make_demo = script()
    return covered(make_demo, make_demo.read_truth(), seed)


def main(trials: int) -> None:
    rows: list[dict] = []
    found = Parallel(n_jobs=3, return_as="generator")(delayed(judge)(seed) for seed in range(trials))
    for seed, of_trial in enumerate(found):
        rows += of_trial
        held = sum(row["held"] for row in of_trial)
        print(f"trial {seed}: {held} of {len(of_trial)}; {_shares(rows)}", flush=True)
    print(table_of(rows).round(3).to_string())


def _shares(rows: list[dict]) -> str:
    parts = {
        kind: [row["held"] for row in rows if row["what"].startswith(kind)] for kind in ("prob", "plate gap")
    }
    return ", ".join(f"{kind} {sum(held) / len(held):.3f}" for kind, held in parts.items())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
