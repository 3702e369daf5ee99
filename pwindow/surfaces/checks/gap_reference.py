"""Which dimension of a plate gap predicts the printed one: its width at the surface, or lip to lip.

A gap that is cut into a solid is said to print two to three times as wide as it is at the surface, because raised lips at
its edges hold the ink back (common practice, no source). Here features of one print are compared with one another: what
a print adds to all its gaps is taken out, and each plate feature is left with one adjusted mean, as every print shows the
same features again. The means are regressed on both widths, with an intercept for each group of features that prints
connect (a plate and direction); features count by the variance of their mean and the variance between features together
(Paule & Mandel 1982, J. Res. NBS 87, 377). The slopes are free: closures may depend on the gap, so that a width's slope
of other than 1 is no evidence against it, and widths that rise together are not distinguished.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.sparse.csgraph import connected_components
from scipy.stats import t as student

from pwindow.trials.directions import angles
from pwindow.trials.trial import Trial
from pwindow.wording import amount, counted, listed

SURFACE, WITH_DEPTH, LIP = (
    "width at the surface",
    "width at the surface with depth",
    "lip-to-lip width",
)
"""What the printed gap may follow."""
BETWEEN, NOT_TOLD, NOT_SEPARATED = "neither by itself", "cannot be told", "cannot be separated"
LEVEL = 0.95
"""Of intervals."""
MOST_BRIDGED = 0.1
"""Share of a feature's gaps that may have bridged: the printed gaps that are left would be too wide on average."""
FEWEST = 5
"""Features, of which fewer separate nothing."""
_SURE = 0.99  # confidence that depth acts, before it is said to; or that a width is excluded that all else speaks for
_SPARE, _WITH_DEPTH_SPARE = 2, 3  # degrees of freedom that must be left, and with depth
_NEAR = 0.2  # of the weight: what closures that depend on the gap may add
_ALIKE = 1e-6  # smallest singular value of standardised widths, from which on they are not collinear
_RESOLVED = 1e-6  # µm²: the variance of a nanometre
_NAMED = ["plate_id", "plate_feature"]
_SIZES = ["plate_gap", "lip_width", "gap_depth"]


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A dimension that may predict the printed gap.

    Attributes
    ----------
    name : str
    rmse : float
        Root mean square error in µm of features that were left out; with a free slope.
    rmse_one_to_one : float
        The same where the printed gap follows it with a slope of 1.
    slope, low, high : float
        Printed gap over the width, with its interval at `LEVEL`.
    """

    name: str
    rmse: float
    rmse_one_to_one: float
    slope: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Weight:
    """Weight γ of the lip-to-lip width in b ((1 - γ) surface + γ lip): 0 where the surface acts alone, 1 where the lips do.

    Attributes
    ----------
    value, low, high : float
        The interval at `LEVEL` is Fieller's (1954, J. R. Stat. Soc. B 16, 175); infinite where it is not bounded.
    of_surface, of_lip : float
        Slopes of both widths side by side.
    p_surface, p_lip : float
        Probability of slopes as far from 0 where the width does not act.
    """

    value: float
    low: float
    high: float
    of_surface: float
    of_lip: float
    p_surface: float
    p_lip: float

    @classmethod
    def of(cls, slopes: np.ndarray, covariance: np.ndarray, df: int) -> Weight:
        """By both slopes side by side.

        Parameters
        ----------
        slopes : ndarray, shape (2,)
            Of the width at the surface and the lip-to-lip width.
        covariance : ndarray, shape (2, 2)
        df : int
            Degrees of freedom of the residuals.
        """
        low, high = _ratio_interval(slopes, covariance, df)
        p_surface, p_lip = 2.0 * student.sf(np.abs(slopes) / np.sqrt(np.diag(covariance)), df)
        return cls(
            value=float(slopes[1] / slopes.sum()),
            low=low,
            high=high,
            of_surface=float(slopes[0]),
            of_lip=float(slopes[1]),
            p_surface=float(p_surface),
            p_lip=float(p_lip),
        )

    @property
    def to_surface(self) -> bool:
        """Whether the width at the surface acts, and a weight of 1 is excluded."""
        acts = self.of_surface > 0.0 and self.p_surface < 1.0 - LEVEL
        return acts and self._consistent(0.0, self.p_lip, self.value)

    @property
    def to_lip(self) -> bool:
        """Whether the lip-to-lip width acts, and a weight of 0 is excluded."""
        acts = self.of_lip > 0.0 and self.p_lip < 1.0 - LEVEL
        return acts and self._consistent(1.0, self.p_surface, 1.0 - self.value)

    def _consistent(self, own: float, p_other: float, towards_other: float) -> bool:
        """Whether the weight of one width by itself is possible; or next to the weight that is found, and nearly possible."""
        away = max(self.low - own, own - self.high)
        nearly = p_other > 1.0 - _SURE or away <= _NEAR
        return p_other > 1.0 - LEVEL or (nearly and towards_other <= _NEAR)

    @property
    def between(self) -> bool:
        """Whether neither width by itself is possible, nor nearly."""
        return bool(np.isfinite(self.low)) and all(
            max(self.low - own, own - self.high) > _NEAR for own in (0.0, 1.0)
        )


def _ratio_interval(slopes: np.ndarray, covariance: np.ndarray, df: int) -> tuple[float, float]:
    """Fieller's interval of the second slope over the sum of both."""
    to_ratio = np.array([[0.0, 1.0], [1.0, 1.0]])
    (lip, both), spread = to_ratio @ slopes, to_ratio @ covariance @ to_ratio.T
    reach = student.ppf(0.5 + LEVEL / 2.0, df) ** 2
    square, constant = both**2 - reach * spread[1, 1], lip**2 - reach * spread[0, 0]
    if square <= 0.0:
        return -np.inf, np.inf
    half_linear = lip * both - reach * spread[0, 1]
    half = np.sqrt(max(half_linear**2 - square * constant, 0.0))
    return float((half_linear - half) / square), float((half_linear + half) / square)


