"""Do gaps of new prints bridge as often as a fit expects?

How many of a cell's n gaps are bridged is binomial, given the print's own closure: a gap bridges where
closure and what varies between gaps exceed the plate gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import linalg
from scipy.special import bdtrc, ndtr

from pwindow.surfaces.checks.diagnostics import RARE
from pwindow.surfaces.checks.verdict import Verdict, share, verdict_of
from pwindow.surfaces.single.surface import Surface

_REACH, _NODES = 12.0, 401  # standard deviations of a print's closure that are integrated over, and steps
_LEAST = 0.05  # between gaps, beside what varies between prints: less would change no result
_DRAWS, _MOST = 20_000, 4_000_000


@dataclass(frozen=True)
class Bridging:
    """Bridged gaps of new prints beside what was expected.

    Attributes
    ----------
    cells : DataFrame
        Per cell: print, ``inspected``, ``bridged``, ``expected``, and the probability ``p`` of as many
        bridged gaps or more in the worst of all cells (Bonferroni).
    low, high : int
        Between which the number of all bridged gaps was expected at 95 %.
    p : float
        Probability of a number of bridged gaps as far from what was expected, on either side.
    """

    cells: pd.DataFrame
    low: int
    high: int
    p: float

    @property
    def standing_out(self) -> list[str]:
        """Prints with more bridged gaps than chance explains, the worst first."""
        worst = self.cells.groupby("print")["p"].min().sort_values()
        return [str(name) for name in worst.index[worst < RARE]]

    @property
    def verdict(self) -> Verdict:
        return Verdict.DIFFERS if self.standing_out else verdict_of(self.p)

    @property
    def agrees(self) -> bool:
        """Whether the prints may be of the same process; also where that is unusual."""
        return self.verdict is not Verdict.DIFFERS

    def sentence(self) -> str:
        """What was found, in plain words."""
        bridged, inspected = int(self.cells["bridged"].sum()), int(self.cells["inspected"].sum())
        mean = self.cells["expected"].sum()
        number = f"{mean:.2g}" if mean >= 0.01 else "fewer than 0.01"
        span = f"{self.low} to {self.high}" if self.high else "0"
        expected = f"{number} expected, 95 % interval {span}"
        found = f"bridged gaps: {bridged} of {inspected} ({expected})"
        if self.verdict is Verdict.UNUSUAL:
            return f"{found}: unusual; {share(self.p)} of trials of the same process are as far off by chance"
        if self.agrees:
            return f"{found}: agrees"
        out = self.standing_out
        apart = f"; check print{'s' * (len(out) > 1)} {', '.join(out[:5])}" if out else ""
        return f"{found}: does not agree{apart}"


def hold_bridged(surface: Surface, cells: pd.DataFrame, covariance: np.ndarray) -> Bridging | None:
    """Compare the bridged gaps of cells with a surface of gap closure.

    Parameters
    ----------
    surface : Surface
    cells : DataFrame
        ``print``, ``plate_gap`` in µm, ``count`` of gaps inspected and ``bridged``, beside the settings.
    covariance : ndarray, shape (m, m)
        Of the prints' closures about the surface, what varies between gaps left out, µm².

    Returns
    -------
    Bridging or None
        None where no gap is bridged and none was likely to be.
    """
    count, bridged = (cells[name].to_numpy(int) for name in ("count", "bridged"))
    # where one gap a print was measured, nothing tells what varies between gaps: hardly anything then
    between = max(surface.components.feature, (_LEAST**2) * np.diag(covariance).max())
    room = (cells["plate_gap"].to_numpy(float) - surface.mean(cells)) / np.sqrt(between)
    spread = np.sqrt(np.diag(covariance) / between)
    chances, expected = _alone(room, spread, surface.df, count, bridged)
    totals = _totals(room, covariance / between, surface.df, count)
    low, high = (int(np.quantile(totals, end, method="nearest")) for end in (0.025, 0.975))
    if not bridged.any() and not high:
        return None
    more, fewer = (
        (1.0 + side.sum()) / (len(totals) + 1.0)
        for side in (totals >= bridged.sum(), totals <= bridged.sum())
    )
    table = pd.DataFrame(
        {
            "print": cells["print"],
            "inspected": count,
            "bridged": bridged,
            "expected": expected,
            "p": np.minimum(1.0, len(cells) * chances),
        }
    )
    return Bridging(table, low, high, min(1.0, 2.0 * more, 2.0 * fewer))


def _alone(
    room: np.ndarray, spread: np.ndarray, df: float, count: np.ndarray, bridged: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Of each cell: probability of as many bridged gaps or more, and the number expected."""
    nodes = np.linspace(-_REACH, _REACH, _NODES)
    weights = np.exp(-0.5 * (df + 1.0) * np.log1p(nodes**2 / df))  # Student's t
    weights /= weights.sum()
    share = ndtr(spread[:, None] * nodes - room[:, None])
    chances = bdtrc(bridged[:, None] - 1, count[:, None], share) @ weights
    return chances, count * (share @ weights)


def _totals(room: np.ndarray, covariance: np.ndarray, df: float, count: np.ndarray) -> np.ndarray:
    """Numbers of all bridged gaps as they could have come out; always the same draws."""
    rng = np.random.default_rng(1)
    draws = int(np.clip(_MOST / len(room), 1000, _DRAWS))
    root = linalg.cholesky(covariance + 1e-9 * np.diag(np.diag(covariance)), lower=True)
    closures = rng.standard_normal((draws, len(room))) @ root.T
    closures /= np.sqrt(rng.chisquare(df, draws) / df)[:, None]
    return rng.binomial(count, ndtr(closures - room)).sum(axis=1)
