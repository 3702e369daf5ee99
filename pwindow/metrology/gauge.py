"""A gauge study: how much of what is measured is the measuring, by analysis of variance and by likelihood."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import chi2, f

from pwindow.errors import UnusableInput, first_few

COLUMNS = ("part", "operator", "repeat", "value")
_POOLED = 0.25
"""p of the interaction from which on it is counted as repeatability (common practice, no source)."""
_CATEGORIES = math.sqrt(2.0)
_FEWEST_PARTS = 3


@dataclass(frozen=True, kw_only=True)
class Components:
    """Variances of a measured value, in the square of its unit; those below zero are kept as they came.

    Attributes
    ----------
    part : float
        Between parts.
    operator, interaction : float or None
        Between operators, and of operators with parts; None where the study cannot say or it was pooled.
    repeatability : float
        Between repeats by one operator on one part.
    """

    part: float
    operator: float | None
    interaction: float | None
    repeatability: float

    @property
    def gauge(self) -> float:
        """Of the measuring: repeatability and what operators differ by; variances below zero count as none."""
        return self.repeatability + max(self.operator or 0.0, 0.0) + max(self.interaction or 0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class GaugeStudy:
    """What a gauge study finds.

    Attributes
    ----------
    parts, operators, repeats : int
        Repeats are those of most cells.
    anova : DataFrame or None
        ``sum_of_squares``, ``df``, ``mean_square``, ``f``, ``p`` of each source; None where the study is not balanced.
    components : Components or None
        By the mean squares of the full model (method of moments); None where it is not balanced.
    reduced : Components or None
        The same with the interaction counted as repeatability, where its p is above a quarter.
    likelihood : Components
        By restricted maximum likelihood, none below zero.
    """

    parts: int
    operators: int
    repeats: int
    anova: pd.DataFrame | None
    components: Components | None
    reduced: Components | None
    likelihood: Components

    @property
    def chosen(self) -> Components:
        """The components to use: reduced, else full, else by likelihood."""
        return self.reduced or self.components or self.likelihood

    @property
    def error(self) -> float:
        """Standard deviation of the measuring, in the unit of the values."""
        return math.sqrt(self.chosen.gauge)

    @property
    def share(self) -> float:
        """Standard deviation of the measuring over that of all values."""
        return math.sqrt(self.chosen.gauge / (self.chosen.gauge + max(self.chosen.part, 0.0)))

    @property
    def categories(self) -> int:
        """How many groups of parts the gauge distinguishes: √2 times the parts' deviation over its own, cut."""
        return max(1, int(_CATEGORIES * math.sqrt(max(self.chosen.part, 0.0) / self.chosen.gauge)))

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Ends of the confidence interval of the repeatability's standard deviation, by its chi-squared distribution.

        Parameters
        ----------
        confidence : float
        """
        if self.anova is None:
            return math.nan, math.nan
        square, df = self.anova["sum_of_squares"]["repeatability"], self.anova["df"]["repeatability"]
        low, high = np.sqrt(square / chi2.ppf([(1 + confidence) / 2, (1 - confidence) / 2], df))
        return float(low), float(high)


def gauge_study(table: pd.DataFrame) -> GaugeStudy:
    """Variances of a gauge study: parts, measured by operators, each several times.

    Parameters
    ----------
    table : DataFrame
        ``part``, ``operator`` (may be left out), ``value``; a row a measurement.

    Raises
    ------
    UnusableInput
        If there are fewer than three parts, no repeats, or all values are alike.

    Notes
    -----
    Two-way random model with interaction; one-way where there is one operator (Montgomery & Runger 1993, Quality
    Engineering 6, 115-135 and 289-305).
    """
    table = _checked(table)
    cells = table.groupby(["part", "operator"])["value"].count()
    parts, operators = table["part"].nunique(), table["operator"].nunique()
    repeats = int(cells.mode().iloc[0])
    balanced = len(cells) == parts * operators and cells.nunique() == 1
    sums = _sums(table, parts, operators, repeats) if balanced else None
    anova = None if sums is None else _anova(sums)
    full = None if sums is None else _moments(sums, parts, operators, repeats)
    pooled = sums is not None and anova is not None and operators > 1 and anova["p"]["interaction"] > _POOLED
    reduced = _moments(_pooled(sums), parts, operators, repeats) if sums is not None and pooled else None
    return GaugeStudy(
        parts=parts,
        operators=operators,
        repeats=repeats,
        anova=anova,
        components=full,
        reduced=reduced,
        likelihood=_by_likelihood(table, operators),
    )


def _checked(table: pd.DataFrame) -> pd.DataFrame:
    missing = [name for name in ("part", "value") if name not in table]
    if missing:
        raise UnusableInput(
            f"a gauge study has columns part, operator, repeat and value; {first_few(missing)} is missing"
        )
    kept = table.assign(operator=table.get("operator", "one")).dropna(subset=["value"])
    if kept["part"].nunique() < _FEWEST_PARTS:
        raise UnusableInput(f"{kept['part'].nunique()} parts, and at least {_FEWEST_PARTS} are needed")
    if kept.groupby(["part", "operator"])["value"].count().max() < 2:
        raise UnusableInput(
            "no part was measured twice by the same operator, so nothing is known of repeatability"
        )
    if kept["value"].nunique() < 2:
        raise UnusableInput("all values are alike; the gauge may show too few digits")
    return kept


Sums = dict[str, tuple[float, int]]
"""Of each source its sum of squares and its degrees of freedom."""


def _sums(table: pd.DataFrame, parts: int, operators: int, repeats: int) -> Sums:
    """Sums of squares of a balanced study."""
    values = (
        table.sort_values(["part", "operator"])["value"].to_numpy(float).reshape(parts, operators, repeats)
    )
    cells, mean = values.mean(axis=2), values.mean()
    of_part = operators * repeats * float(((cells.mean(axis=1) - mean) ** 2).sum())
    of_operator = parts * repeats * float(((cells.mean(axis=0) - mean) ** 2).sum())
    of_cells = repeats * float(((cells - mean) ** 2).sum())
    found = {"part": (of_part, parts - 1)}
    if operators > 1:
        found["operator"] = of_operator, operators - 1
        found["interaction"] = of_cells - of_part - of_operator, (parts - 1) * (operators - 1)
    left = float(((values - cells[:, :, None]) ** 2).sum())
    return found | {"repeatability": (left, parts * operators * (repeats - 1))}


def _pooled(sums: Sums) -> Sums:
    """With the interaction counted as repeatability."""
    (square, df), (other, more) = sums["repeatability"], sums["interaction"]
    kept = {name: sums[name] for name in ("part", "operator")}
    return kept | {"repeatability": (square + other, df + more)}


def _anova(sums: Sums) -> pd.DataFrame:
    """Mean squares, and F of each source over the next one that varies beside it."""
    beside = "interaction" if "interaction" in sums else "repeatability"
    against = {"part": beside, "operator": beside, "interaction": "repeatability"}
    rows = []
    for name, (square, df) in sums.items():
        row = {"sum_of_squares": square, "df": df, "mean_square": square / df, "f": np.nan, "p": np.nan}
        if name in against:
            other, own = sums[against[name]]
            row["f"] = square / df / (other / own)
            row["p"] = float(f.sf(row["f"], df, own))
        rows.append(row)
    total = [sum(of) for of in zip(*sums.values(), strict=True)]
    rows.append({"sum_of_squares": total[0], "df": total[1], "mean_square": np.nan, "f": np.nan, "p": np.nan})
    return pd.DataFrame(rows, index=[*sums, "total"])


def _moments(sums: Sums, parts: int, operators: int, repeats: int) -> Components:
    squares = {name: square / df for name, (square, df) in sums.items()}
    error = squares["repeatability"]
    if operators == 1:
        part = (squares["part"] - error) / repeats
        return Components(part=part, operator=None, interaction=None, repeatability=error)
    beside = squares.get("interaction", error)
    return Components(
        part=(squares["part"] - beside) / (operators * repeats),
        operator=(squares["operator"] - beside) / (parts * repeats),
        interaction=(beside - error) / repeats if "interaction" in squares else None,
        repeatability=error,
    )


def _by_likelihood(table: pd.DataFrame, operators: int) -> Components:
    """Variances by restricted maximum likelihood."""
    import statsmodels.formula.api as smf

    formulas = {"part": "0 + C(part)"}
    if operators > 1:
        formulas |= {"operator": "0 + C(operator)", "interaction": "0 + C(part):C(operator)"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance of zero lies at the edge of what is possible
        model = smf.mixedlm("value ~ 1", table.assign(all=1), groups="all", vc_formula=formulas)
        fitted = model.fit(reml=True, method=["nm"], maxiter=5000)  # others stop early at the edge
    found = dict(zip(model.exog_vc.names, np.asarray(fitted.vcomp, float)))
    return Components(
        part=float(found["part"]),
        operator=None if operators == 1 else float(found["operator"]),
        interaction=None if operators == 1 else float(found["interaction"]),
        repeatability=float(fitted.scale),
    )