@dataclass(frozen=True, kw_only=True, eq=False)
class GapReference:
    """Which plate dimension predicts the printed gap.

    Attributes
    ----------
    chosen : str
        `SURFACE`, `WITH_DEPTH`, `LIP`, `BETWEEN`, `NOT_TOLD` or `NOT_SEPARATED`.
    candidates : tuple of Candidate
        Empty where too few features are measured to compare any.
    weight : Weight or None
        Of the lip-to-lip width; None where candidates are not compared or their dimensions are collinear.
    depth_slope : float
        Printed gap over the depth beside both widths; NaN where depth is not considered.
    features : DataFrame
        One row for each feature that is compared: ``plate``, ``plate_id``, ``plate_feature``, ``plate_gap``, ``lip_width``,
        ``gap_depth``, ``printed`` (adjusted mean), all µm, and ``group`` (features that are compared with one another).
    bridged : int
        Features left out because more than `MOST_BRIDGED` of their gaps bridged.
    unmeasured : int
        Features left out because their lip-to-lip width is unknown, or no print shows them beside another.
    correlation : float
        Between both widths of the features of a group; NaN where they do not vary.
    """

    chosen: str
    candidates: tuple[Candidate, ...]
    weight: Weight | None
    depth_slope: float
    features: pd.DataFrame
    bridged: int
    unmeasured: int
    correlation: float

    def to_frame(self) -> pd.DataFrame:
        """One row per candidate: ``candidate``, ``rmse_um``, ``rmse_one_to_one_um``, ``slope``, ``slope_low``, ``slope_high``."""
        names = ["candidate", "rmse_um", "rmse_one_to_one_um", "slope", "slope_low", "slope_high"]
        rows = [
            (one.name, one.rmse, one.rmse_one_to_one, one.slope, one.low, one.high) for one in self.candidates
        ]
        return pd.DataFrame(rows, columns=names)

    @cached_property
    def ratios(self) -> pd.DataFrame:
        """Printed gap over ``surface`` and over ``lip``, and the number of ``features``, by plate process ("" unnamed)."""
        sums = self.features.assign(plate=self.features["plate"].fillna(""), features=1)
        sums = sums.groupby("plate")[["printed", "plate_gap", "lip_width", "features"]].sum()
        return pd.DataFrame(
            {
                "features": sums["features"],
                "surface": sums["printed"] / sums["plate_gap"],
                "lip": sums["printed"] / sums["lip_width"],
            }
        )

    @property
    def words(self) -> str:
        """What was found, on what it stands, and what it says of gaps that print wider than they are at the surface."""
        parts = [self._verdict(), self._errors(), self._why_wider(), self._left_out()]
        return " ".join(part for part in parts if part)

    def _verdict(self) -> str:
        count = counted(len(self.features), "plate feature", "plate features")
        if self.chosen == NOT_SEPARATED:
            return (
                f"Lip-to-lip width and width at the surface cannot be separated: {count} can be compared; "
                f"measure both widths of {FEWEST} or more gaps of a plate that differ in them."
            )
        if self.weight is None:
            return (
                f"It cannot be told which width of the plate gap the printed gap follows: over {count} the dimensions "
                "rise together exactly; measure gaps whose lips differ at the same width at the surface."
            )
        stood = f"({_weight_words(self.weight)}; {count})"
        if self.chosen == NOT_TOLD:
            return (
                f"It cannot be told which width of the plate gap the printed gap follows {stood}: the two widths "
                f"correlate by {self.correlation:.2f}; measure gaps whose lips differ at the same width at the surface."
            )
        if self.chosen == BETWEEN:
            return f"Printed gaps follow neither the width at the surface nor the lip-to-lip width by itself {stood}."
        depth = (
            f", {abs(self.depth_slope):.2g} µm {'wider' if self.depth_slope > 0 else 'narrower'} for each µm of depth"
            if self.chosen == WITH_DEPTH
            else ""
        )
        follows = SURFACE if self.chosen == WITH_DEPTH else self.chosen
        return f"Printed gaps follow the {follows} of the plate gap {stood}{depth}."

    def _errors(self) -> str:
        known = [one for one in self.candidates if np.isfinite(one.rmse)]
        said = listed([f"{amount(one.rmse)} µm by the {one.name}" for one in known])
        return f"Features left out are predicted with an error of {said} (root mean square)." if known else ""

    def _why_wider(self) -> str:
        if self.ratios.empty:
            return ""
        why = {
            LIP: "Raised lips hold the ink back, so that gaps print",
            SURFACE: "The lips do not add to the gap here: gaps print",
            WITH_DEPTH: "The lips do not add to the gap here: gaps print",
        }.get(self.chosen, "On average gaps print")
        of_surface, of_lip = (
            listed(
                [
                    f"{ratio:.2f}" + (f" ({plate})" if plate else "")
                    for plate, ratio in self.ratios[name].items()
                ]
            )
            for name in ("surface", "lip")
        )
        return f"{why} {of_surface} times their width at the surface, {of_lip} times their lip-to-lip width."

    def _left_out(self) -> str:
        parts = []
        if self.bridged:
            parts.append(
                f"{counted(self.bridged, 'feature', 'features')} with more than {100 * MOST_BRIDGED:.0f} % of the gaps bridged"
            )
        if self.unmeasured:
            parts.append(
                f"{counted(self.unmeasured, 'feature', 'features')} without a lip-to-lip width or another feature on its prints"
            )
        return f"Left out: {listed(parts)}." if parts else ""


