"""What the prints of a trial say about one response: sufficient statistics, print by print."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.surfaces.model.censoring import sum_by
from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design


@dataclass(frozen=True)
class Completed:
    """Cell means as the surface sees them; the leading axis is that of the chains, or 1.

    Attributes
    ----------
    means : ndarray, shape (c, n)
        Mean of each print, 0 where it has none.
    within : ndarray, shape (c, p)
        Cross-product of model rows and cell means inside prints.
    square : ndarray, shape (c,)
        Sum of squares of the cell means inside prints, plus that of the features inside cells.
    """

    means: np.ndarray
    within: np.ndarray
    square: np.ndarray


@dataclass(frozen=True, kw_only=True)
class PrintStatistics:
    """One response, reduced to what a model with print effects needs.

    Attributes
    ----------
    design : ndarray, shape (n, p)
        Mean model row of each print, weighted by features; 0 where the print has none.
    counts : ndarray, shape (n,)
        Features of each print.
    within : ndarray, shape (p, p)
        Cross-product of model rows inside prints: what cells of one print tell.
    cells : DataFrame
        Sorted by print.
    rows : ndarray, shape (m, p)
        Model rows of the cells.
    centred : ndarray, shape (m, p)
        Model rows about their print's mean row.
    weights : ndarray, shape (m,)
        Features of each cell.
    member : ndarray of int, shape (m,)
        Print of each cell.
    feature_ss : float
        Sum of squares of the measured features inside cells.
    """

    design: np.ndarray
    counts: np.ndarray
    within: np.ndarray
    cells: pd.DataFrame
    rows: np.ndarray
    centred: np.ndarray
    weights: np.ndarray
    member: np.ndarray
    feature_ss: float

    @classmethod
    def of(cls, data: ResponseData, design: Design, prints: pd.Index) -> PrintStatistics:
        """Reduce a response to what its prints say.

        Parameters
        ----------
        data : ResponseData
        design : Design
        prints : Index
            All prints of the trial, in the order of the effects.
        """
        member = prints.get_indexer(pd.Index(data.cells["print"]))
        order = np.argsort(member, kind="stable")
        cells, member = data.cells.iloc[order].reset_index(drop=True), member[order]
        rows, weights = design.matrix(cells), cells["count"].to_numpy(float)
        counts = np.bincount(member, weights, len(prints))
        means = sum_by((rows * weights[:, None]).T, member, len(prints)).T / np.maximum(counts, 1.0)[:, None]
        centred = rows - means[member]
        within = centred.T @ (centred * weights[:, None])
        ss = data.feature_variance * data.feature_df
        return cls(
            design=means,
            counts=counts,
            within=within,
            cells=cells,
            rows=rows,
            centred=centred,
            weights=weights,
            member=member,
            feature_ss=ss,
        )

    def complete(self, values: np.ndarray, feature_ss: np.ndarray | float | None = None) -> Completed:
        """Reduce cell means, shape (c, m), with the sum of squares of the features inside cells."""
        means = sum_by(values * self.weights, self.member, len(self.counts)) / np.maximum(self.counts, 1.0)
        about = values - means[:, self.member]
        inside = self.feature_ss if feature_ss is None else feature_ss
        square = (self.weights * about**2).sum(axis=1) + inside
        return Completed(means, (values * self.weights) @ self.centred, square)


@dataclass(frozen=True)
class Readies:
    """Make-readies of the prints; one for all, and no effect, where they cannot be separated."""

    member: np.ndarray
    count: int
    split: bool
    order: np.ndarray
    starts: np.ndarray

    @classmethod
    def of(cls, readies: np.ndarray | None, prints: int) -> Readies:
        member = np.zeros(prints, dtype=int) if readies is None else readies
        order = np.argsort(member, kind="stable")
        starts = np.flatnonzero(np.diff(member[order], prepend=-1))
        return cls(member, int(member.max()) + 1, readies is not None, order, starts)

    def sums(self, values: np.ndarray) -> np.ndarray:
        """Sums of (c, n) by make-ready, (c, m)."""
        return np.add.reduceat(values[:, self.order], self.starts, axis=1)


@dataclass(frozen=True, kw_only=True)
class ByFeatureCount:
    """Prints of one response by their number of features, which is all that their weight depends on.

    Attributes
    ----------
    counts : ndarray, shape (k,)
        Features of each kind; 1 stands for none, whose `used` is 0.
    used : ndarray, shape (k,)
    member : ndarray of int, shape (n,)
    products : ndarray, shape (k, p * p)
        Cross-products of the model rows of each kind.
    of_ready : ndarray, shape (m, k)
        Prints of each kind in each make-ready.
    rows_of_ready : ndarray, shape (k, m * p)
        Sums of their model rows.
    """

    counts: np.ndarray
    used: np.ndarray
    member: np.ndarray
    products: np.ndarray
    of_ready: np.ndarray
    rows_of_ready: np.ndarray

    @classmethod
    def of(cls, statistics: PrintStatistics, readies: Readies) -> ByFeatureCount:
        counts, member = np.unique(statistics.counts, return_inverse=True)
        x = statistics.design
        products, sums, held = [], [], []
        for kind in range(len(counts)):
            own = (member == kind)[:, None] * np.column_stack([np.ones(len(x)), x])
            products.append((own[:, 1:].T @ own[:, 1:]).ravel())
            of_ready = np.add.reduceat(own[readies.order], readies.starts, axis=0)
            held.append(of_ready[:, 0])
            sums.append(of_ready[:, 1:].ravel())
        return cls(
            counts=np.where(counts > 0, counts, 1.0),
            used=(counts > 0) * 1.0,
            member=member,
            products=np.array(products),
            of_ready=np.column_stack(held),
            rows_of_ready=np.array(sums),
        )

    def cross(self, weights: np.ndarray) -> np.ndarray:
        """Weighted cross-products of all model rows, shape (c, p, p)."""
        size = int(np.sqrt(self.products.shape[1]))
        return (weights @ self.products).reshape(-1, size, size)

    def ready_sums(self, weights: np.ndarray) -> np.ndarray:
        """Weighted sums of the model rows of each make-ready, shape (c, m, p)."""
        return (weights @ self.rows_of_ready).reshape(len(weights), len(self.of_ready), -1)
