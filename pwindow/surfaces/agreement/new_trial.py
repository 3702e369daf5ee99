"""Does a new trial agree with the fit of the trials before it?

Every print of the new trial is compared with its prediction. The errors of one response are normal with
the covariance

    V = s² X C X' + make-ready + print + feature / n,

the first part because the surface is known only so well, the others because the new prints have
make-readies, prints and features of their own: a new make-ready is expected to differ. Where the trials
before had one print a make-ready, nothing shows how much of a print's error its make-ready shares: all or
nothing of it, and each test takes the milder of the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import linalg
from scipy.special import fdtrc, stdtr, stdtrit

from pwindow.errors import UnusableInput
from pwindow.surfaces.agreement.bridge_counts import Bridging, hold_bridged
from pwindow.surfaces.checks.diagnostics import RARE
from pwindow.surfaces.checks.residual_patterns import numbers
from pwindow.surfaces.checks.verdict import RULE, Verdict, least_of, share, verdict_of
from pwindow.surfaces.model.responses import FACTORS, STATE, ResponseData, response_data
from pwindow.surfaces.posterior.make_readies import Mountings
from pwindow.surfaces.single.surface import Surface
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.trial import Trial
from pwindow.wording import Units, counted

_LEVEL = 0.95
_UNRECORDED = (
    "make_ready is not recorded for all prints, so prints of one roll and plate may share a make-ready: a shift that one "
    "make-ready can cause does not count as a disagreement"
)
_MOSTLY = 0.999  # of a print's variance: prints of a make-ready are never quite alike


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A shift that changes along a factor: its size at both ends of what the new trial tried."""

    factor: str
    low: float
    high: float
    shift_low: float
    shift_high: float
    p: float


