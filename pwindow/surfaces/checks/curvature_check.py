"""Does the second-order form miss something? A Gaussian process on what the surface leaves.

The process lies over the coded settings: a part along each setting and one over all of them
together, beside what varies between make-readies, prints and features, and with the second-order
terms left free (Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, section 2.7).
"""

from __future__ import annotations

import warnings
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import reduce
from operator import add

import numpy as np
import pandas as pd
from scipy import linalg, optimize
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, Kernel
from threadpoolctl import threadpool_limits

from pwindow.surfaces.checks.diagnostics import left_out_errors, precision, ways_to_leave_out
from pwindow.surfaces.checks.outliers import refitted
from pwindow.surfaces.model.departures import departure_parts
from pwindow.surfaces.model.terms import Factor
from pwindow.surfaces.single.surface import Surface

CHANCE, HINT = 0.0125, 0.1
"""Four responses of a trial then raise a false alarm in at most one trial of twenty. A hint is too
frequent to be told as a fault and too telling to be passed over: it widens what is promised."""
_SIZES = np.geomspace(0.02, 50.0, 12)  # of the process, beside the variance of a new print
_DRAWS, _SEED = 999, 20417
_FREE = 1e6  # prior variance of the second-order terms
_MOST_LEVELS, _MOST_CELLS = 12, 200
_IDS = 3  # columns of the table of rows: make-ready, print, features in the mean


@dataclass(frozen=True)
class _Compared:
    """A surface, and the process on what it leaves."""

    surface: Surface
    process: GaussianProcessRegressor

    def missed(self, setups: pd.DataFrame) -> np.ndarray:
        ids = np.tile([-1.0, -1.0, 1.0], (len(setups), 1))  # a make-ready and a print of its own
        return self.process.predict(_table(self.surface, setups, ids)) * np.sqrt(self.surface.scale)


@dataclass(frozen=True, kw_only=True)
class FormCheck:
    """The second-order surface of a response beside one with a Gaussian process on it.

    Attributes
    ----------
    response : str
    left_out : {'make-ready', 'print'}
        What was left out at a time.
    rms_surface, rms_process : float
        Root mean square error of predicting what was left out, by the surface alone and with the
        process, on the modelled scale.
    gain : float
        Logarithm of how much more probable the process makes what was left out.
    chance : float
        Share of trials simulated from the surface alone that show as much of a process, by the
        likelihood ratio of its most telling part.
    clearly_better, hinted : bool
        Left-out prints are predicted better by both measures, and `chance` is at most `CHANCE`, or at
        most `HINT`.
    """

    response: str
    left_out: str
    rms_surface: float
    rms_process: float
    gain: float
    chance: float
    _compared: _Compared | None = field(default=None, repr=False, compare=False)

    @property
    def clearly_better(self) -> bool:
        return self.hinted and self.chance <= CHANCE

    @property
    def hinted(self) -> bool:
        return self.rms_process < self.rms_surface and self.gain > 0.0 and self.chance <= HINT

    @property
    def tried(self) -> pd.DataFrame:
        """The set-ups that were compared, one row each; none where nothing could be left out."""
        if self._compared is None:
            return pd.DataFrame()
        surface = self._compared.surface
        return surface.cells.drop_duplicates([factor.name for factor in surface.design.factors])

    def missed(self, setups: pd.DataFrame) -> np.ndarray:
        """What the process adds to the surface at set-ups, on the modelled scale, shape (len(setups),).

        Zero where nothing hints at it.
        """
        if self._compared is None or not self.hinted:
            return np.zeros(len(setups))
        return self._compared.missed(setups)

    def along(self, factor: Factor, tried: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """Mean of what is missed over tried set-ups, were one factor at each of its tried levels.

        Returns
        -------
        levels : ndarray, shape (m,)
            Tried levels, in the factor's unit; at most twelve of them.
        missed : ndarray, shape (m,)
            On the modelled scale.
        """
        levels = np.unique(tried[factor.name].to_numpy(float))
        if len(levels) > _MOST_LEVELS:
            levels = levels[np.linspace(0, len(levels) - 1, _MOST_LEVELS).round().astype(int)]
        moved = pd.concat([tried.assign(**{factor.name: level}) for level in levels])
        return levels, self.missed(moved).reshape(len(levels), len(tried)).mean(axis=1)


def check_form(surface: Surface) -> FormCheck:
    """Compare a surface with one that a Gaussian process may bend, on left-out make-readies.

    Hyperparameters are found once, on all prints; of a trial with more than 200 cells, on a part.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    FormCheck
        Of a surface that leaves nothing, or whose prints cannot be left out, one that objects to
        nothing.
    """
    with threadpool_limits(1, user_api="blas"):
        judged = _thinned(surface)
        left_out, blocks = ("print", []) if judged is None else _left_out(judged)
        if judged is None or not blocks:
            return _no_objection(surface, left_out)
        (p, py), unit = precision(judged), np.sqrt(judged.scale)
        process, parts = _fitted_process(judged, surface)
        bent_p = linalg.cho_solve((process.L_, True), np.eye(len(p)))
        plain = left_out_errors(p, py / unit, blocks)
        bent = left_out_errors(bent_p, bent_p @ process.y_train_, blocks)
        if plain is None or bent is None:
            return _no_objection(surface, left_out)
        gain = _log_density(bent_p, bent, blocks) - _log_density(p, plain, blocks)
        rms_surface, rms_process = (float(unit) * _rms(errors) for errors in (plain, bent))
        chance, compared = _chance(judged, parts), _Compared(judged, process)
        return FormCheck(
            response=surface.kind.name,
            left_out=left_out,
            rms_surface=rms_surface,
            rms_process=rms_process,
            gain=gain,
            chance=chance,
            _compared=compared,
        )


def _no_objection(surface: Surface, left_out: str) -> FormCheck:
    return FormCheck(
        response=surface.kind.name,
        left_out=left_out,
        rms_surface=np.inf,
        rms_process=np.inf,
        gain=0.0,
        chance=1.0,
    )


def stretch(curve: np.ndarray) -> tuple[int, int, int]:
    """The worst level, and the first ones on either side at which less than half as much is missed."""
    low = worst = high = int(np.abs(curve).argmax())
    much = curve * np.sign(curve[worst]) >= 0.5 * abs(curve[worst])
    while low > 0 and much[low]:
        low -= 1
    while high < len(curve) - 1 and much[high]:
        high += 1
    return low, worst, high


def _thinned(surface: Surface) -> Surface | None:
    """Whole make-readies, drawn at random, of a trial with more cells than a process can take in a moment."""
    if len(surface.cells) <= _MOST_CELLS:
        return surface
    blocks = ways_to_leave_out(surface)[0][1]
    drawn = [blocks[at] for at in np.random.default_rng(_SEED).permutation(len(blocks))]
    taken = int(np.searchsorted(np.cumsum([len(rows) for rows in drawn]), _MOST_CELLS, side="right"))
    rows = np.concatenate(drawn[: max(taken, 1)])
    return refitted(surface, surface.cells.iloc[np.sort(rows)], surface.design)


def _left_out(surface: Surface) -> tuple[str, list[np.ndarray]]:
    """What to leave out at a time, and its rows; none where nothing can be or nothing is left."""
    size = max(np.abs(surface.white_values).max(), 1.0)
    if surface.solution.ssr > surface.solution.df * (1e-12 * size) ** 2:
        found = precision(surface)
        for name, blocks in ways_to_leave_out(surface):
            if left_out_errors(*found, blocks) is not None:
                return name, blocks
    return "print", []


def _rms(errors: list[np.ndarray]) -> float:
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))


