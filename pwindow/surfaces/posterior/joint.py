"""The joint predictive distribution of all responses of the next print: a multivariate t.

Where every response has the same terms, prints and counts, nothing is censored and each print is
its own make-ready, it is the closed form of the non-informative prior,
:math:`y | x ∼ t_ν(B'z, (1 + z'(X'X)^{-1}z) S/ν)` with ν = n - p - q + 1 (Peterson 2004, J. Quality
Technology 36, 139-153). Elsewhere it is the multivariate t that has the moments of the posterior draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import pandas as pd
from scipy import optimize, special

from pwindow.surfaces.model.censoring import Censored
from pwindow.surfaces.model.departures import BendingDesign
from pwindow.surfaces.model.responses import ResponseData
from pwindow.surfaces.model.terms import Design, model_matrices
from pwindow.surfaces.posterior.make_readies import Mountings
from pwindow.surfaces.posterior.sampler import Draws, Plan, Source, draw_posterior
from pwindow.surfaces.posterior.statistics import PrintStatistics
from pwindow.surfaces.single.intervals import intervals
from pwindow.surfaces.single.least_squares import least_squares
from pwindow.surfaces.single.spread_growth import SpreadGrowth
from pwindow.surfaces.single.variance import Groups

_NEGLIGIBLE = 1e-3
_COVER = 1.5
"""What is missed counts so many times as a standard deviation: a limit that is then kept with 95 % is
kept with 93 % or more if all of it goes one way, however large it is beside the spread."""


class Misfit(Protocol):
    """What says by how much a second-order surface is off."""

    def missed(self, setups: pd.DataFrame) -> np.ndarray:
        """How much at set-ups, on the modelled scale, shape (len(setups),)."""


class Growth(Protocol):
    """What says how the spread from print to print of a response grows with the settings."""

    def deviation(self, setups: pd.DataFrame) -> np.ndarray:
        """Standard deviation at set-ups beside that of an even spread, shape (len(setups),)."""


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
    spread : ndarray, shape (m, q, q)
        What of them varies from print to print.
    df : float
    """

    names: tuple[str, ...]
    mean: np.ndarray
    scale: np.ndarray
    spread: np.ndarray
    df: float


@dataclass(frozen=True, eq=False)
class ClosedForm:
    """What the closed form stands on.

    Attributes
    ----------
    measured : ndarray, shape (q, q)
        Scale matrix of a print's measured means about the surfaces.
    unscaled_cov : ndarray, shape (p, p)
        (X'X)⁻¹.
    """

    measured: np.ndarray
    unscaled_cov: np.ndarray

    @property
    def shape(self) -> tuple[int, int]:
        """Terms and responses."""
        return len(self.unscaled_cov), len(self.measured)