def _weight_words(weight: Weight) -> str:
    if not np.isfinite(weight.low):
        return "the weight of the lip-to-lip width is not bounded"
    value, low, high = (
        f"{number:.2f}".replace("-", "−") for number in (weight.value, weight.low, weight.high)
    )
    return f"weight of the lip-to-lip width {value}, 95 % interval {low} to {high}"


def gap_reference(trial: Trial) -> GapReference | None:
    """Which plate dimension predicts the printed gap, by leaving out one plate feature after another.

    Parameters
    ----------
    trial : Trial
        Its rows of gaps have ``plate_gap`` and ``lip_width``, and may have ``gap_depth``. A feature is a ``plate_feature``
        of a ``plate_id``, or else each distinct plate process and dimensions.

    Returns
    -------
    GapReference or None
        None where no gap has a lip-to-lip width.
    """
    rows = _gap_rows(trial)
    if rows.empty or rows["lip_width"].isna().all():
        return None
    table = _feature_table(rows)
    open_ = table["share_bridged"] <= MOST_BRIDGED
    usable = open_ & table["lip_width"].notna()
    means = _adjusted(rows[rows["feature"].isin(table.index[usable])])
    table = table.join(means, how="left").assign(usable=usable)
    kept = table[table["usable"] & table["printed"].notna()].reset_index(drop=True)
    left = {"bridged": int((~open_).sum()), "unmeasured": int(open_.sum()) - len(kept)}
    return _compared(kept, left)


def _gap_rows(trial: Trial) -> pd.DataFrame:
    """Rows that show a gap, each with the number of its feature."""
    features = trial.features
    counts = features[["gaps_inspected", "gaps_bridged"]].astype(float).fillna(0.0)
    seen = features["plate_gap"].notna() & (features["gap"].notna() | counts.gt(0.0).any(axis=1))
    names = ["print", "plate", *_NAMED, *_SIZES, "gap"]
    rows = features.loc[seen, names].assign(
        direction=angles(features.loc[seen, "direction"].astype(float).fillna(0.0)),
        bridged=counts.loc[seen, "gaps_bridged"],
    )
    measured = rows["gap"].notna().astype(float)
    rows["inspected"] = np.maximum(counts.loc[seen, "gaps_inspected"], measured + rows["bridged"])
    named = rows["plate_feature"].notna()
    unnamed = rows[["plate", *_SIZES]].mask(named).add_prefix("unnamed ")
    keys = pd.concat([rows[_NAMED].where(named), unnamed], axis=1)
    return rows.assign(feature=keys.groupby(list(keys), dropna=False, sort=False).ngroup())


