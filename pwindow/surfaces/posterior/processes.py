"""Processes that a trial leaves possible: draws of all that is not known of them, each as probable as another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.model.terms import model_matrices
from pwindow.surfaces.posterior.joint import ClosedForm, JointSurfaces

_SEED = 71933


@dataclass(frozen=True, kw_only=True)
class Processes:
    """Processes θ, each with surfaces and spreads of its own.

    Attributes
    ----------
    joint : JointSurfaces
        What they were drawn for.
    coefficients : tuple of ndarray, shape (s, p_r)
    spread : ndarray, shape (s, q, q)
        Covariance of a new print's true means about the surfaces, make-ready and print together.
    between : ndarray, shape (s, q)
        Standard deviation between features of a print.
    off : ndarray, shape (s, q)
        How far a response is from its form, in units of `JointSurfaces.missed`: standard normal.
    slopes : mapping of str to ndarray, shape (s, k)
        How the spread of responses grows with the settings, as of `SpreadGrowth`.
    """

    joint: JointSurfaces
    coefficients: tuple[np.ndarray, ...]
    spread: np.ndarray
    between: np.ndarray
    off: np.ndarray
    slopes: Mapping[str, np.ndarray]

    @classmethod
    def of(cls, joint: JointSurfaces, count: int) -> Processes:
        """Processes drawn from the posterior.

        Parameters
        ----------
        joint : JointSurfaces
        count : int
            How many; fewer where the posterior was sampled and has no more draws.
        """
        rng = np.random.default_rng(_SEED)
        draws = joint.posterior
        if isinstance(draws, ClosedForm):
            coefficients, spread = _from_closed_form(joint, draws, count, rng)
            between = np.tile(joint.between, (count, 1))
        else:
            at = np.linspace(0, len(draws.feature) - 1, min(count, len(draws.feature))).round().astype(int)
            coefficients = tuple(beta[at] for beta in draws.coefficients)
            spread = draws.make_ready[at] + draws.print_[at]
            between = np.sqrt(draws.feature[at])
        return cls(
            joint=joint,
            coefficients=coefficients,
            spread=spread,
            between=between,
            off=rng.standard_normal(between.shape),
            slopes={name: one.drawn(len(between), rng) for name, one in joint.growths.items()},
        )

    def means(self, setups: pd.DataFrame) -> np.ndarray:
        """True means of each process at set-ups on the modelled scale, shape (m, s, q)."""
        matrices = model_matrices(self.joint.designs, setups)
        means = np.stack([x @ beta.T for x, beta in zip(matrices, self.coefficients)], axis=-1)
        return means + self.joint.missed(setups)[:, None, :] * self.off

    def deviations(self, setups: pd.DataFrame) -> np.ndarray:
        """Standard deviations from print to print at set-ups beside those of `spread`, shape (m, s, q)."""
        found = np.ones((len(setups), *self.between.shape))
        for name, slopes in self.slopes.items():
            found[:, :, self.joint.names.index(name)] = self.joint.growths[name].deviations(setups, slopes)
        return found


def _from_closed_form(
    joint: JointSurfaces, known: ClosedForm, count: int, rng: np.random.Generator
) -> tuple[tuple[np.ndarray, ...], np.ndarray]:
    """Σ inverse Wishart, and the coefficients normal given Σ (Peterson 2004, section 3)."""
    size = len(joint.names)
    spare = joint.df + size - 1.0
    lower = np.tril(rng.standard_normal((count, size, size)), -1)
    lower[:, range(size), range(size)] = np.sqrt(rng.chisquare(spare - np.arange(size), (count, size)))
    # W = (A A')⁻¹ is inverse Wishart about the identity; A⁻ᵀ is a root of it
    root = np.sqrt(joint.df) * np.linalg.inv(lower).swapaxes(-1, -2)
    error = np.linalg.cholesky(known.measured) @ root
    about = np.linalg.cholesky(known.unscaled_cov) @ rng.standard_normal((count, *known.shape))
    coefficients = np.stack(joint.centres, axis=-1) + about @ error.swapaxes(-1, -2)
    inner = np.linalg.cholesky(joint.spread) @ root
    return tuple(np.moveaxis(coefficients, -1, 0)), inner @ inner.swapaxes(-1, -2)