@dataclass(frozen=True, kw_only=True)
class ResponseAgreement:
    """One response of a new trial beside its predictions.

    Attributes
    ----------
    surface : Surface
        What predicts.
    cells : DataFrame
        Compared cells: print, settings, ``measured``, ``predicted``, ``low``, ``high`` (in the response's
        unit, the interval at 95 %), ``error`` in standard deviations, and ``inside`` the interval or not.
    shift, shift_low, shift_high : float
        Common shift of the new prints on the modelled scale, with its interval at 95 %.
    shift_p : float
    trend : Trend or None
        Along which factor the shift changes the most, if any was varied.
    joint_p : float
        Probability of errors that are jointly as large.
    prints : Series
        Probability that the largest of all prints' errors is as large (Bonferroni), per print.
    """

    surface: Surface
    cells: pd.DataFrame
    shift: float
    shift_low: float
    shift_high: float
    shift_p: float
    trend: Trend | None
    joint_p: float
    prints: pd.Series

    @property
    def covered(self) -> float:
        """Share of the cells inside their intervals."""
        return float(self.cells["inside"].mean())

    @property
    def standing_out(self) -> list[str]:
        """Prints whose errors are too large for chance, the worst first."""
        rare = self.prints[self.prints < RARE].sort_values()
        return [str(name) for name in rare.index]

    @property
    def verdict(self) -> Verdict:
        """By the shift, its trend or the scatter, whichever is the least likely by chance."""
        return verdict_of(min(self.shift_p, self.joint_p, 1.0 if self.trend is None else self.trend.p))

    @property
    def agrees(self) -> bool:
        """Whether the new trial may be more of the same process; also where that is unusual."""
        return self.verdict is not Verdict.DIFFERS

    def _reach(self, units: Units) -> str:
        """The 95 % interval of the shift, in words."""
        return (
            f"95 % interval {' to '.join(self._off(end, units) for end in (self.shift_low, self.shift_high))}"
        )

    def _off(self, shift: float, units: Units) -> str:
        return f"{self.surface.kind.amount(shift, units)} {'high' if shift > 0 else 'low'}"

    @property
    def _unlikely(self) -> str:
        """What is unusual and how often chance alone causes it, in words; "" where nothing is."""
        trend = self.trend
        doubts = [(self.shift_p, "are as far off by chance"), (self.joint_p, "scatter as much by chance")]
        if trend is not None:
            doubts.append(
                (trend.p, f"show as strong a trend with {trend.factor.replace('_', ' ')} by chance")
            )
        return "".join(
            f"; {share(chance)} of trials of the same process {words}"
            for chance, words in doubts
            if verdict_of(chance) is Verdict.UNUSUAL
        )

    def sentence(self, trial: Trial, units: Units) -> str:
        """What was found, in plain words.

        Parameters
        ----------
        trial : Trial
            The new one.
        units : Units
            That the sentence is written in.
        """
        trend = self.trend
        if trend is not None and trend.p < RARE:
            unit = units.of_column(trend.factor, trial.unit_of(trend.factor))
            ends = " and ".join(
                f"{self._off(shift, units)} at {unit.words(level)}"
                for level, shift in ((trend.low, trend.shift_low), (trend.high, trend.shift_high))
            )
            found = f"{ends}: its trend with {trend.factor.replace('_', ' ')} has changed"
        elif self.shift_p < RARE:
            found = (
                f"consistently {self._off(self.shift, units)} ({self._reach(units)}): check for another ink batch, a "
                "worn roll, a new plate, another instrument, or a wrong setting or unit in the file"
            )
        elif self.joint_p < RARE:
            found = "prints scatter more about the predictions than before"
        else:
            found = (
                f"{self.verdict}; on average {self._off(self.shift, units)} ({self._reach(units)}); "
                f"{self.cells['inside'].sum()} of {counted(len(self.cells), 'average lies', 'averages lie')} inside the 95 % "
                f"prediction interval{self._unlikely}"
            )
        out = self.standing_out
        apart = (
            f"; print{'s' * (len(out) > 1)} {', '.join(out[:5])} do{'es' * (len(out) == 1)} not fit"
            if out
            else ""
        )
        return f"{self.surface.kind.label}: {found}{apart}"


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """A new trial beside the fit of those before it.

    Attributes
    ----------
    trial : Trial
        The new one.
    against : str
        Fingerprint of that fit.
    by_name : mapping of str to ResponseAgreement
    outside : tuple of str
        Prints outside the trial region of the fit, which cannot be compared.
    notes : tuple of str
    bridging : Bridging or None
        Of the bridged gaps, where there are some or some were likely.
    """

    trial: Trial
    against: str
    by_name: Mapping[str, ResponseAgreement]
    outside: tuple[str, ...]
    notes: tuple[str, ...]
    bridging: Bridging | None = None

    @property
    def compared(self) -> int:
        """How many prints could be compared in anything."""
        tables = [one.cells for one in self.by_name.values()]
        tables += [] if self.bridging is None else [self.bridging.cells]
        return len(set().union(*(table["print"] for table in tables)))

    @property
    def verdict(self) -> str:
        """In a few words."""
        there = len(self.trial.prints)
        if not self.compared:
            return "cannot be compared"
        apart = (
            ""
            if self.compared == there
            else f", judged by {self.compared} of {there} prints; the others cannot be compared"
        )
        return f"{self.degree}{apart}"

    @property
    def degree(self) -> Verdict:
        """The verdict of the response that agrees the least."""
        of_gaps = [] if self.bridging is None else [self.bridging.verdict]
        return least_of([*(one.verdict for one in self.by_name.values()), *of_gaps])

    @property
    def agrees(self) -> bool:
        """Whether the new trial may be more of the same process: also where that is unusual, or nothing
        was compared.
        """
        return self.degree is not Verdict.DIFFERS

    def to_frame(self) -> pd.DataFrame:
        """Compared cells of every response, as of `ResponseAgreement`, with ``response``."""
        parts = [one.cells.assign(response=name) for name, one in self.by_name.items()]
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()

    def sentences(self, units: Units | None = None) -> tuple[str, ...]:
        """What was found for each response, and what could not be compared; in the trial file's units unless others are given."""
        units = units or self.trial.units
        sentences = [one.sentence(self.trial, units) for one in self.by_name.values()]
        if self.bridging is not None:
            sentences.append(self.bridging.sentence())
        if self.outside:
            sentences.append(
                f"{len(self.outside)} print{'s lie' if len(self.outside) > 1 else ' lies'} outside the trial region "
                f"of the fit and cannot be compared: {', '.join(self.outside[:5])}"
                f"{', …' if len(self.outside) > 5 else ''}"
            )
        return (*sentences, *self.notes)

    def sentences_and_rule(self, units: Units | None = None) -> tuple[str, ...]:
        """The sentences, and by which rule they judge."""
        return (*self.sentences(units), RULE) if self.compared else self.sentences(units)


