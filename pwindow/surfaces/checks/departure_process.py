"""A Gaussian process on what a surface leaves.

It lies over the coded settings: a part along each setting and one over all of them together, beside
what varies between make-readies, prints and features, and with the terms of the surface left free
(Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, section 2.7). How large each part
is comes from the restricted likelihood, that of contrasts which the terms leave at zero (Patterson &
Thompson 1971, Biometrika 58, 545-554).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import linalg, optimize

from pwindow.surfaces.model.departures import Part, departure_parts
from pwindow.surfaces.single.surface import Surface

_START, _BOUNDS = 0.3, (1e-3, 1e3)  # size of a part, beside the variance of a new print
_SPREAD_BOUNDS = (0.05, 1.5)  # of what varies between prints, beside what the surface alone leaves


@dataclass(frozen=True, eq=False)
class Contrasts:
    """What a surface leaves, apart from its terms, in units of a new print's spread.

    Attributes
    ----------
    surface : Surface
    apart : ndarray, shape (n - p, n)
        From the cells to independent contrasts of unit variance, zero for the surface's terms.
    values : ndarray, shape (n - p,)
    kernels : ndarray, shape (k, n - p, n - p)
        Covariance of the contrasts by each part of the process, of unit size.
    parts : tuple of Part
    """

    surface: Surface
    apart: np.ndarray
    values: np.ndarray
    kernels: np.ndarray
    parts: tuple[Part, ...]

    @classmethod
    def of(cls, surface: Surface) -> Contrasts:
        terms = surface.white_design.shape[1]
        beside = linalg.qr(surface.white_design)[0][:, terms:].T
        apart = beside @ surface.whitening.apply(np.eye(beside.shape[1]))
        coded, parts = surface.design.coded(surface.cells), departure_parts(surface.design, surface.cells)
        return cls(
            surface=surface,
            apart=apart,
            values=beside @ surface.white_values / np.sqrt(surface.scale),
            kernels=np.array([apart @ part.kernel(coded, coded) @ apart.T for part in parts]),
            parts=tuple(parts),
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class DepartureProcess:
    """The process as it follows from the prints of a surface.

    Attributes
    ----------
    contrasts : Contrasts
    sizes : ndarray, shape (k + 1,)
        Variance of each part, in units of a new print's, and the factor on what varies between prints.
    precision : ndarray, shape (n, n)
        P of the rows, as `diagnostics.precision` has it of the surface alone.
    weighted : ndarray, shape (n,)
        P times the values, in units of a new print's spread.
    shift : ndarray, shape (p,)
        What the process changes of the surface's coefficients, in those units.
    """

    contrasts: Contrasts
    sizes: np.ndarray
    precision: np.ndarray
    weighted: np.ndarray
    shift: np.ndarray

    @classmethod
    def of(cls, contrasts: Contrasts, whole: Surface) -> DepartureProcess:
        """Fit the process, and give its departures from another surface with the same terms.

        Parameters
        ----------
        contrasts : Contrasts
        whole : Surface
            What the departures are from.
        """
        surface, sizes = contrasts.surface, _sizes(contrasts)
        factor = linalg.cho_factor(_covariance(sizes, contrasts.kernels), lower=True)
        weighted = contrasts.apart.T @ linalg.cho_solve(factor, contrasts.values)
        process = cls(
            contrasts=contrasts,
            sizes=sizes,
            precision=contrasts.apart.T @ linalg.cho_solve(factor, contrasts.apart),
            weighted=weighted,
            shift=np.zeros(surface.white_design.shape[1]),
        )
        left = surface.cells["value"].to_numpy(float) - whole.mean(surface.cells)
        left = left / np.sqrt(surface.scale) - process._smooth(surface.cells)
        # P leaves nothing of the terms, so what varies between prints has no share in them
        shift = np.linalg.lstsq(surface.white_design, surface.whitening.apply(left), rcond=None)[0]
        return replace(process, shift=shift)

    def departures(self, setups: pd.DataFrame) -> np.ndarray:
        """What the process adds to the surface at set-ups, on the modelled scale, shape (len(setups),)."""
        surface = self.contrasts.surface
        added = self._smooth(setups) + surface.design.matrix(setups) @ self.shift
        return added * np.sqrt(surface.scale)

    def _smooth(self, setups: pd.DataFrame) -> np.ndarray:
        """The parts' own share, in units of a new print's spread."""
        surface = self.contrasts.surface
        coded, tried = surface.design.coded(setups), surface.design.coded(surface.cells)
        kernels = [size * part.kernel(coded, tried) for size, part in zip(self.sizes, self.contrasts.parts)]
        return np.sum(kernels, axis=0) @ self.weighted


def _covariance(sizes: np.ndarray, kernels: np.ndarray) -> np.ndarray:
    """Of the contrasts: the parts of the process by size, and, last, what varies between prints."""
    return np.tensordot(sizes[:-1], kernels, 1) + sizes[-1] * np.eye(kernels.shape[1])


def _sizes(contrasts: Contrasts) -> np.ndarray:
    """Sizes of most restricted likelihood, to a digit or two: nothing said of them depends on more."""
    values, kernels = contrasts.values, contrasts.kernels

    def criterion(logs: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus the log likelihood but for a constant, and its slopes."""
        sizes = np.exp(logs)
        factor = linalg.cho_factor(_covariance(sizes, kernels), lower=True)
        inverse = linalg.cho_solve(factor, np.eye(len(values)))
        weighted = inverse @ values
        minus = 0.5 * values @ weighted + np.log(np.diag(factor[0])).sum()
        seen = np.append(weighted @ kernels @ weighted, weighted @ weighted)
        expected = np.append((kernels * inverse).sum(axis=(1, 2)), np.trace(inverse))
        return minus, 0.5 * sizes * (expected - seen)

    count = len(kernels)
    found = optimize.minimize(
        criterion,
        np.log([_START] * count + [1.0]),
        method="L-BFGS-B",
        jac=True,
        bounds=np.log([_BOUNDS] * count + [_SPREAD_BOUNDS]),
        options={"maxiter": 30, "ftol": 1e-5, "gtol": 1e-2},
    )
    return np.exp(found.x)
