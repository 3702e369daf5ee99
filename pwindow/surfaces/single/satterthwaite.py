"""Degrees of freedom of estimated variances that mix make-ready and print variation.

A variance v(θ) of estimated components θ is matched to a scaled χ² with 2v²/(g'I⁻¹g) degrees of
freedom, g its gradient and I the information of the residual likelihood (Satterthwaite 1946,
Biometrics 2, 110-114; Fai & Cornelius 1996, J. Stat. Comput. Simul. 54, 363-378).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from pwindow.surfaces.single.variance import Groups, Whitening


@dataclass(frozen=True)
class Freedom:
    """What the data show of the variance components, in units of a new print's variance.

    Attributes
    ----------
    inverse_root : ndarray, shape (p, p)
        R⁻¹ of the whitened model matrix QR.
    parts : tuple of ndarray, shape (p, p)
        Q'W_iQ for each component, W_i its whitened covariance.
    inverse_information : ndarray, shape (k, k)
    residual : int
        Degrees of freedom of the residuals, which no match may exceed.
    """

    inverse_root: np.ndarray
    parts: tuple[np.ndarray, ...]
    inverse_information: np.ndarray
    residual: int

    @classmethod
    def of(cls, white_design: np.ndarray, groups: Groups, whitening: Whitening) -> Freedom:
        """Work out the information of the components that the data hold.

        Parameters
        ----------
        white_design : ndarray, shape (n, p)
            Whitened model matrix of the ordered cells.
        groups : Groups
        whitening : Whitening
            As it was applied to the design.
        """
        q, r = linalg.qr(white_design, mode="economic")
        loads = [_print_loads, _ready_loads] if groups.split else [_print_loads]
        count = len(loads)
        parts, information = [np.zeros((q.shape[1],) * 2) for _ in loads], np.zeros((count, count))
        for pattern, factor in whitening.patterns:
            # a block's share of W_i is u_i u_i', the same for all blocks of a pattern
            u = [linalg.solve_triangular(factor, load(pattern.members), lower=True) for load in loads]
            reach = [q[pattern.rows].swapaxes(1, 2) @ one for one in u]
            for i in range(count):
                parts[i] += np.einsum("kpa,kqa->pq", reach[i], reach[i])
                for j in range(count):
                    cross = u[i].T @ u[j]
                    mixed = np.einsum("kpa,ab,kpb->", reach[i], cross, reach[j])
                    information[i, j] += len(pattern.rows) * (cross**2).sum() - 2.0 * mixed
        for i in range(count):
            for j in range(count):
                information[i, j] = 0.5 * (information[i, j] + np.trace(parts[i] @ parts[j]))
        inverse = linalg.solve_triangular(r, np.eye(len(r)))
        return cls(inverse, tuple(parts), np.linalg.pinv(information), len(q) - len(r))

    def of_new_print(self) -> float:
        """Degrees of freedom of the variance of a new print."""
        gradient = np.ones((1, len(self.parts)))
        return float(self._matched(np.ones(1), gradient)[0])

    def of_means(self, rows: np.ndarray) -> np.ndarray:
        """Degrees of freedom of the variances of x'b, rows x of shape (m, p); shape (m,)."""
        reach = rows @ self.inverse_root
        gradient = np.stack([((reach @ part) * reach).sum(axis=1) for part in self.parts], axis=1)
        return self._matched((reach**2).sum(axis=1), gradient)

    def _matched(self, variance: np.ndarray, gradient: np.ndarray) -> np.ndarray:
        spread = ((gradient @ self.inverse_information) * gradient).sum(axis=1)
        with np.errstate(divide="ignore"):
            return np.clip(2.0 * variance**2 / spread, 1.0, self.residual)


def _print_loads(members: np.ndarray) -> np.ndarray:
    return (members[:, None] == np.unique(members)) * 1.0


def _ready_loads(members: np.ndarray) -> np.ndarray:
    return np.ones((len(members), 1))
