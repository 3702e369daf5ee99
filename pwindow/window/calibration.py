"""Whether the stated probabilities hold up: trials simulated from the fit, judged against it.

The fit is taken as the true process; trials of the same layout are drawn from it and refitted, and the
probabilities that each states are compared with how often a next run really conforms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from pwindow.errors import UnusableInput, WindowProblem
from pwindow.surfaces.posterior.sampler import Plan
from pwindow.surfaces.simulation import Truth, simulate_trial
from pwindow.surfaces.surfaces import fit
from pwindow.window.requirements.quantities import gap_count
from pwindow.window.window import Window, find_window

CANNOT_SEE = (
    "the fit is taken as the true process, so errors of the fit itself (a wrong surface, a spread between make-readies "
    "that was assumed or came out small by chance, a process that has changed) do not show here"
)
"""What a calibration is blind to."""
EDGES = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.99, 1.0)
_RUNS = 4000
_AT_ONCE = 10
"""Set-ups whose runs are in memory together."""


@dataclass(frozen=True, kw_only=True)
class AtRecommended:
    """Conformance at the set-ups that simulated trials recommend; None where there is nothing to say.

    Attributes
    ----------
    trials : int
        How many recommend one.
    stated, realised : float or None
        Means over those trials.
    realised_std_error : float or None
    realised_lowest_tenth : float or None
        The realised conformance that nine tenths of them exceed.
    share_reaching_level : float or None
        Of those trials, whose set-up really reaches the assurance level.
    """

    trials: int = 0
    stated: float | None = None
    realised: float | None = None
    realised_std_error: float | None = None
    realised_lowest_tenth: float | None = None
    share_reaching_level: float | None = None


@dataclass(frozen=True)
class Calibration:
    """Stated against realised conformance.

    Attributes
    ----------
    judged : DataFrame
        One row per simulated trial × set-up: ``trial``, ``stated``, ``realised``.
    recommended : DataFrame
        One row per simulated trial that recommends a set-up: ``trial``, ``stated``, ``realised``, and whether that
        ``reaches`` the assurance level.
    trials : int
    unusable : tuple of str
        Why simulated trials could not be fitted or judged.
    """

    judged: pd.DataFrame
    recommended: pd.DataFrame
    trials: int
    unusable: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Mean stated and realised conformance by band of what is stated.

        Returns
        -------
        DataFrame
            ``from``, ``to``, ``judgements``, ``stated``, ``realised``, ``difference`` (stated - realised)
            and its ``std_error``, from trial to trial.
        """
        band = pd.cut(self.judged["stated"], EDGES, right=False, labels=False).fillna(len(EDGES) - 2)
        rows = []
        for at, group in self.judged.groupby(band.astype(int)):
            gap = (group["stated"] - group["realised"]).groupby(group["trial"])
            share = gap.count() / len(group)
            off = gap.mean() - (group["stated"] - group["realised"]).mean()
            rows.append(
                {
                    "from": EDGES[at],
                    "to": EDGES[at + 1],
                    "judgements": len(group),
                    "stated": group["stated"].mean(),
                    "realised": group["realised"].mean(),
                    "difference": (group["stated"] - group["realised"]).mean(),
                    "std_error": float(np.sqrt(((share * off) ** 2).sum())),
                }
            )
        return pd.DataFrame(rows)

    def at_recommended(self) -> AtRecommended:
        """Stated and realised conformance at the recommended set-ups."""
        best = self.recommended
        if best.empty:
            return AtRecommended()
        return AtRecommended(
            trials=len(best),
            stated=float(best["stated"].mean()),
            realised=float(best["realised"].mean()),
            realised_std_error=float(best["realised"].std() / np.sqrt(len(best))) if len(best) > 1 else None,
            realised_lowest_tenth=float(best["realised"].quantile(0.1)),
            share_reaching_level=float(best["reaches"].mean()),
        )