def hold_against(surfaces: Surfaces, trial: Trial) -> Agreement:
    """Compare a new trial with a fit.

    Parameters
    ----------
    surfaces : Surfaces
        The fit of the trials before.
    trial : Trial
        The new one, with the same kind of pressure.

    Returns
    -------
    Agreement

    Raises
    ------
    UnusableInput
        If the pressures are of another kind than those of the fit.
    """
    unit, before = trial.pressure_unit, surfaces.trial.pressure_unit
    if unit != before:
        raise UnusableInput(
            f"pressures are in {unit}, but in {before} in the earlier trials: the two can be neither compared nor fitted "
            "together; use one kind of pressure, or keep the trial in an archive of its own"
        )
    found, notes, outside, bridging = {}, [], [], None
    if trial.prints["make_ready"].isna().any():
        notes.append(_UNRECORDED)
    for name, data in response_data(trial, surfaces.section_factor).items():
        if name not in surfaces.by_name:
            notes.append(f"{data.kind.label} was not measured before, so it cannot be compared")
            continue
        surface = surfaces.by_name[name]
        cells, unusable = _comparable(surfaces, surface, data)
        outside += unusable
        if name == "gap_closure" and len(cells):
            bridging = hold_bridged(surface, cells, _covariances(surface, cells, surfaces.mountings)[0])
            cells = _measured(cells)
            if surfaces.counts_only and len(cells):
                notes.append(
                    "gap closure: earlier trials only counted bridged gaps and measured none, so gap widths cannot be "
                    "compared"
                )
                continue
        if len(cells):
            found[name] = _compared(surface, cells, surfaces.mountings)
        else:
            notes.append(f"{data.kind.label}: no measured print lies inside the trial region of the fit")
    return Agreement(
        trial=trial,
        against=surfaces.fingerprint,
        by_name=found,
        outside=tuple(dict.fromkeys(outside)),
        notes=tuple(notes),
        bridging=bridging,
    )


def _comparable(surfaces: Surfaces, surface: Surface, data: ResponseData) -> tuple[pd.DataFrame, list[str]]:
    """Cells whose set-up was tried before, and prints whose was not."""
    cells = data.cells.drop(columns=STATE, errors="ignore")  # the process as it was last
    complete = cells[surface.design.needs].notna().all(axis=1).to_numpy()
    region = surfaces.region
    known = cells["plate"].astype(object).where(cells["plate"].notna(), "").isin(region.plates).to_numpy()
    inside = np.zeros(len(cells), dtype=bool)
    inside[known & complete] = region.contains(cells[known & complete])
    return cells[inside].reset_index(drop=True), [str(name) for name in cells.loc[~inside, "print"]]


def _measured(cells: pd.DataFrame) -> pd.DataFrame:
    """Cells without a bridged gap: the mean of the open gaps alone would be too low."""
    whole = cells[(cells["measured"] > 0) & (cells["bridged"] == 0)]
    return whole.assign(count=whole["measured"]).reset_index(drop=True)


def _compared(surface: Surface, cells: pd.DataFrame, before: Mountings) -> ResponseAgreement:
    """The response compared with its surface; of what make-readies may share the one that objects least."""
    found = [_compared_where(surface, cells, one) for one in _covariances(surface, cells, before)]
    widest = max(found, key=lambda one: one.shift_high - one.shift_low)
    calmest = max((one.trend for one in found if one.trend), key=lambda one: one.p, default=None)
    return replace(
        widest,
        trend=calmest,
        shift_p=max(one.shift_p for one in found),
        joint_p=max(one.joint_p for one in found),
    )


def _compared_where(surface: Surface, cells: pd.DataFrame, of_prints: np.ndarray) -> ResponseAgreement:
    errors = cells["value"].to_numpy(float) - surface.mean(cells)
    covariance = of_prints + np.diag(surface.components.feature / cells["count"].to_numpy(float))
    root = linalg.cholesky(covariance, lower=True)
    white, df, count = linalg.solve_triangular(root, errors, lower=True), surface.df, len(cells)
    deviation = np.sqrt(np.diag(covariance))
    reach = stdtrit(df, 0.5 + _LEVEL / 2) * deviation
    table = _table(surface, cells, errors, deviation, reach)
    shift, of_shift = _line(root, errors, np.ones((count, 1)))
    half = stdtrit(df, 0.5 + _LEVEL / 2) * np.sqrt(of_shift[0, 0])
    return ResponseAgreement(
        surface=surface,
        cells=table,
        shift=float(shift[0]),
        shift_low=float(shift[0] - half),
        shift_high=float(shift[0] + half),
        shift_p=float(2.0 * stdtr(df, -abs(shift[0]) / np.sqrt(of_shift[0, 0]))),
        trend=_trend(surface, cells, root, errors),
        joint_p=float(fdtrc(count, df, white @ white / count)),
        prints=_print_chances(table, df),
    )