def _feature_table(rows: pd.DataFrame) -> pd.DataFrame:
    """One row per feature: what it is, and the share of its gaps that bridged."""
    groups = rows.groupby("feature")
    words = groups[["plate", *_NAMED]].first()
    counts = groups[["bridged", "inspected"]].sum()
    return words.join(groups[_SIZES].mean()).assign(share_bridged=counts["bridged"] / counts["inspected"])


def _adjusted(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean printed gap of features beside one another, its variance, and the group that is comparable, by feature.

    Gaps are those of their print and direction and those of their feature together; features that no print shows beside
    another are left out.
    """
    cells = (
        rows[rows["gap"].notna()].groupby(["print", "direction", "feature"])["gap"].mean().unstack("feature")
    )
    seen, values = cells.notna().to_numpy(float), cells.fillna(0.0).to_numpy(float)
    if not seen.size:
        return pd.DataFrame(columns=["printed", "variance", "group"], dtype=float)
    per_print = seen.sum(axis=1)
    print_means = values.sum(axis=1) / per_print
    laplacian = np.diag(seen.sum(axis=0)) - seen.T @ (seen / per_print[:, None])
    count, group = connected_components(np.abs(laplacian) > 1e-9, directed=False)
    inverse = np.linalg.pinv(laplacian, rcond=1e-10, hermitian=True)
    about = (values - print_means[:, None]) * seen
    effects = inverse @ about.sum(axis=0)
    rest = about - (effects - ((seen @ effects) / per_print)[:, None]) * seen
    freedom = max(seen.sum() - len(per_print) - len(effects) + count, 1.0)
    of_group = np.array([print_means[seen[:, group == one].any(axis=1)].mean() for one in range(count)])
    size = np.bincount(group)[group]
    found = pd.DataFrame(
        {
            "printed": effects + of_group[group],
            "variance": (rest**2).sum() / freedom * np.diag(inverse) + _RESOLVED,
            "group": group,
        },
        index=cells.columns,
    )
    return found[size > 1]


def _compared(features: pd.DataFrame, left: Mapping[str, int]) -> GapReference:
    both = ["plate_gap", "lip_width"]
    names = ["plate", *_NAMED, *_SIZES, "printed", "group"]
    shown = features[names]
    within = _within_groups(features, both)
    correlation = float(np.corrcoef(within.T)[0, 1]) if (within.std(axis=0) > 0.0).all() else np.nan
    alone: dict[str, Any] = {"features": shown, "depth_slope": np.nan, "correlation": correlation, **left}
    spare = len(features) - features["group"].nunique() - len(both)
    if len(features) < FEWEST or spare < _SPARE:
        return GapReference(chosen=NOT_SEPARATED, candidates=(), weight=None, **alone)
    depth = _depth_known(features)
    beside = [*both, "gap_depth"] if depth and spare > _WITH_DEPTH_SPARE else both
    if _collinear(features, beside):
        return GapReference(
            chosen=NOT_TOLD, candidates=_candidates(features, depth=depth), weight=None, **alone
        )
    design = _Design.of(features, beside)
    fit = design.fit(design.weights())
    candidates = _candidates(features, depth=depth)
    weight = Weight.of(fit.slopes[:2], fit.covariance[:2, :2], fit.df)
    acts = False
    if len(beside) == 3:
        alone["depth_slope"] = float(fit.slopes[2])
        acts = abs(fit.slopes[2]) > fit.covariance[2, 2] ** 0.5 * student.ppf(0.5 + _SURE / 2.0, fit.df)
    chosen = _chosen(weight, {one.name: one.rmse for one in candidates}, depth_acts=acts)
    return GapReference(chosen=chosen, candidates=candidates, weight=weight, **alone)


def _depth_known(features: pd.DataFrame) -> bool:
    """Whether every feature has a depth, and depths differ within a group."""
    depths = features["gap_depth"]
    return bool(depths.notna().all() and _within_groups(features, ["gap_depth"]).std() > 1e-3 * depths.mean())


def _within_groups(features: pd.DataFrame, names: list[str]) -> np.ndarray:
    return (features[names] - features.groupby("group")[names].transform("mean")).to_numpy(float)


def _collinear(features: pd.DataFrame, names: list[str]) -> bool:
    within = _within_groups(features, names)
    sizes = np.linalg.norm(within, axis=0)
    return bool((sizes == 0.0).any() or np.linalg.svd(within / sizes, compute_uv=False)[-1] < _ALIKE)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Design:
    """What printed gaps are regressed on, with an intercept for each group.

    Attributes
    ----------
    x : ndarray, shape (n, k + g)
        Dimensions, and an indicator of each group.
    y, variance : ndarray, shape (n,)
        Printed gaps, and the variances of their means.
    count : int
        k.
    """

    x: np.ndarray
    y: np.ndarray
    variance: np.ndarray
    count: int

    @classmethod
    def of(cls, features: pd.DataFrame, names: list[str], one_to_one: str | None = None) -> _Design:
        """Of printed gaps, or of what they differ by from a width that they follow with a slope of 1."""
        groups, y = features["group"].to_numpy(), features["printed"].to_numpy(float)
        dummies = (groups[:, None] == np.unique(groups)).astype(float)
        return cls(
            x=np.column_stack([features[names].to_numpy(float), dummies]),
            y=y if one_to_one is None else y - features[one_to_one].to_numpy(float),
            variance=features["variance"].to_numpy(float),
            count=len(names),
        )

    def weights(self) -> np.ndarray:
        """Inverse variances, of means and between features together, so that residuals are as large as they say."""

        def excess(between: float) -> float:
            fit = self.fit(1.0 / (self.variance + between))
            return fit.square - fit.df

        if excess(0.0) <= 0.0:
            return 1.0 / self.variance
        most = float(len(self.y) * self.y.var()) + 1.0
        return 1.0 / (self.variance + brentq(excess, 0.0, most, rtol=1e-6))

    def fit(self, weights: np.ndarray) -> _Fit:
        """By weighted least squares."""
        x, y, count = self.x, self.y, self.count
        inverse = np.linalg.pinv((x * weights[:, None]).T @ x, hermitian=True)
        beta = inverse @ (x.T @ (weights * y))
        rest, df = y - x @ beta, len(y) - x.shape[1]
        square = float(weights @ rest**2)
        leverage = np.einsum("ni,ij,nj->n", x, inverse, x) * weights
        return _Fit(
            slopes=beta[:count],
            covariance=max(square / df, 1.0) * inverse[:count, :count],
            square=square,
            df=df,
            left_out=rest / (1.0 - leverage),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    """A weighted regression.

    Attributes
    ----------
    slopes : ndarray, shape (k,)
    covariance : ndarray, shape (k, k)
        Not less than the weights say.
    square : float
        Weighted sum of squared residuals.
    df : int
    left_out : ndarray, shape (n,)
        Residual of each feature where it is left out of the fit, µm.
    """

    slopes: np.ndarray
    covariance: np.ndarray
    square: float
    df: int
    left_out: np.ndarray

    @property
    def rmse(self) -> float:
        """Of features that are left out, µm."""
        return float(np.sqrt((self.left_out**2).mean()))


def _candidates(features: pd.DataFrame, *, depth: bool) -> tuple[Candidate, ...]:
    parts = {SURFACE: ["plate_gap"], LIP: ["lip_width"]}
    if depth:
        parts[WITH_DEPTH] = ["plate_gap", "gap_depth"]
    return tuple(_candidate(name, features, names) for name, names in parts.items())


def _candidate(name: str, features: pd.DataFrame, names: list[str]) -> Candidate:
    width, *others = names
    design = _Design.of(features, names)
    weights = design.weights()
    free = design.fit(weights)
    reach = free.covariance[0, 0] ** 0.5 * student.ppf(0.5 + LEVEL / 2.0, free.df)
    return Candidate(
        name=name,
        rmse=free.rmse,
        rmse_one_to_one=_Design.of(features, others, width).fit(weights).rmse,
        slope=float(free.slopes[0]),
        low=float(free.slopes[0] - reach),
        high=float(free.slopes[0] + reach),
    )


def _chosen(weight: Weight, errors: Mapping[str, float], *, depth_acts: bool) -> str:
    """What the weight points to, where features that are left out do not speak against it."""
    surface = WITH_DEPTH if depth_acts and errors[WITH_DEPTH] < errors[SURFACE] else SURFACE
    if weight.to_lip and not weight.to_surface and errors[LIP] < errors[surface]:
        return LIP
    if weight.to_surface and not weight.to_lip and errors[surface] < errors[LIP]:
        return surface
    return BETWEEN if weight.between else NOT_TOLD
