"""Invented trials whose printed gaps follow one width of the plate gap, known beforehand."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from pwindow.surfaces.checks.gap_reference import gap_reference
from pwindow.trials.columns import COLUMNS
from pwindow.trials.trial import MeasuredTrial, Trial

TOLD = 0.98
"""Probability of a slope that differs from 0, from which on a layout counts as able to tell."""
KINDS = {
    "lips nearly proportional": {"free": (0.0, 2.0)},
    "lips partly free": {"free": (5.0, 20.0)},
    "lips independent": {"free": (30.0, 60.0)},
    "gaps that bridge": {"free": (15.0, 40.0), "narrowest": (8.0, 22.0)},
    "closure depends on the gap": {"free": (15.0, 40.0), "slope": (0.85, 1.15)},
}
_SHORT = {
    "width at the surface": "surface",
    "width at the surface with depth": "depth",
    "lip-to-lip width": "lip",
}


@dataclass(frozen=True, kw_only=True)
class GapTruth:
    """What a trial is printed from.

    Attributes
    ----------
    follows : {'surface', 'lip', 'depth', 'both'}
        Width that the printed gap follows: the surface, the lips, the surface and the depth, or halfway between both widths.
    features, plates, prints : int
        Of all plates together.
    free : float
        Standard deviation of the lips beside 2.4 times the surface width, µm.
    between : float
        Standard deviation between features, µm.
    slope : float
        Printed gap over the width that it follows.
    tilt : float
        How much faster a print closes gaps that are 1 µm wider, as a standard deviation over prints.
    narrowest : float
        Plate gap, µm; narrow ones bridge.
    closure : float
        Mean closure, µm.
    """

    follows: str = "lip"
    features: int = 12
    plates: int = 2
    prints: int = 24
    free: float = 12.0
    between: float = 2.0
    slope: float = 1.0
    tilt: float = 0.05
    narrowest: float = 45.0
    closure: float = 18.0

    def plate_features(self, rng: np.random.Generator) -> pd.DataFrame:
        """The features of the plates, measured; without noise of their own."""
        count = self.features
        surface = rng.uniform(self.narrowest, self.narrowest + 60.0, count)
        lips = np.maximum(2.4 * surface + rng.normal(0.0, self.free, count), 1.05 * surface)
        return pd.DataFrame(
            {
                "plate": np.array(["film-imaged", "laser-imaged"])[np.arange(count) % self.plates % 2],
                "plate_id": [f"plate {at % self.plates}" for at in range(count)],
                "plate_feature": [f"g{at}" for at in range(count)],
                "plate_gap": surface,
                "lip_width": lips,
                "gap_depth": rng.uniform(8.0, 30.0, count),
            }
        )

    def printed_means(self, plate: pd.DataFrame) -> np.ndarray:
        """Printed gaps of an average print without what features differ by, µm."""
        surface, lip, depth = (plate[name].to_numpy() for name in ("plate_gap", "lip_width", "gap_depth"))
        widths = {"surface": surface, "lip": lip, "depth": surface + 0.8 * depth, "both": (surface + lip) / 2}
        return self.slope * widths[self.follows] - self.closure

    def rows(self, seed: int) -> pd.DataFrame:
        """Rows of a trial file: three gaps of each feature on each print of its plate."""
        rng = np.random.default_rng(seed)
        plate = self.plate_features(rng)
        typical = self.printed_means(plate) + rng.normal(0.0, self.between, self.features)
        means, shown, numbers = [], [], []
        for at in range(self.prints):
            own = np.flatnonzero(plate["plate_id"] == f"plate {at % self.plates}")
            width = plate["plate_gap"].to_numpy()[own]
            mean = typical[own] + rng.normal(0.0, 5.0)
            mean = mean + rng.normal(0.0, self.tilt) * (width - width.mean()) + rng.normal(0.0, 0.8, len(own))
            means.append(np.repeat(mean, 3))
            shown.append(np.repeat(own, 3))
            numbers.append(np.full(3 * len(own), at))
        gaps, of_print = np.concatenate(means), np.concatenate(numbers)
        gaps = gaps + rng.normal(0.0, 1.5, len(gaps))
        return plate.iloc[np.concatenate(shown)].reset_index(drop=True).assign(
            print=np.char.add("p", of_print.astype(str)), speed=60.0 + of_print, cell_volume=4.0, pressure=50.0,
            gap=np.where(gaps > 0.0, gaps, np.nan), gaps_inspected=1, gaps_bridged=(gaps <= 0.0).astype(int),
        )  # fmt: skip

    def trial(self, seed: int) -> Trial:
        """As if it had been read from a file."""
        rows = self.rows(seed)
        return MeasuredTrial(rows.reindex(columns=list(COLUMNS)))

    def power(self, seed: int, kept: Collection[str]) -> float:
        """Probability that the slope of the width that it follows differs from 0 beside the other, if all spreads are known.

        Of the features that are kept.
        """
        plate = self.plate_features(np.random.default_rng(seed))
        plate = plate[plate["plate_feature"].isin(kept)]
        of_plate = plate["plate_id"].to_numpy()[:, None] == np.unique(plate["plate_id"])
        names = ["plate_gap", "lip_width"]
        spare = len(plate) - of_plate.shape[1] - len(names)
        names += ["gap_depth"] if spare > 3 else []
        x = np.column_stack([plate[names], of_plate])
        df = len(x) - x.shape[1]
        if df < 1 or np.linalg.matrix_rank(x) < x.shape[1]:
            return 0.0
        variance = self.between**2 + (0.8**2 + 1.5**2 / 3.0) * self.plates / self.prints
        at = 1 if self.follows == "lip" else 0
        away = self.slope / np.sqrt(variance * np.linalg.inv(x.T @ x)[at, at])
        return float(stats.nct.sf(stats.t.ppf(0.975, df), df, away))


def drawn(follows: str, ranges: dict, seed: int) -> GapTruth:
    """A layout of 5 to 20 features on 1 to 4 plates."""
    rng = np.random.default_rng([seed, 77])
    features = int(rng.integers(5, 21))
    plates = int(rng.integers(1, min(4, features // 3) + 1))
    given = {name: float(rng.uniform(*span)) for name, span in ranges.items()}
    return GapTruth(
        follows=follows, features=features, plates=plates, prints=int(rng.integers(12, 49)),
        between=float(rng.uniform(1.0, 3.0)), **given,
    )  # fmt: skip


def judge(kind: str, follows: str, seed: int) -> dict:
    """What is found of one simulated trial."""
    truth = drawn(follows, KINDS[kind], seed)
    found = gap_reference(truth.trial(seed))
    named = _SHORT.get(found.chosen, "")
    return {
        "kind": kind,
        "follows": follows,
        "can tell": truth.power(seed, set(found.features["plate_feature"])) >= TOLD,
        "right": named == follows,
        "wrong": bool(named) and named != follows,
    }