@dataclass(frozen=True, kw_only=True)
class JointSurfaces:
    """What the joint predictive needs, worked out once per fit.

    Attributes
    ----------
    names : tuple of str
        Responses, q of them.
    designs : tuple of Design
    centres : tuple of ndarray, shape (p_i,)
        Locations of the coefficients.
    coupling : mapping of (int, int) to ndarray, shape (p_i, p_j)
        Scale matrix of the coefficients, i ≥ j.
    spread : ndarray, shape (q, q)
        Scale matrix of a new print's true means about the surfaces, make-ready and print together.
    between : tuple of float, shape (q,)
        Mean standard deviation between features of a print.
    between_variance : tuple of float, shape (q,)
        Variance of what is known of it.
    features_compared : tuple of bool, shape (q,)
        Whether any print had two features to compare; where none had, `spread` holds what varies
        between features too.
    df : float
    posterior : Draws or ClosedForm
        What it was matched to, or worked out from.
    misses : mapping of str to Misfit
        Responses whose second-order form fails, and what says by how much.
    growths : mapping of str to SpreadGrowth
        How the spread of responses grows with the settings; of those without, it is even.
    """

    names: tuple[str, ...]
    designs: tuple[Design, ...]
    centres: tuple[np.ndarray, ...]
    coupling: Mapping[tuple[int, int], np.ndarray]
    spread: np.ndarray
    between: tuple[float, ...]
    between_variance: tuple[float, ...]
    features_compared: tuple[bool, ...]
    df: float
    posterior: Draws | ClosedForm
    misses: Mapping[str, Misfit] = field(default_factory=dict)
    growths: Mapping[str, SpreadGrowth] = field(default_factory=dict)

    @property
    def draws(self) -> Draws | None:
        """What it was matched to; None for the closed form."""
        return self.posterior if isinstance(self.posterior, Draws) else None

    @property
    def correlation(self) -> np.ndarray:
        """Correlation between responses of what varies from print to print, shape (q, q)."""
        deviation = np.sqrt(np.diag(self.spread))
        return self.spread / np.outer(deviation, deviation)

    def between_features(self, name: str) -> JointSurfaces:
        """The same where all that varies in a response counts as varying between features.

        The worst of many features is then the worst it can be.
        """
        at = self.names.index(name)
        spread, own = _without(self.spread, at)
        between = list(self.between)
        between[at] = float(np.hypot(between[at], own**0.5))
        posterior = self.posterior if self.draws is None else _between_features(self.draws, at)
        growths = {other: one for other, one in self.growths.items() if other != name}
        return replace(self, spread=spread, between=tuple(between), posterior=posterior, growths=growths)

    def more_between_features(self, name: str, variance: float) -> JointSurfaces:
        """The same with more variance between the features of a print.

        Parameters
        ----------
        name : str
            One of `names`.
        variance : float
            That is added, in the square of the response's modelled unit.
        """
        at = self.names.index(name)
        between = list(self.between)
        between[at] = float(np.sqrt(between[at] ** 2 + variance))
        posterior = self.posterior
        if self.draws is not None:
            feature = self.draws.feature.copy()
            feature[:, at] += variance
            posterior = replace(self.draws, feature=feature)
        return replace(self, between=tuple(between), posterior=posterior)

    def means(self, setups: pd.DataFrame) -> np.ndarray:
        """Predicted means on the modelled scale, shape (len(setups), q)."""
        matrices = model_matrices(self.designs, setups)
        return np.column_stack([x @ centre for x, centre in zip(matrices, self.centres)])

    @property
    def second_order(self) -> bool:
        """Whether second-order terms alone predict every response, and nothing says that they fail."""
        return not self.misses and not any(map(self.bends, self.names))

    def bends(self, name: str) -> bool:
        """Whether a response may depart smoothly from its second-order terms."""
        return isinstance(self.designs[self.names.index(name)], BendingDesign)

    def predict_response(
        self, name: str, setups: pd.DataFrame, level: float, features: float
    ) -> pd.DataFrame:
        """Prediction of one response on the modelled scale, with intervals.

        Parameters
        ----------
        name : str
            One of `names`.
        setups : DataFrame
            One row per set-up, with a column for each factor of the response.
        level : float
            Of the intervals, between 0 and 1.
        features : float
            Features that the measured mean of the next print stands on.

        Returns
        -------
        DataFrame
            Columns as of `intervals`.
        """
        at, found = self.names.index(name), self.predict(setups)
        own = found.spread[:, at, at]
        of_mean, spread = found.scale[:, at, at] - own, own + self.between[at] ** 2 / features
        return pd.DataFrame(intervals(found.mean[:, at], of_mean, spread, self.df, self.df, level))

    def difference(self, name: str, setups: pd.DataFrame, others: pd.DataFrame, level: float) -> pd.DataFrame:
        """By how much the mean of a response differs between set-ups and others, on the modelled scale.

        Parameters
        ----------
        name : str
            One of `names`.
        setups, others : DataFrame
            As many of either.
        level : float
            Of the intervals, between 0 and 1.

        Returns
        -------
        DataFrame
            ``mean``, ``low`` and ``high``.
        """
        at = self.names.index(name)
        apart = self.designs[at].matrix(setups) - self.designs[at].matrix(others)
        mean = apart @ self.centres[at]
        variance = ((apart @ self.coupling[at, at]) * apart).sum(axis=1)
        reach = special.stdtrit(self.df, 0.5 + level / 2) * np.sqrt(variance)
        return pd.DataFrame({"mean": mean, "low": mean - reach, "high": mean + reach})

    def missed(self, setups: pd.DataFrame) -> np.ndarray:
        """What the forms are found to miss, as a standard deviation with its sign, shape (len(setups), q).

        A response is off by it at all set-ups together, the more of it the more at each.
        """
        found = np.zeros((len(setups), len(self.names)))
        for name, missing in self.misses.items():
            found[:, self.names.index(name)] = _COVER * missing.missed(setups)
        return found

    def deviations(self, setups: pd.DataFrame) -> np.ndarray:
        """Standard deviations from print to print at set-ups beside those of `spread`, shape (len(setups), q)."""
        return deviations(self.names, self.growths, setups)

    def predict(self, setups: pd.DataFrame) -> Predictive:
        """The predictive distribution at each set-up."""
        matrices = model_matrices(self.designs, setups)
        mean = np.column_stack([x @ centre for x, centre in zip(matrices, self.centres)])
        deviations = self.deviations(setups)
        spread = self.spread * deviations[:, :, None] * deviations[:, None, :]
        scale = spread.copy()
        for (i, j), block in self.coupling.items():
            reach = ((matrices[i] @ block) * matrices[j]).sum(axis=1)
            scale[:, i, j] += reach
            if i != j:
                scale[:, j, i] += reach
        diagonal = np.arange(len(self.names))
        scale[:, diagonal, diagonal] += self.missed(setups) ** 2
        return Predictive(self.names, mean, scale, spread, self.df)