def calibrate(
    window: Window,
    trials: int = 200,
    seed: int = 1,
    progress: Callable[[Iterator], Iterator] = iter,
    workers: int = -1,
    plan: Plan | None = None,
    setups: int = 600,
) -> Calibration:
    """Simulate trials of the user's own layout and hold what they state against what comes true.

    Parameters
    ----------
    window : Window
        Its fit is the truth.
    trials : int, default 200
        To simulate.
    seed : int, default 1
        The same seed gives the same simulated trials.
    progress : callable
        Wraps the iterator over finished trials, to show how far it is.
    workers : int, default -1
        Processes; -1 for one a core.
    plan : Plan, optional
        How the posterior of each simulated trial is drawn, and under which prior.
    setups : int, default 600
        Set-ups that each trial is judged at; of few, which ones they are decides the second decimal.

    Raises
    ------
    WindowProblem
        If no set-up of the trial region can be judged.
    """
    from joblib import Parallel, delayed

    study = _Study(window, Truth.of(window.surfaces), plan, setups, np.random.default_rng(seed))
    seeds = np.random.SeedSequence(seed).spawn(trials)
    parallel = Parallel(n_jobs=workers, return_as="generator")
    found = list(progress(parallel(delayed(study.judge)(one) for one in seeds)))
    judged = [one.assign(trial=at) for at, (one, _, _) in enumerate(found) if one is not None]
    best = [dict(row, trial=at) for at, (_, row, _) in enumerate(found) if row is not None]
    if not judged:
        raise WindowProblem(f"no simulated trial could be judged; the first failed with: {found[0][2]}")
    return Calibration(
        pd.concat(judged, ignore_index=True)[["trial", "stated", "realised"]],
        pd.DataFrame(best, columns=["trial", "stated", "realised", "reaches"]),
        trials,
        tuple(reason for _, _, reason in found if reason),
    )


class _Study:
    """What all simulated trials share: the truth, the set-ups, and how often they really conform."""

    def __init__(
        self, window: Window, truth: Truth, plan: Plan | None, setups: int, rng: np.random.Generator
    ):
        self.window, self.truth, self.plan = window, truth, plan
        self.runs = _Runs.draw(window, truth, rng)
        self.setups = _setups(window, setups, rng)
        self.realised = {plate: self.runs.conformance(frame) for plate, frame in self.setups.items()}

    def judge(self, seed: np.random.SeedSequence) -> tuple[pd.DataFrame | None, dict | None, str]:
        """One simulated trial: its judgements, its recommendation, or why it has none."""
        rng = np.random.default_rng(seed)
        window, trial = self.window, simulate_trial(self.window.surfaces.trial, self.truth, rng)
        try:
            readies = window.surfaces.mountings.declared
            surfaces = fit(trial, plan=self.plan, make_readies=readies)
            again = find_window(surfaces, window.product, window.study)
        except UnusableInput as problem:
            return None, None, str(problem)
        parts = [
            pd.DataFrame({"stated": again.joint_conformance(frame), "realised": self.realised[plate]})
            for plate, frame in self.setups.items()
        ]
        return pd.concat(parts), self._recommended(again), ""

    def _recommended(self, window: Window) -> dict | None:
        best = window.recommended()
        if best is None:
            return None
        realised = float(self.runs.conformance(best.setup.frame(self.window))[0])
        return {"stated": best.conformance, "realised": realised, "reaches": realised >= window.level}


