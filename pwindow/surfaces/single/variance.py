"""What varies between make-readies and prints, and the whitening that follows from it.

A cell mean has variance :math:`σ_m^2 + σ_p^2 + σ_f^2/n`: make-ready, print, and the mean of n
features. Cells of one make-ready share σ_m², cells of one print σ_p² too. The shares are found by
restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58, 545-554); with one cell a
print, one print a make-ready and equal n nothing is estimated and the fit is ordinary least squares.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import linalg, optimize

from pwindow.surfaces.model.responses import ResponseData


@dataclass(frozen=True, kw_only=True)
class Components:
    """Variances on the modelled scale, for a cell of `typical_count` features.

    Attributes
    ----------
    make_ready, print_, feature : float
        Variances σ_m², σ_p², σ_f²; `make_ready` is 0 and `split` False where each make-ready has one
        print, so that `print_` holds both.
    typical_count : float
    split : bool
        Whether the trial can separate make-ready and print.
    repeated : bool
        Whether any print has two features of a kind, so that `feature` was seen between them.
    """

    make_ready: float
    print_: float
    feature: float
    typical_count: float
    split: bool
    repeated: bool = True

    @property
    def measured(self) -> float:
        """Variance of the measured mean of a new print."""
        return self.make_ready + self.print_ + self.feature / self.typical_count

    def scaled(self, scale: float) -> Components:
        """All variances times `scale`."""
        return replace(
            self, make_ready=self.make_ready * scale, print_=self.print_ * scale, feature=self.feature * scale
        )


@dataclass(frozen=True)
class BlockPattern:
    """Blocks of one pattern.

    Attributes
    ----------
    rows : ndarray of int, shape (k, s)
        Rows of each of k blocks in the ordered table.
    members : ndarray of int, shape (s,)
        Print of each row, counted within the block.
    counts : ndarray, shape (s,)
        Features of each row.
    """

    rows: np.ndarray
    members: np.ndarray
    counts: np.ndarray


def _patterns(blocks: list[tuple[slice, np.ndarray]], counts: np.ndarray) -> list[BlockPattern]:
    found: dict[tuple, list] = {}
    for rows, members in blocks:
        own = np.unique(members, return_inverse=True)[1]
        found.setdefault((tuple(own), tuple(counts[rows])), []).append(np.arange(rows.start, rows.stop))
    return [BlockPattern(np.array(rows), np.array(key[0]), np.array(key[1])) for key, rows in found.items()]


@dataclass(frozen=True)
class Groups:
    """Which cells share a make-ready and a print.

    Attributes
    ----------
    order : ndarray of int, shape (n,)
        Order of the cells: by make-ready, then first cells of its prints before second cells, so
        that the Cholesky factor of the first cells is a leading block.
    blocks : list of (slice, ndarray)
        Independent blocks in that order, each with the print number of its cells.
    slots : ndarray of int, shape (n,)
        In the ordered table, whether a cell is the first, second, … of its print.
    split : bool
        Whether any make-ready has two prints, and is not the only one.
    patterns : list of BlockPattern
        The blocks by their pattern: what is worked out for one holds for all that have it.
    """

    order: np.ndarray
    blocks: list[tuple[slice, np.ndarray]]
    slots: np.ndarray
    split: bool
    patterns: list[BlockPattern]

    @classmethod
    def of(cls, cells: pd.DataFrame) -> Groups:
        prints = pd.factorize(cells["print"], sort=True)[0]
        mounted = cells["make_ready"].where(
            cells["make_ready"].notna(), "print " + cells["print"].astype(str)
        )
        readies = pd.factorize(mounted)[0]
        slots = cells.groupby("print", sort=False).cumcount().to_numpy()
        order = np.lexsort((prints, slots, readies))
        edges = np.flatnonzero(np.diff(readies[order], prepend=-1, append=-1))
        blocks = [(slice(a, b), prints[order][a:b]) for a, b in zip(edges[:-1], edges[1:])]
        split = len(blocks) > 1 and any(len(np.unique(members)) > 1 for _, members in blocks)
        return cls(
            order, blocks, slots[order], split, _patterns(blocks, cells["count"].to_numpy(float)[order])
        )

    @property
    def simple(self) -> bool:
        """Whether every cell stands alone: no shared make-ready, no shared print."""
        return all(len(members) == 1 for _, members in self.blocks)


@dataclass(frozen=True)
class Whitening:
    """Cholesky factors L of each pattern of blocks of the relative covariance V = L L'."""

    patterns: list[tuple[BlockPattern, np.ndarray]]
    log_det: float

    def apply(self, values: np.ndarray) -> np.ndarray:
        """L⁻¹ times ordered rows, shape kept."""
        white = np.empty_like(values, dtype=float)
        for pattern, factor in self.patterns:
            stacked = values[pattern.rows].swapaxes(0, 1)
            solved = linalg.solve_triangular(factor, stacked.reshape(len(factor), -1), lower=True)
            white[pattern.rows] = solved.reshape(stacked.shape).swapaxes(0, 1)
        return white

    def slopes(self, basis: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """Derivatives of -2 log restricted likelihood by the make-ready, print and feature variance, shape (3,).

        Each is tr(P K) - y'P K P y for that variance's share K of the covariance and P = V⁻¹ - V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹
        (Harville 1977, J. Am. Stat. Assoc. 72, 320-338).

        Parameters
        ----------
        basis : ndarray, shape (n, p)
            Orthonormal columns that span the whitened model matrix.
        rest : ndarray, shape (n,)
            Whitened residuals, in units in which their scale is 1.
        """
        found = np.zeros(3)
        for pattern, factor in self.patterns:
            shared = np.ones((len(factor), 1)), pattern.members[:, None] == np.unique(pattern.members)
            roots = linalg.solve_triangular(
                factor, np.hstack([*shared, np.diag(pattern.counts**-0.5)]), lower=True
            )
            edges = [0, 1, 1 + shared[1].shape[1]]  # of the columns that belong to each variance
            own = (roots**2).sum(axis=0) * len(pattern.rows)
            own -= ((roots.T @ basis[pattern.rows]) ** 2).sum(axis=(0, 2))
            own -= ((rest[pattern.rows] @ roots) ** 2).sum(axis=0)
            found += np.add.reduceat(own, edges)
        return found


def whitening(groups: Groups, components: Components) -> Whitening:
    """Whitening of ordered cells, in units in which a new print of typical count has variance 1."""
    unit = components.measured
    patterns, log_det = [], 0.0
    for pattern in groups.patterns:
        covariance = components.make_ready + components.print_ * (pattern.members[:, None] == pattern.members)
        covariance[np.diag_indices(len(pattern.members))] += components.feature / pattern.counts
        factor = np.linalg.cholesky(covariance / unit)
        log_det += 2.0 * len(pattern.rows) * np.log(np.diag(factor)).sum()
        patterns.append((pattern, factor))
    return Whitening(patterns, log_det)


def estimate_components(
    data: ResponseData, groups: Groups, design: np.ndarray, values: np.ndarray
) -> Components:
    """Variance components of a response, up to the scale that the residuals set.

    Parameters
    ----------
    data : ResponseData
    groups : Groups
    design : ndarray, shape (n, p)
        Model matrix of the ordered cells.
    values : ndarray, shape (n,)
        Ordered cell means.
    """
    counts = data.cells["count"].to_numpy(float)[groups.order]
    even = bool(np.all(counts == counts[0]))
    if groups.simple and (even or data.feature_variance == 0.0):
        return (
            Components(make_ready=0.0, print_=1.0, feature=0.0, typical_count=data.typical_count, split=False)
            if data.feature_variance == 0.0
            else (_from_residuals(data, design, values))
        )
    return _by_reml(data, groups, design, values)


def _from_residuals(data: ResponseData, design: np.ndarray, values: np.ndarray) -> Components:
    """Equal counts: the print's variance is what the residuals have beyond the features'."""
    residuals = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
    total = float(residuals @ residuals) / max(len(values) - design.shape[1], 1)
    feature = min(data.feature_variance, total * data.typical_count)
    return Components(
        make_ready=0.0,
        print_=total - feature / data.typical_count,
        feature=feature,
        typical_count=data.typical_count,
        split=False,
    )


def _by_reml(data: ResponseData, groups: Groups, design: np.ndarray, values: np.ndarray) -> Components:
    # the search is over residuals: a mean that is large beside the spread would cost it digits
    values = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
    total, typical_count = _from_residuals(data, design, values).measured, data.typical_count
    if total <= 0.0:
        return Components(
            make_ready=0.0, print_=1.0, feature=0.0, typical_count=typical_count, split=groups.split
        )

    # without two features in any cell, what cells of one print differ by must come from the means
    several = bool((groups.slots > 0).any())
    apart = data.feature_df == 0 and data.feature_variance == 0.0 and several
    floor = 1e-9 * total if several else 0.0

    free = np.array([groups.split, True, apart])  # what the criterion changes with

    def components(found: np.ndarray) -> Components:
        shares = np.zeros(3)
        shares[free] = found
        make_ready, print_, feature = np.exp(shares) * total
        return Components(
            make_ready=make_ready if groups.split else 0.0,
            print_=print_,
            feature=feature * typical_count if apart else max(data.feature_variance, floor),
            typical_count=typical_count,
            split=groups.split,
            repeated=data.feature_df > 0,
        )

    def criterion(shares: np.ndarray) -> tuple[float, np.ndarray]:
        found = components(shares)
        white = whitening(groups, found)
        q, r = np.linalg.qr(white.apply(design))
        target = white.apply(values)
        rest = target - q @ (q.T @ target)
        unit = found.measured
        df = len(values) - design.shape[1]
        log_det = white.log_det + 2.0 * np.log(np.abs(np.diag(r))).sum()
        slopes = white.slopes(q, rest / np.sqrt(unit))
        sizes = np.array([found.make_ready, found.print_, found.feature]) / unit
        return log_det + df * np.log(unit) + float(rest @ rest) / unit, (slopes * sizes)[free]

    start = np.log([0.4, 0.4, 0.2])[free]
    found = optimize.minimize(
        criterion,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=[(-12.0, 3.0)] * len(start),
        options={"ftol": 1e-13, "gtol": 1e-7},
    )
    return components(found.x)