def _covariances(surface: Surface, cells: pd.DataFrame, before: Mountings) -> list[np.ndarray]:
    """Covariances that the prints' errors may have, what varies between features left out; the widest-reaching first."""
    matrix = surface.design.matrix(cells)
    known = surface.scale * matrix @ surface.solution.unscaled_cov @ matrix.T
    return [known + one for mounted in _mounted(cells) for one in _varied(surface, cells, mounted, before)]


def _mounted(cells: pd.DataFrame) -> list[pd.Series]:
    """The make-ready of each print: as recorded, else all of one roll and plate in one, or each print in its own."""
    recorded = cells["make_ready"]
    if recorded.notna().all():
        return [recorded]
    together = "roll and plate " + cells["cell_volume"].astype(str) + " " + cells["plate"].astype(str)
    alone = "print " + cells["print"].astype(str)
    return [recorded.where(recorded.notna(), other) for other in (together, alone)]


def _varied(surface: Surface, cells: pd.DataFrame, mounted: pd.Series, before: Mountings) -> list[np.ndarray]:
    """What make-readies and prints add.

    One where both were separated, or where the spread between make-readies is not from the trials before. Else
    what varies belongs to the make-ready, the first, or to the print.
    """
    parts = surface.components
    prints, readies = (
        np.equal.outer(codes, codes) for codes in (pd.factorize(one)[0] for one in (cells["print"], mounted))
    )
    if not before.measured:  # the surface went through make-readies that were off by as much
        own = before.spread(surface.kind) ** 2
        return [own / before.count + own * readies + parts.print_ * prints]
    if parts.split or (prints == readies).all():
        return [parts.make_ready * readies + parts.print_ * prints]
    return [
        _MOSTLY * parts.print_ * one + (1.0 - _MOSTLY) * parts.print_ * prints for one in (readies, prints)
    ]


def _line(root: np.ndarray, errors: np.ndarray, columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients of columns in the errors by generalised least squares, and their covariance."""
    white = linalg.solve_triangular(root, np.column_stack([columns, errors]), lower=True)
    x, y = white[:, :-1], white[:, -1]
    covariance = np.linalg.inv(x.T @ x)
    return covariance @ (x.T @ y), covariance


def _trend(surface: Surface, cells: pd.DataFrame, root: np.ndarray, errors: np.ndarray) -> Trend | None:
    found = []
    for factor in numbers(surface):
        coded = factor.code(cells[factor.name])[:, 0]
        if np.ptp(coded) < 1e-9:
            continue
        line, covariance = _line(root, errors, np.column_stack([np.ones_like(coded), coded]))
        p = 2.0 * stdtr(surface.df, -abs(line[1]) / np.sqrt(covariance[1, 1]))
        ends = np.array([coded.min(), coded.max()])
        (low, high), (shift_low, shift_high) = (
            factor.decode(ends).tolist(),
            (line[0] + line[1] * ends).tolist(),
        )
        found.append(
            Trend(factor=factor.name, low=low, high=high, shift_low=shift_low, shift_high=shift_high, p=p)
        )
    if not found:
        return None
    best = min(found, key=lambda one: one.p)
    p = min(1.0, float(best.p * len(found)))
    return Trend(
        factor=best.factor,
        low=best.low,
        high=best.high,
        shift_low=float(best.shift_low),
        shift_high=float(best.shift_high),
        p=p,
    )


def _table(
    surface: Surface, cells: pd.DataFrame, errors: np.ndarray, deviation: np.ndarray, reach: np.ndarray
) -> pd.DataFrame:
    natural = np.exp if surface.kind.log else np.asarray
    measured = cells["value"].to_numpy(float)
    predicted = measured - errors
    return cells[["print", *FACTORS]].assign(
        measured=natural(measured),
        predicted=natural(predicted),
        low=natural(predicted - reach),
        high=natural(predicted + reach),
        error=errors / deviation,
        inside=np.abs(errors) <= reach,
    )


def _print_chances(table: pd.DataFrame, df: float) -> pd.Series:
    worst = table["error"].abs().groupby(table["print"]).max()
    return (2.0 * len(table) * pd.Series(stdtr(df, -worst), worst.index)).clip(upper=1.0)
