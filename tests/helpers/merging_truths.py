"""Merging in simulated trials of the demo's truth, held against the truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

import pwindow as pw
from pwindow.window.conformance import Conformance
from pwindow.window.merging import LEVEL, WITHIN, merging
from tests.helpers.products import make_product
from tests.helpers.trials import read_frame

PLATE = "laser-imaged"
SETUPS = ((30.0, 7.2), (60.0, 7.2), (90.0, 4.4))
"""Speeds and cell volumes inside the trial region at 50 and 80 µm."""
PRESSURES = (50.0, 80.0)


def window_on(make_demo, truth: dict, seed: int) -> Conformance:
    """The window of a simulated trial of which the gaps alone are measured."""
    rows = make_demo.simulate_trial(truth, make_demo.layout_first(), np.random.default_rng(seed))
    gaps = rows[rows["plate_gap [um]"].notna()]
    trial = read_frame(
        gaps.drop(columns=[name for name in gaps if name.startswith(("line_", "section_", "resist"))])
    )
    return pw.find_window(pw.fit(trial), make_product(gap=(20.0, None, {})))


def true_bridging(make_demo, truth: dict, setups: pd.DataFrame) -> np.ndarray:
    """Probability that a gap of a print of a new make-ready bridges at set-ups with plate gaps."""
    spread = np.sqrt(sum(truth["sd"][level]["closure"] ** 2 for level in ("make_ready", "print", "feature")))
    closure = make_demo.expected(truth, setups)["closure"].to_numpy()
    return stats.norm.sf(setups["plate_gap"].to_numpy(), closure, spread)


def true_plate_gap(make_demo, truth: dict, setup: dict, share: float) -> float:
    """Plate gap at which a share bridges, between 0 and 200 µm."""
    gaps = np.linspace(0.0, 200.0, 4001)
    found = true_bridging(make_demo, truth, pd.DataFrame({**setup, "plate_gap": gaps}))
    return float(gaps[np.flatnonzero(found > share)[-1]])


def covered(make_demo, truth: dict, seed: int) -> list[dict]:
    """Whether the intervals of one simulated trial hold the truth, at set-ups and pressures."""
    window, rows = window_on(make_demo, truth, seed), []
    for speed, volume in SETUPS:
        found = merging(window, PLATE, speed, volume, PRESSURES)
        for pressure in PRESSURES:
            setup = {"speed": speed, "cell_volume": volume, "pressure": pressure, "plate": PLATE}
            curve = found.curves[found.curves["pressure_um"] == pressure].iloc[::10]
            true = true_bridging(
                make_demo, truth, pd.DataFrame({**setup, "plate_gap": curve["plate_gap_um"]})
            )
            inside = (curve["bridged_low"] <= true) & (true <= curve["bridged_high"])
            rows += [
                {"what": f"probability, {gap:.3g} µm", "held": one, "true": at, "stated": said}
                for gap, one, at, said in zip(curve["plate_gap_um"], inside, true, curve["bridged"])
            ]
            gaps = found.plate_gaps[found.plate_gaps["pressure_um"] == pressure]
            rows += [_of_share(make_demo, truth, setup, found.tried, row) for _, row in gaps.iterrows()]
    return rows


def _of_share(make_demo, truth: dict, setup: dict, tried: tuple[float, float], row: pd.Series) -> dict:
    """An end that is not within what was tried lies beyond it, on its side."""
    true = true_plate_gap(make_demo, truth, setup, row["bridged"])
    low, high = row["plate_gap_low_um"], row["plate_gap_high_um"]
    beyond = np.isnan(low) and np.isnan(high)
    if beyond:  # the interval lies outside, or ends on both sides of what was tried
        held = not tried[0] < true < tried[1] or row["tried"] == WITHIN
    else:
        held = (np.isnan(low) or low <= true) and (np.isnan(high) or true <= high)
    return {
        "what": f"plate gap where {row['bridged']:g} bridge", "held": bool(held), "true": true,
        "stated": row["plate_gap_um"], "bounded": bool(np.isfinite([low, high]).all()),
    }  # fmt: skip


def table_of(rows: list[dict]) -> pd.DataFrame:
    """Shares of intervals that hold the truth, by what they are of."""
    frame = pd.DataFrame(rows)
    return frame.groupby("what", sort=False).agg(
        intervals=("held", "size"), held=("held", "mean"), bounded=("bounded", "sum")
    ).assign(asked=LEVEL)  # fmt: skip
