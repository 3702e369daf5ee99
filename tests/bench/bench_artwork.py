"""Does artwork drawn for a wanted print land within the stated 95 % interval, and do intervals of the spreads hold?

Run as ``python tests/bench/bench_artwork.py [artwork | spreads]``. Truths as of ``tests/helpers/plate_truths``; nothing is
asserted.
"""

import sys

import numpy as np
from joblib import Parallel, delayed
from scipy.stats import binomtest

from pwindow.plates.offsets import offset_of
from pwindow.plates.spreads import taken
from tests.helpers.plate_truths import Truth, case, record_of

CASES = 1000


def share_words(hits, count):
    interval = binomtest(int(hits), count).proportion_ci(method="wilson")
    return f"{100 * hits / count:.1f} % ({100 * interval.low:.1f} to {100 * interval.high:.1f})"


def artwork():
    """1,000 cases with two to six plates, and 1,000 each with a given number of them."""
    for plates in (None, 0, 2, 3):
        cases = Parallel(-1, batch_size=25)(delayed(case)(seed, plates) for seed in range(CASES))
        inside = sum(one.inside for one in cases)
        ratios, widths = (np.array([getattr(one, name) for one in cases]) for name in ("ratio", "width"))
        print(
            f"plates {'2 to 6' if plates is None else plates}: inside {share_words(inside, CASES)}, true share on average "
            f"{100 * np.mean([one.share for one in cases]):.1f} %; printed over wanted {ratios.mean():.3f} ± {ratios.std():.3f}, "
            f"interval ± {50 * np.median(widths):.0f} % (median)",
            flush=True,
        )


def spread_case(seed, plates):
    rng = np.random.default_rng(seed)
    truth = Truth.drawn(rng)
    record = record_of(truth, plates, np.array([20.0, 35.0, 50.0]), rng)
    features = record.features.reset_index().rename(
        columns={"artwork_width": "artwork", "plate_width": "size"}
    )
    if seed % 2:  # unbalanced: a quarter of the features could not be measured
        features = features[rng.random(len(features)) > 0.25]
    spreads = offset_of(features, taken(1.5, 7, "default"), 5.0, 5.3).spreads
    truths = {"plate": truth.plate, "feature": truth.feature, "new": np.hypot(truth.plate, truth.feature)}
    return {
        name: (
            getattr(spreads, name).low <= sd <= getattr(spreads, name).high,
            getattr(spreads, name).sd / sd,
        )
        for name, sd in truths.items()
    }


def spreads():
    """Intervals of the spreads, on six features of each plate, every second case unbalanced."""
    for plates in (2, 3, 4, 6):
        cases = Parallel(-1, batch_size=25)(delayed(spread_case)(seed, plates) for seed in range(CASES))
        for name in ("plate", "feature", "new"):
            known = [one[name] for one in cases if np.isfinite(one[name][1])]
            hits, ratio = sum(inside for inside, _ in known), np.sqrt(np.mean([of**2 for _, of in known]))
            print(
                f"plates {plates}, {name}: inside {share_words(hits, len(known))}, estimate over truth (rms) {ratio:.3f}",
                flush=True,
            )


if __name__ == "__main__":
    for asked in sys.argv[1:] or ("artwork", "spreads"):
        {"artwork": artwork, "spreads": spreads}[asked]()
