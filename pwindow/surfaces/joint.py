"""The joint predictive distribution of all responses of the next print: a multivariate t.

With the same terms and prints for every response it is the closed form of the non-informative
prior, :math:`y | x ∼ t_ν(B'z, (1 + z'(X'X)^{-1}z) S/ν)` with ν = n - p - q + 1 (Peterson 2004,
J. Quality Technology 36, 139-153). Surfaces with terms of their own keep the covariance of their
coefficients, σ_ij (X_i'X_i)⁻¹ X_i'X_j (X_j'X_j)⁻¹ (Zellner 1962, JASA 57, 348-368).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.surface import Surface


@dataclass(frozen=True)
class Predictive:
    """Multivariate t of the true means of the next print at each of m set-ups.

    Attributes
    ----------
    names : tuple of str
        Responses, q of them.
    mean : ndarray, shape (m, q)
        Location on the modelled scale.
    scale : ndarray, shape (m, q, q)
        Scale matrices.
    df : float
    """

    names: tuple[str, ...]
    mean: np.ndarray
    scale: np.ndarray
    df: float


@dataclass(frozen=True)
class JointSurfaces:
    """What the joint predictive needs, worked out once per fit.

    Attributes
    ----------
    surfaces : tuple of Surface
    df : float
    residual : ndarray, shape (q, q)
        Scale matrix of a new print's measured means, S/ν.
    spread : ndarray, shape (q, q)
        Scale matrix of a new print's true means.
    coupling : dict of (int, int) to ndarray, shape (p_i, p_j)
        Covariance of the coefficients over σ_ij.
    """

    surfaces: tuple[Surface, ...]
    df: float
    residual: np.ndarray
    spread: np.ndarray
    coupling: Mapping[tuple[int, int], np.ndarray]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(surface.kind.name for surface in self.surfaces)

    @property
    def correlation(self) -> np.ndarray:
        """Correlation of the residuals of one print between responses, shape (q, q)."""
        deviation = np.sqrt(np.diag(self.residual))
        return self.residual / np.outer(deviation, deviation)

    def means(self, setups: pd.DataFrame) -> np.ndarray:
        """Predicted means on the modelled scale, shape (len(setups), q)."""
        return np.column_stack([surface.mean(setups) for surface in self.surfaces])

    def predict(self, setups: pd.DataFrame) -> Predictive:
        """The predictive distribution at each set-up."""
        matrices = [surface.design.matrix(setups) for surface in self.surfaces]
        mean = np.column_stack([x @ s.solution.params for x, s in zip(matrices, self.surfaces)])
        count = len(self.surfaces)
        scale = np.broadcast_to(self.spread, (len(setups), count, count)).copy()
        for i in range(count):
            for j in range(i + 1):
                reach = ((matrices[i] @ self.coupling[i, j]) * matrices[j]).sum(axis=1)
                scale[:, i, j] += self.residual[i, j] * reach
                scale[:, j, i] = scale[:, i, j]
        return Predictive(self.names, mean, scale, self.df)


def join_surfaces(surfaces: Mapping[str, Surface]) -> JointSurfaces:
    """Combine the surfaces of one trial."""
    members = tuple(surfaces.values())
    df = max(min(surface.df for surface in members) - len(members) + 1, 1.0)
    errors, designs = _aligned(members)
    residual = _residual_scale(members, errors, df)
    spread = residual - np.diag(
        [s.components.feature / s.components.typical_count * s.df / df for s in members]
    )
    inverses = [surface.solution.unscaled_cov for surface in members]
    coupling = {
        (i, j): inverses[i] if i == j else inverses[i] @ (designs[i].T @ designs[j]) @ inverses[j]
        for i in range(len(members))
        for j in range(i + 1)
    }
    return JointSurfaces(members, df, residual, _positive(spread), coupling)


def _aligned(members: tuple[Surface, ...]) -> tuple[np.ndarray, list[np.ndarray]]:
    """Whitened residuals and model matrices on one list of rows, absent rows NaN and 0."""
    labels = [list(zip(s.cells["print"], s.slots)) for s in members]
    rows = {label: at for at, label in enumerate(dict.fromkeys(sum(labels, [])))}
    errors = np.full((len(rows), len(members)), np.nan)
    designs = []
    for j, (surface, own) in enumerate(zip(members, labels)):
        at = [rows[label] for label in own]
        errors[at, j] = surface.solution.residuals
        design = np.zeros((len(rows), surface.white_design.shape[1]))
        design[at] = surface.white_design
        designs.append(design)
    return errors, designs


def _residual_scale(members: tuple[Surface, ...], errors: np.ndarray, df: float) -> np.ndarray:
    """Scale matrix of the residuals: S/ν, with correlations from the prints two responses share."""
    count = len(members)
    correlation = np.eye(count)
    for i in range(count):
        for j in range(i):
            both = ~np.isnan(errors[:, i]) & ~np.isnan(errors[:, j])
            one, other = errors[both, i], errors[both, j]
            size = np.sqrt((one @ one) * (other @ other))
            correlation[i, j] = correlation[j, i] = (one @ other) / size if size > 0 else 0.0
    deviation = np.sqrt([surface.scale * surface.df / df for surface in members])
    return _positive(correlation) * np.outer(deviation, deviation)


def _positive(matrix: np.ndarray) -> np.ndarray:
    """The matrix with its correlations shrunk just enough to be positive definite."""
    unit = np.sqrt(np.diag(matrix).clip(min=1e-300))
    correlation = matrix / np.outer(unit, unit)
    np.fill_diagonal(correlation, 0.0)
    lowest = np.linalg.eigvalsh(correlation)[0]
    keep = min(1.0, (1.0 - 1e-6) / -lowest) if lowest < 0 else 1.0
    return (keep * correlation + np.eye(len(unit))) * np.outer(unit, unit)