def deviations(names: tuple[str, ...], growths: Mapping[str, Growth], setups: pd.DataFrame) -> np.ndarray:
    """Standard deviations from print to print of q responses beside those of even spreads, shape (len(setups), q).

    Parameters
    ----------
    names : tuple of str
        The responses.
    growths : mapping of str to Growth
    setups : DataFrame
    """
    return np.column_stack(
        [growths[name].deviation(setups) if name in growths else np.ones(len(setups)) for name in names]
    )


def join_responses(
    responses: Mapping[str, ResponseData],
    designs: Mapping[str, Design],
    plan: Plan | None = None,
    mountings: Mountings | None = None,
) -> JointSurfaces:
    """The joint predictive distribution of the responses of one trial.

    Parameters
    ----------
    responses : mapping of str to ResponseData
    designs : mapping of str to Design
    plan : Plan, optional
        How to sample where there is no closed form.
    mountings : Mountings, optional
        Which prints shared a make-ready, and what is held of the spread between make-readies; as the cells
        say unless given.
    """
    between = None if mountings is None else mountings.between(tuple(responses))
    if between is None and _has_closed_form(responses, designs):
        return _closed_form(responses, designs)
    prints = pd.concat([data.cells.set_index("print")["make_ready"] for data in responses.values()])
    prints = prints[~prints.index.duplicated()].sort_index()
    sources = [_source(data, designs[name], prints.index) for name, data in responses.items()]
    plan = plan or Plan()
    if mountings is None or between is None:
        draws = draw_posterior(sources, _readies(prints), plan)
    else:
        readies = pd.factorize(mountings.of_print.reindex(prints.index))[0]
        draws = draw_posterior(sources, readies, replace(plan, between=between))
    features_compared = tuple(source.feature_sd is None for source in sources)
    return _matched(tuple(responses), tuple(designs.values()), draws, features_compared)


def _has_closed_form(responses: Mapping[str, ResponseData], designs: Mapping[str, Design]) -> bool:
    tables = [data.cells for data in responses.values()]
    first = tables[0]
    return (
        all(design.terms == next(iter(designs.values())).terms for design in designs.values())
        and not any(isinstance(design, BendingDesign) for design in designs.values())
        and all(table["print"].equals(first["print"]) for table in tables)
        and all(len(set(table["count"])) == 1 for table in tables)
        and not any(data.censored for data in responses.values())
        and Groups.of(first).simple
    )


def _closed_form(responses: Mapping[str, ResponseData], designs: Mapping[str, Design]) -> JointSurfaces:
    members = list(responses.values())
    design = next(iter(designs.values()))
    x = design.matrix(members[0].cells)
    fits = [least_squares(x, data.cells["value"].to_numpy(float)) for data in members]
    count = len(fits)
    df = max(fits[0].df - count + 1.0, 1.0)
    errors = np.column_stack([fit.residuals for fit in fits])
    measured = _positive(errors.T @ errors / df)
    own = np.diag(measured)
    inside = np.minimum([data.feature_variance / data.typical_count for data in members], own)
    coupling = {(i, j): measured[i, j] * fits[0].unscaled_cov for i in range(count) for j in range(i + 1)}
    return JointSurfaces(
        names=tuple(responses),
        designs=tuple(designs.values()),
        centres=tuple(fit.params for fit in fits),
        coupling=coupling,
        spread=_positive(measured - np.diag(inside)),
        between=tuple(data.feature_variance**0.5 for data in members),
        between_variance=(0.0,) * count,
        features_compared=tuple(data.feature_df > 0 for data in members),
        df=df,
        posterior=ClosedForm(measured, fits[0].unscaled_cov),
    )


def _without(spread: np.ndarray, at: int) -> tuple[np.ndarray, np.ndarray]:
    """Covariances, shape (..., q, q), with next to nothing left of one response, and its variance before."""
    own = spread[..., at, at].copy()
    left = spread.copy()
    left[..., at, :] = left[..., :, at] = 0.0
    left[..., at, at] = _NEGLIGIBLE**2 * own
    return left, own


