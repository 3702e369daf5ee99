"""Whether values are shaped as normal ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

FEWEST = 8
_MOST = 5000  # values: of more the distribution of the statistic is not known well


@dataclass(frozen=True, kw_only=True)
class Shape:
    """How values are shaped, and how far that is from normal.

    Attributes
    ----------
    straightness : float
        Squared correlation of the ordered values with normal scores (Shapiro & Francia 1972, J. Am. Stat. Assoc. 67,
        215); 1 for values that are as normal as can be.
    p : float
        Probability that normal values are no straighter (Royston 1993, Stat. Comput. 3, 117).
    skewness, kurtosis : float
        Standardised third moment, and fourth one less 3, each over its standard error for normal values.
    """

    straightness: float
    p: float
    skewness: float
    kurtosis: float

    @classmethod
    def of(cls, values: np.ndarray) -> Shape | None:
        """Of some values; None of too few, or of values that are all the same."""
        values = values[:: len(values) // (_MOST + 1) + 1]
        count, about = len(values), values - values.mean()
        variance = float((about**2).mean())
        if count < FEWEST or variance <= 0.0:
            return None
        scores = ndtri((np.arange(1, count + 1) - 0.375) / (count + 0.25))
        straightness = float((np.sort(about) @ scores) ** 2 / (count * variance * (scores @ scores)))
        return cls(
            straightness=straightness,
            p=_of_straightness(straightness, count),
            skewness=float((about**3).mean() / variance**1.5 / np.sqrt(6.0 / count)),
            kurtosis=float(((about**4).mean() / variance**2 - 3.0) / np.sqrt(24.0 / count)),
        )


def _of_straightness(straightness: float, count: int) -> float:
    """The logarithm of what is not straight is nearly normal."""
    log = np.log(count)
    mean = -1.2725 + 1.0521 * (np.log(log) - log)
    spread = 1.0308 - 0.26758 * (np.log(log) + 2.0 / log)
    return float(ndtr((mean - np.log1p(-straightness)) / spread))