def _log_density(p: np.ndarray, errors: list[np.ndarray], blocks: list[np.ndarray]) -> float:
    """Log density of what was left out, given the rest, but for a constant."""
    found = 0.0
    for rows, error in zip(blocks, errors):
        block = p[rows][:, rows]
        found += 0.5 * (np.linalg.slogdet(block)[1] - error @ block @ error)
    return float(found)


class _Known(Kernel):
    """A covariance without hyperparameters."""

    def __call__(  # noqa: N803
        self, X: np.ndarray, Y: np.ndarray | None = None, eval_gradient: bool = False
    ) -> np.ndarray | tuple[np.ndarray, np.ndarray]:
        covariance = self.between(X, Y)
        return (covariance, np.empty((*covariance.shape, 0))) if eval_gradient else covariance

    @abstractmethod
    def between(self, rows: np.ndarray, others: np.ndarray | None) -> np.ndarray:
        """Covariances of rows with others, or with themselves."""

    def is_stationary(self) -> bool:
        return False


class _Terms(_Known):
    """The second-order terms, from column `first` on, with coefficients that may be anything."""

    def __init__(self, first: int):
        self.first = first

    def between(self, rows: np.ndarray, others: np.ndarray | None) -> np.ndarray:
        others = rows if others is None else others
        return _FREE * rows[:, self.first :] @ others[:, self.first :].T

    def diag(self, X: np.ndarray) -> np.ndarray:  # noqa: N803
        return _FREE * (X[:, self.first :] ** 2).sum(axis=1)


class _Spread(_Known):
    """What varies between make-readies, prints and features, whose ids start at column `first`."""

    def __init__(self, first: int, make_ready: float, print_: float, feature: float):
        self.first, self.make_ready, self.print_, self.feature = first, make_ready, print_, feature

    def between(self, rows: np.ndarray, others: np.ndarray | None) -> np.ndarray:
        ready, print_, count = rows[:, self.first : self.first + _IDS].T
        other_ready, other_print = (ready, print_) if others is None else others.T[self.first :][:2]
        covariance = self.make_ready * (ready[:, None] == other_ready)
        covariance = covariance + self.print_ * (print_[:, None] == other_print)
        if others is None:
            covariance[np.diag_indices(len(rows))] += self.feature / count
        return covariance

    def diag(self, X: np.ndarray) -> np.ndarray:  # noqa: N803
        return self.make_ready + self.print_ + self.feature / X[:, self.first + 2]