def _setups(window: Window, count: int, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """Set-ups spread evenly over the trial region of each plate process."""
    from scipy.stats import qmc

    prints, found = window.surfaces.trial.prints, {}
    share = max(count // len(window.plates), 1)
    for plate in window.plates:
        along = qmc.Halton(3, rng=rng).random(20 * share).T
        speed, volume = (
            np.exp(_between(np.log(prints[name]), at)) for name, at in zip(("speed", "cell_volume"), along)
        )
        frame = window.setups(plate, speed, volume, _between(prints["pressure"], along[2]))
        found[plate] = frame[window.in_trial_region(frame)].head(share).reset_index(drop=True)
    return {plate: frame for plate, frame in found.items() if len(frame)}


def _between(tried: pd.Series, share: np.ndarray) -> np.ndarray:
    """Values that lie this share of the way from the lowest to the highest."""
    return float(tried.min()) + share * float(tried.max() - tried.min())


@dataclass(frozen=True, kw_only=True)
class _Runs:
    """Next runs of the true process: what differs from run to run, the same at every set-up.

    Attributes
    ----------
    effects : ndarray, shape (n, q)
    largest, smallest : ndarray, shape (n,)
        Deviation of the most and the least closed gap of a print, µm.
    ink : ndarray, shape (n,)
        Deviation of the logarithm of a resistivity that is stated and not measured.
    drifts : dict of str to ndarray, shape (n,)
        Deviation of each setting, from -1 to 1 of its tolerance.
    """

    window: Window
    truth: Truth
    effects: np.ndarray
    largest: np.ndarray
    smallest: np.ndarray
    ink: np.ndarray
    drifts: dict[str, np.ndarray]

    @classmethod
    def draw(cls, window: Window, truth: Truth, rng: np.random.Generator) -> _Runs:
        count = gap_count(window.product, window.surfaces)
        spread = dict(zip(truth.names, truth.feature)).get("gap_closure", 0.0)
        # the largest of N uniforms, then the smallest of the N - 1 below it
        top = rng.random(_RUNS) ** (1.0 / count)
        low = top if count == 1 else top * (1.0 - rng.random(_RUNS) ** (1.0 / (count - 1)))
        return cls(
            window=window,
            truth=truth,
            effects=truth.effects(_RUNS, rng),
            largest=spread * ndtri(top),
            smallest=spread * ndtri(low),
            ink=rng.normal(0.0, window.study.ink.resistivity_spread, _RUNS),
            drifts={one.setting: rng.uniform(-1.0, 1.0, _RUNS) for one in window.tolerances},
        )

    def conformance(self, setups: pd.DataFrame) -> np.ndarray:
        """Share of the runs that meet every requirement at each set-up of one plate, shape (m,)."""
        blocks = [setups.iloc[at : at + _AT_ONCE] for at in range(0, len(setups), _AT_ONCE)]
        return np.concatenate([self._conforming(block).mean(axis=1) for block in blocks])

    def _conforming(self, setups: pd.DataFrame) -> np.ndarray:
        """Whether each run meets every requirement at each set-up, shape (m, n)."""
        rows = setups.loc[setups.index.repeat(_RUNS if self.drifts else 1)].reset_index(drop=True)
        for tolerance in self.window.tolerances:
            own, drift = rows[tolerance.setting], np.tile(self.drifts[tolerance.setting], len(setups))
            rows[tolerance.setting] = own + drift * tolerance.half_width(own)
        means, sizes = (
            found.reshape(len(setups), -1, len(self.truth.names))
            for found in (self.truth.means(rows), self.truth.deviations(rows))
        )
        values = means + sizes * self.effects
        limits = self.window.limits[str(setups["plate"].iloc[0] or "")]
        met = np.ones(values.shape[:2], dtype=bool)
        for requirement in self.window.product.requirements:
            quantity = limits.quantities[requirement.name]
            weights = np.array([quantity.weights.get(name, 0.0) for name in self.truth.names])
            used = weights != 0
            at = values[..., used] @ weights[used] + quantity.constant
            if quantity.error == "ink":
                at = at + self.ink
            most_closed, least_closed = (
                (self.largest, self.smallest) if requirement.name == "gap" else (0.0, 0.0)
            )
            if requirement.least is not None:
                met &= quantity.natural(at + most_closed) >= requirement.least
            if requirement.most is not None:
                met &= quantity.natural(at + least_closed) <= requirement.most
        return met
