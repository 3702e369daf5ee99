"""Does the second-order form miss something? A surface beside one that a Gaussian process may bend."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from pwindow.surfaces.checks.departure_process import Contrasts, DepartureProcess
from pwindow.surfaces.checks.diagnostics import left_out_errors, precision, ways_to_leave_out
from pwindow.surfaces.checks.outliers import refitted
from pwindow.surfaces.model.departures import departure_parts
from pwindow.surfaces.model.terms import Factor
from pwindow.surfaces.single.surface import Surface

CHANCE, HINT = 0.0125, 0.1
"""Four responses of a trial then raise a false alarm in at most one trial of twenty. A hint is too
frequent to be reported as a fault and too informative to be ignored: it widens intervals and probabilities."""
_SIZES = np.geomspace(0.02, 50.0, 12)  # of the process, beside the variance of a new print
_DRAWS, _SEED = 999, 20417
_MOST_LEVELS, _MOST_CELLS = 12, 200


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
    _process: DepartureProcess | None = field(default=None, repr=False, compare=False)

    @property
    def clearly_better(self) -> bool:
        return self.hinted and self.chance <= CHANCE

    @property
    def hinted(self) -> bool:
        return self.rms_process < self.rms_surface and self.gain > 0.0 and self.chance <= HINT

    @property
    def tried(self) -> pd.DataFrame:
        """The set-ups that were compared, one row each; none where nothing could be left out."""
        if self._process is None:
            return pd.DataFrame()
        surface = self._process.contrasts.surface
        return surface.cells.drop_duplicates(surface.design.apart)

    def missed(self, setups: pd.DataFrame) -> np.ndarray:
        """What the process adds to the surface at set-ups, on the modelled scale, shape (len(setups),).

        Zero where nothing hints at it.
        """
        if self._process is None or not self.hinted:
            return np.zeros(len(setups))
        return self._process.departures(setups)

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

    The process's sizes are found once, on all prints; of a trial with more than 200 cells, on a part.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    FormCheck
        Of a surface that leaves nothing or follows no setting, or whose prints cannot be left out,
        one that raises no warning.
    """
    with threadpool_limits(1, user_api="blas"):
        judged = _thinned(surface)
        left_out, blocks = ("print", []) if judged is None else _left_out(judged)
        if judged is None or not blocks:
            return _no_objection(surface, left_out)
        (p, py), unit = precision(judged), np.sqrt(judged.scale)
        contrasts = Contrasts.of(judged)
        process = DepartureProcess.of(contrasts, surface)
        plain = left_out_errors(p, py / unit, blocks)
        bent = left_out_errors(process.precision, process.weighted, blocks)
        if plain is None or bent is None:
            return _no_objection(surface, left_out)
        gain = _log_density(process.precision, bent, blocks) - _log_density(p, plain, blocks)
        rms_surface, rms_process = (float(unit) * _rms(errors) for errors in (plain, bent))
        return FormCheck(
            response=surface.kind.name,
            left_out=left_out,
            rms_surface=rms_surface,
            rms_process=rms_process,
            gain=gain,
            chance=_chance(contrasts),
            _process=process,
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
    """What to leave out at a time, and its rows; none where nothing can be, is left or could bend."""
    size = max(np.abs(surface.white_values).max(), 1.0)
    leaves_something = surface.solution.ssr > surface.solution.df * (1e-12 * size) ** 2
    if leaves_something and departure_parts(surface.design, surface.cells):
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


def _chance(contrasts: Contrasts) -> float:
    """How often prints of the surface alone show as much of a process.

    The restricted likelihood ratio of a process of some size against none, the largest over sizes
    and parts, has a distribution that depends on the layout alone and is simulated (Crainiceanu &
    Ruppert 2004, J. R. Stat. Soc. B 66, 165-185).
    """
    drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(contrasts.values)))
    rests = np.vstack([contrasts.values, drawn])
    rests /= np.linalg.norm(rests, axis=1, keepdims=True)
    ratios = np.max([_likelihood_ratios(rests, kernel) for kernel in contrasts.kernels], axis=0)
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