def _settings(surface: Surface) -> list[str]:
    """Coded columns that the surface bends over."""
    return [term[0] for term in surface.design.terms if len(term) == 1]


def _table(surface: Surface, setups: pd.DataFrame, ids: np.ndarray) -> np.ndarray:
    """Rows for the process: coded settings, ids, terms."""
    coded = surface.design.coded(setups)
    settings = [coded[name] for name in _settings(surface)]
    return np.column_stack([*settings, ids, surface.design.matrix_of(coded, len(setups))])


def _rows(surface: Surface) -> np.ndarray:
    ready = np.zeros(len(surface.cells))
    for at, (rows, _) in enumerate(surface.groups.blocks):
        ready[rows] = at
    prints = pd.factorize(surface.cells["print"])[0]
    return _table(surface, surface.cells, np.column_stack([ready, prints, surface.cells["count"]]))


def _parts(surface: Surface, width: int) -> list[RBF]:
    """The parts of the departure as kernels of tables with so many columns."""
    settings = _settings(surface)
    found = []
    for part in departure_parts(surface.design, surface.cells):
        lengths = np.full(width, np.inf)
        lengths[[settings.index(name) for name in part.columns]] = part.length
        found.append(RBF(lengths, "fixed"))
    return found


def _fitted_process(surface: Surface, whole: Surface) -> tuple[GaussianProcessRegressor, list[np.ndarray]]:
    """The process on what the whole trial's surface leaves of the cells of `surface`, in units of a new
    print's spread, and the kernels of its parts."""
    rows, unit, components = _rows(surface), surface.scale, surface.components
    parts, first = _parts(surface, rows.shape[1]), len(_settings(surface))
    bend = reduce(add, (ConstantKernel(0.3, (1e-3, 1e3)) * part for part in parts))
    spread = _Spread(first, components.make_ready / unit, components.print_ / unit, components.feature / unit)
    kernel = bend + ConstantKernel(1.0, (0.05, 1.5)) * spread + _Terms(first + _IDS)
    process = GaussianProcessRegressor(kernel, alpha=1e-9, optimizer=_optimise)
    residuals = surface.cells["value"].to_numpy(float) - whole.mean(surface.cells)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # a part of no size ends at its bound
        process.fit(rows, residuals / np.sqrt(unit))
    return process, [part(rows) for part in parts]


def _optimise(
    criterion: Callable[[np.ndarray], tuple[float, np.ndarray]], start: np.ndarray, bounds: np.ndarray
) -> tuple[np.ndarray, float]:
    """Hyperparameters to a digit or two: nothing said of them depends on more."""
    found = optimize.minimize(
        criterion,
        start,
        method="L-BFGS-B",
        jac=True,
        bounds=bounds,
        options={"maxiter": 30, "ftol": 1e-5, "gtol": 1e-2},
    )
    return found.x, found.fun


def _chance(surface: Surface, kernels: list[np.ndarray]) -> float:
    """How often prints of the surface alone show as much of a process.

    The restricted likelihood ratio of a process of some size against none, the largest over sizes
    and parts, has a distribution that depends on the layout alone and is simulated (Crainiceanu &
    Ruppert 2004, J. R. Stat. Soc. B 66, 165-185).
    """
    p = surface.white_design.shape[1]
    beside = linalg.qr(surface.white_design)[0][:, p:].T
    drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(beside)))
    rests = np.vstack([beside @ surface.white_values, drawn])
    rests /= np.linalg.norm(rests, axis=1, keepdims=True)
    apart = beside @ surface.whitening.apply(np.eye(beside.shape[1]))
    ratios = np.max([_likelihood_ratios(rests, apart @ kernel @ apart.T) for kernel in kernels], axis=0)
    return float((ratios >= ratios[0]).mean())


def _likelihood_ratios(rests: np.ndarray, kernel: np.ndarray) -> np.ndarray:
    """Largest log likelihood ratio over the sizes of the process, for each row of unit length."""
    sizes, turn = np.linalg.eigh(kernel)
    seen = sizes > 1e-6
    shares = (rests @ turn[:, seen]) ** 2
    grown = 1.0 + _SIZES[:, None] * sizes[seen]
    taken = shares @ (1.0 - 1.0 / grown).T
    ratios = -np.log(grown).sum(axis=1) - rests.shape[1] * np.log1p(-taken)
    return ratios.max(axis=1, initial=0.0)
