"""Ordinary least squares to the last digit that double precision can hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

_ROUNDS = 8


@dataclass(frozen=True)
class LeastSquares:
    """Solution of min ‖y - X b‖².

    Attributes
    ----------
    params : ndarray, shape (p,)
    unscaled_cov : ndarray, shape (p, p)
        (X'X)⁻¹.
    residuals : ndarray, shape (n,)
    leverage : ndarray, shape (n,)
        Diagonal of the hat matrix.
    """

    params: np.ndarray
    unscaled_cov: np.ndarray
    residuals: np.ndarray
    leverage: np.ndarray

    @property
    def df(self) -> int:
        """Residual degrees of freedom, n - p."""
        return len(self.residuals) - len(self.params)

    @property
    def ssr(self) -> float:
        """Residual sum of squares."""
        return float(self.residuals @ self.residuals)


def least_squares(design: np.ndarray, y: np.ndarray) -> LeastSquares:
    """Solve by Householder QR with iterative refinement in extended precision.

    The columns are scaled to unit length, solved by QR, and the pair (residual, solution) of the
    augmented system is refined with residuals in extended precision (Björck 1967, BIT 7, 257-278).
    Where the platform has no extended precision the refinement still mends the QR's rounding.

    Parameters
    ----------
    design : ndarray, shape (n, p), full column rank, n ≥ p
        Extended precision is used where it is given.
    y : ndarray, shape (n,)

    Returns
    -------
    LeastSquares
    """
    wide, target = np.asarray(design, np.longdouble), np.asarray(y, np.longdouble)
    lengths = 2.0 ** np.round(np.log2(np.linalg.norm(wide.astype(float), axis=0)))  # exact in binary
    wide = wide / lengths
    q, r = linalg.qr(wide.astype(float), mode="economic")
    params, residuals = np.zeros(wide.shape[1], np.longdouble), np.zeros(len(target), np.longdouble)
    for _ in range(_ROUNDS):
        miss = (target - residuals - wide @ params).astype(float)
        slope = -(wide.T @ residuals).astype(float)
        half = linalg.solve_triangular(r, slope, trans="T")
        along = q.T @ miss
        residuals = residuals + miss - q @ (along - half)
        params = params + linalg.solve_triangular(r, along - half)
    inverse = _refined_inverse(wide, r) / lengths[:, None]
    return LeastSquares(
        (params / lengths).astype(float), inverse @ inverse.T, residuals.astype(float), (q**2).sum(axis=1)
    )


def _refined_inverse(wide: np.ndarray, r: np.ndarray) -> np.ndarray:
    """R⁻¹ by a second QR of X R⁻¹, which is nearly orthogonal, so its rounding is benign."""
    first = linalg.solve_triangular(r, np.eye(len(r)))
    near = (wide @ first.astype(np.longdouble)).astype(float)
    second = linalg.qr(near, mode="r")[0][: len(r)]
    return first @ linalg.solve_triangular(second, np.eye(len(r)))
