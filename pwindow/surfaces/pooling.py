"""Variance inside groups, pooled over them."""

from __future__ import annotations


def pooled_variance(groups) -> tuple[float, int]:
    """Pooled variance of a grouped column and the degrees of freedom it stands on.

    Parameters
    ----------
    groups : pandas SeriesGroupBy

    Returns
    -------
    variance : float
        In the square of the column's unit; 0 where no group has two values.
    df : int
    """
    counts = groups.count()
    df = int((counts - 1).clip(lower=0).sum())
    squares = (groups.var().fillna(0.0) * (counts - 1)).sum()
    return (float(squares / df) if df else 0.0), df
