"""What was read from a trial, in a few figures."""

from __future__ import annotations

import pandas as pd

from pwindow.trials.columns import COLUMNS
from pwindow.trials.trial import Trial

_COUNTED = ("line_height", "line_width", "section_area", "gap", "resistance")
_SETTINGS = ("speed", "cell_volume", "pressure", "direction", "plate_width", "plate_gap")


def summarise(trial: Trial) -> dict:
    """Prints, make-readies, features, ranges and what is constant, as plain values."""
    prints, features = trial.prints, trial.features
    bridged = features["gaps_bridged"].sum()
    return {
        "files": list(trial.files),
        "fingerprint": trial.fingerprint,
        "prints": len(prints),
        "make_readies": make_readies(trial),
        "features": len(features),
        "measured": {name: int(features[name].notna().sum()) for name in _COUNTED},
        "gaps_inspected": int(features["gaps_inspected"].sum()),
        "gaps_bridged": int(bridged),
        "ranges": ranges(trial).to_dict("index"),
        "rolls": {roll.id: roll.cell_volume for roll in trial.rolls},
        "plates": trial.levels("plate"),
        "constant": constant_columns(trial),
        "warnings": list(trial.warnings),
        "notes": list(trial.notes),
    }


def make_readies(trial: Trial) -> int | None:
    """Number of make-readies; None where it is not recorded which prints shared one."""
    recorded = trial.prints["make_ready"]
    return None if recorded.isna().any() else int(recorded.nunique())


def ranges(trial: Trial) -> pd.DataFrame:
    """Smallest, largest and number of distinct values of every number column that was filled in."""
    rows = {}
    for name, column in COLUMNS.items():
        values = trial.features[name].dropna()
        if column.kind == "number" and len(values):
            rows[name] = {
                "unit": trial.unit_of(name),
                "least": float(values.min()),
                "most": float(values.max()),
                "levels": int(values.nunique()),
            }
    return pd.DataFrame.from_dict(rows, orient="index")


def constant_columns(trial: Trial) -> dict[str, object]:
    """Settings that the trial did not vary, with their one value."""
    return {
        name: levels[0] for name in (*_SETTINGS, "plate", "roll") if len(levels := trial.levels(name)) == 1
    }