def _between_features(draws: Draws, at: int) -> Draws:
    make_ready, of_ready = _without(draws.make_ready, at)
    print_, of_print = _without(draws.print_, at)
    feature = draws.feature.copy()
    feature[:, at] += of_ready + of_print
    return replace(draws, make_ready=make_ready, print_=print_, feature=feature)


def _readies(prints: pd.Series) -> np.ndarray | None:
    """Make-ready of each print, counted; None where each has one print."""
    mounted = prints.where(prints.notna(), "print " + prints.index.astype(str))
    return pd.factorize(mounted)[0] if mounted.duplicated().any() else None


def _source(data: ResponseData, design: Design, prints: pd.Index) -> Source:
    statistics = PrintStatistics.of(data, design, prints)
    values = statistics.cells["value"].to_numpy(float)
    censored = Censored.of(statistics.cells).one_by_one() if data.censored else None
    precision = np.zeros(statistics.rows.shape[1])
    if data.censored:
        # a set-up at which every gap bridges bounds the surface on one side alone
        half_gap = statistics.cells["plate_gap"].max() / 2.0
        precision[: len(design.terms)] = [bool(term) / half_gap**2 for term in design.terms]
    penalised = design.penalised if isinstance(design, BendingDesign) else ()
    feature_sd = data.feature_sd or _untold(data, statistics)
    if feature_sd is None and data.copied:
        feature_sd = data.resolved
    return Source(
        statistics=statistics,
        values=values,
        censored=censored,
        precision=precision,
        feature_sd=feature_sd,
        penalised=penalised,
    )


def _untold(data: ResponseData, statistics: PrintStatistics) -> float | None:
    """A negligible standard deviation between features where no print has two to compare."""
    present = int((statistics.counts > 0).sum())
    inside = statistics.counts.sum() - present - np.linalg.matrix_rank(statistics.within)
    if inside > 0:
        return None
    return max(_NEGLIGIBLE * float(data.cells["value"].std()), 1e-12)


def _matched(
    names: tuple[str, ...], designs: tuple[Design, ...], draws: Draws, features_compared: tuple[bool, ...]
) -> JointSurfaces:
    """The multivariate t with the posterior's coefficients and, in the logarithm, its variances."""
    total = draws.make_ready + draws.print_
    variances = np.einsum("sii->si", total)
    logs = np.log(variances)
    df = _freedom(float(logs.var(axis=0).mean()))
    size = np.exp(logs.mean(axis=0) - np.log(df) + special.psi(df / 2.0) + np.log(2.0))
    mean = total.mean(axis=0)
    unit = np.sqrt(size / np.diag(mean))
    edges = np.cumsum([0, *(beta.shape[1] for beta in draws.coefficients)])
    covariance = np.atleast_2d(np.cov(np.column_stack(draws.coefficients).T)) * (df - 2.0) / df
    coupling = {
        (i, j): covariance[edges[i] : edges[i + 1], edges[j] : edges[j + 1]]
        for i in range(len(names))
        for j in range(i + 1)
    }
    between = np.sqrt(draws.feature)
    return JointSurfaces(
        names=names,
        designs=designs,
        centres=draws.centres,
        coupling=coupling,
        spread=_positive(mean * np.outer(unit, unit)),
        between=tuple(between.mean(axis=0)),
        between_variance=tuple(between.var(axis=0)),
        features_compared=features_compared,
        df=df,
        posterior=draws,
    )


def _freedom(log_variance: float) -> float:
    """Degrees of freedom of a scaled inverse χ² whose logarithm has this variance: ψ'(ν/2)."""
    low, high = 3.0, 2000.0
    return float(
        optimize.brentq(lambda nu: special.polygamma(1, nu / 2.0) - log_variance, low, high)
        if special.polygamma(1, high / 2.0) < log_variance < special.polygamma(1, low / 2.0)
        else (low if log_variance > 0.5 else high)
    )


def _positive(matrix: np.ndarray) -> np.ndarray:
    """The matrix with its correlations shrunk just enough to be positive definite."""
    unit = np.sqrt(np.diag(matrix).clip(min=1e-300))
    correlation = matrix / np.outer(unit, unit)
    np.fill_diagonal(correlation, 0.0)
    lowest = np.linalg.eigvalsh(correlation)[0]
    keep = min(1.0, (1.0 - 1e-6) / -lowest) if lowest < 0 else 1.0
    return (keep * correlation + np.eye(len(unit))) * np.outer(unit, unit)
