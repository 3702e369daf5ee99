"""Warnings about a trial's surfaces, in plain sentences with their consequence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from pwindow.surfaces.checks.checked import Judged
from pwindow.surfaces.checks.copied_rows import copied_rows
from pwindow.surfaces.checks.curvature_check import FormCheck, stretch
from pwindow.surfaces.checks.diagnostics import RARE, residual_shape
from pwindow.surfaces.checks.directions import Unexpected, unexpected
from pwindow.surfaces.checks.outliers import Apart, most_influential
from pwindow.surfaces.checks.residual_patterns import (
    OffLevel,
    Rests,
    SlopesApart,
    Uneven,
    numbers,
    slopes_apart,
    uneven_spread,
)
from pwindow.surfaces.checks.shape import Shape
from pwindow.surfaces.model.responses import FACTORS
from pwindow.surfaces.posterior.joint import JointSurfaces
from pwindow.surfaces.posterior.make_readies import Mountings
from pwindow.surfaces.posterior.processes import Processes
from pwindow.surfaces.posterior.sampler import MIXED
from pwindow.surfaces.single.spread_growth import SpreadGrowth
from pwindow.surfaces.single.surface import Surface
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.trial import Trial
from pwindow.wording import Unit, Units, counted, percent

_CURE = "print a set-up there before relying on it, or fit with a smooth correction"
_ALLOWED = f"intervals and probabilities allow for this; {_CURE}"
_NAMED = 3  # prints that are named
_LONE = 0.99  # leverage of a print that a surface goes through
_DIRECTION_DRAWS = 960
_Weight = Literal["serious", "mind"]


@dataclass(frozen=True)
class Finding:
    """A warning about the surfaces.

    Attributes
    ----------
    response : str
        Name of the response; empty where it is about several.
    sentence : str
        What, where, how much, and what follows. Names of prints and rolls stand as in the file.
    weight : {'serious', 'mind'}
        'serious' where predictions are off by an amount that matters, else 'mind'.
    """

    response: str
    sentence: str
    weight: _Weight


@dataclass(frozen=True)
class _Words:
    """Settings and responses of a trial in words, in units that are asked for."""

    trial: Trial
    units: Units

    def unit(self, name: str) -> Unit:
        """The unit of a setting."""
        return self.units.of_column(name, self.trial.unit_of(name))

    def amount(self, surface: Surface, shift: float) -> str:
        """How large a shift of a response is."""
        return surface.kind.amount(shift, self.units)

    def off(self, surface: Surface, missed: float) -> str:
        """How high or low predictions are that are off by an amount."""
        return f"{self.amount(surface, -missed)} {'low' if missed > 0 else 'high'}"

    def setup(self, setup: pd.Series) -> str:
        words = [self.unit(name).words(setup[name]) for name in FACTORS]
        if self.trial.prints["plate"].nunique() > 1:
            words.append(str(setup["plate"]))
        if not pd.isna(setup.get("plate_gap", np.nan)):
            words.append(f"plate gap {self.units.length.words(setup['plate_gap'])}")
        return ", ".join(words)

    def level(self, found: OffLevel) -> str:
        """At which level of a factor something was found: by their rolls where it is a cell volume."""
        name, prints = found.factor.name, self.trial.prints
        if name == "cell_volume":
            rolls = prints.loc[np.isclose(prints["cell_volume"], found.level), "roll"].dropna().unique()
            if len(rolls):
                return f"with roll {' and '.join(map(str, rolls))}"
        return f"at {_word(name)} {self.unit(name).words(found.level)}"


def findings(surfaces: Surfaces, units: Units | None = None) -> tuple[Finding, ...]:
    """Warnings about the surfaces of a trial, serious ones first.

    An outlying print is reported once, and everything else is judged without it.

    Parameters
    ----------
    surfaces : Surfaces
    units : Units, optional
        That sentences are written in; those of the trial file unless given.

    Returns
    -------
    tuple of Finding
        Empty where no check raises a warning.

    Examples
    --------
    >>> import pwindow as pw
    >>> findings(pw.fit(pw.read_trial(pw.demo("trial_first.csv"))))
    ()
    """
    outliers: list[Apart] = []
    leaned_on: list[Apart] = []
    alone: list[Finding] = []
    of_form: list[Finding] = []
    words = _Words(surfaces.trial, units or surfaces.trial.units)
    rare = RARE / max(len(surfaces.by_name), 1)  # each kind of check looks at every response
    with threadpool_limits(1, user_api="blas"):
        for judged in surfaces.judged.values():
            outliers += judged.apart
            # what is missed has a spread of its own
            of_form += _of_form(judged, words, rare) or _of_spread(judged.cleared, surfaces, words, rare)
            leaned_on += most_influential(judged.cleared, judged.cleared_checks)
            alone += _of_lone_prints(judged)
    every = [
        *(Finding("", sentence, "serious") for sentence in surfaces.trial.warnings),
        *_of_mountings(surfaces.mountings, words.units),
        *_of_copies(surfaces.trial),
        *_of_bridging(surfaces),
        *_of_draws(surfaces.joint),
        *_of_outliers(outliers, words),
        *of_form,
        *_of_drift(surfaces, words, rare),
        *_of_influence(leaned_on, words),
        *alone,
        *_of_gaps(surfaces),
        *_of_directions(surfaces),
        *_of_make_readies(surfaces),
    ]
    return tuple(sorted(every, key=lambda finding: finding.weight != "serious"))


# make-readies -----------------------------------------------------------------------------------


def _of_mountings(found: Mountings, units: Units) -> list[Finding]:
    """What probabilities assume where the trial does not show how much make-readies differ."""
    return [] if found.measured else [Finding("", f"{found.sentence_in(units)}; {found.cure}", "serious")]


# posterior --------------------------------------------------------------------------------------


def _of_draws(joint: JointSurfaces) -> list[Finding]:
    """Draws that still depend on where they started."""
    if joint.draws is None or joint.draws.mixing < MIXED:
        return []
    what = (
        f"the draws behind every probability have not settled (potential scale reduction {joint.draws.mixing:.2f}, where less "
        f"than {MIXED:g} is asked for): for this reason alone, probabilities may be off by one or two percentage points; measure gaps "
        "instead of only counting bridged ones, or print more make-readies"
    )
    return [Finding("", what, "mind")]


def _of_directions(surfaces: Surfaces) -> list[Finding]:
    """Responses that go the other way with a setting than printing shows."""
    cells = {name: surface.cells for name, surface in surfaces.by_name.items()}
    return [
        _of_direction(surfaces.by_name[one.response], one)
        for one in unexpected(Processes.of(surfaces.joint, _DIRECTION_DRAWS), cells)
    ]


def _of_direction(surface: Surface, found: Unexpected) -> Finding:
    does, should = ("rises", "falls") if found.rises else ("falls", "rises")
    what = (
        f"{surface.kind.label} {does} with {_word(found.setting)} on average over the tried set-ups (posterior probability "
        f"{percent(found.probability)}), but it usually {should} in printing (common practice, no source): check that setting and "
        "its unit in the file, and what else changed with it; do not rely on probabilities away from the tried set-ups"
    )
    return Finding(surface.kind.name, what, "mind")


# what was measured ------------------------------------------------------------------------------


def _of_copies(trial: Trial) -> list[Finding]:
    """Rows that were entered more than once."""
    rows = copied_rows(trial.features)
    if not rows:
        return []
    prints = list(dict.fromkeys(rows))
    some = f"{_listed(prints[:_NAMED])}{f' and {len(prints) - _NAMED} more' * (len(prints) > _NAMED)}"
    what = (
        f"{counted(len(rows), 'row repeats', 'rows repeat')} all measured values of another row of its print ({some}): copies "
        "count as separate measurements and make the fit look more certain than it is; delete them from the file"
    )
    return [Finding("", what, "serious")]


def _of_bridging(surfaces: Surfaces) -> list[Finding]:
    """Counts of bridged gaps that say nothing of how near the others are."""
    if not surfaces.counts_only:
        return []
    cells = surfaces.trial.of_quantity("gap_closure")
    bridged, inspected = int(cells["bridged"].sum()), int((cells["bridged"] + cells["unmeasured"]).sum())
    if 0 < bridged < inspected:
        return []
    which = "every one" if bridged else "none"
    what = (
        f"{which} of the {inspected} gaps that were inspected is bridged: the trial does not show where gaps begin to bridge, so "
        "probabilities that gaps stay open rest on an assumed spread; print set-ups at which some gaps bridge "
        "and some do not, or measure gaps"
    )
    return [Finding("gap_closure", what, "serious")]


# prints -----------------------------------------------------------------------------------------


def _of_outliers(outliers: list[Apart], words: _Words) -> list[Finding]:
    """One sentence a print, whatever responses it is about."""
    names = dict.fromkeys(one.print_ for one in outliers)
    return [_of_outlier([one for one in outliers if one.print_ == name], words) for name in names]


def _of_outlier(found: list[Apart], words: _Words) -> Finding:
    offs, moves = [], []
    for one in found:
        kind, side = one.surface.kind, "above" if one.off > 0 else "below"
        offs.append(f"{kind.label} is {words.amount(one.surface, one.off)} {side}")
        moves.append(f"{words.amount(one.surface, one.moved)} in {kind.label}")
    print_ = found[0].print_
    what = (
        f"print {print_} ({words.setup(words.trial.prints.loc[[print_]].iloc[0])}) does not fit the others: its "
        f"{_listed(offs)} what they predict; without it predictions at the tried set-ups move by up to {_listed(moves)}: "
        f"measure it again, or leave it out of the file and compare"
    )
    weights = {_weight(one.surface, one.moved) for one in found}
    return Finding(_about(found), what, "serious" if "serious" in weights else "mind")


def _about(found: list[Apart]) -> str:
    names = {one.surface.kind.name for one in found}
    return names.pop() if len(names) == 1 else ""


def _of_influence(found: list[Apart], words: _Words) -> list[Finding]:
    """The most influential prints, in one sentence."""
    moves: dict[str, list[str]] = {}
    for one in found:
        moves.setdefault(one.print_, []).append(
            f"{words.amount(one.surface, one.moved)} in {one.surface.kind.label}"
        )
    parts = [
        f"without print {name} predictions move by up to {_listed(each)}" for name, each in moves.items()
    ]
    what = f"some predictions depend heavily on single prints: {'; '.join(parts)}; repeat those set-ups"
    return [Finding(_about(found), what, "mind")] if found else []


def _of_lone_prints(judged: Judged) -> list[Finding]:
    """Prints that alone carry a term: the surface goes through them, whatever they are."""
    prints, kind = judged.cleared_checks.prints, judged.cleared.kind
    names = [str(name) for name in prints.index[prints["leverage"] > _LONE]]
    if not names:
        return []
    what = (
        f"the {kind.label} surface passes exactly through print{'s' * (len(names) > 1)} {_listed(names)}: no other print "
        f"checks {'them' if len(names) > 1 else 'it'}; repeat that set-up or pattern, or leave the "
        f"print{'s' * (len(names) > 1)} out"
    )
    return [Finding(kind.name, what, "mind")]


# form -------------------------------------------------------------------------------------------


def _of_form(judged: Judged, words: _Words, rare: float) -> list[Finding]:
    """What the second-order form misses, by the first of three checks that says something."""
    surface, lack = judged.cleared, judged.cleared_checks.lack_of_fit
    if judged.form is None:  # predictions may bend, and follow it
        return []
    if judged.form.clearly_better:
        return [_of_bend(surface, judged.form, words)]
    if judged.level is not None:
        return [_of_level(surface, judged.level, words)]
    return [_of_lack(surface, lack.p, words)] if lack is not None and lack.p < rare else []


def _of_bend(surface: Surface, check: FormCheck, words: _Words) -> Finding:
    """Along the factor that shows most of what is missed, or at a set-up where none shows much."""
    tried, missed = check.tried, check.missed(check.tried)
    curves = [(factor, *check.along(factor, tried)) for factor in numbers(surface)]
    factor, levels, curve = max(curves, key=lambda one: np.abs(one[2]).max())
    most = curve[np.abs(curve).argmax()]
    start = f"the {surface.kind.label} surface misses"
    if abs(most) < 0.5 * np.abs(missed).max():
        at = int(np.abs(missed).argmax())
        what = (
            f"{start} an effect that no single setting explains: predictions are up to {words.off(surface, missed[at])}, "
            f"most at {words.setup(tried.iloc[at])}; {_ALLOWED}"
        )
        return Finding(surface.kind.name, what, _weight(surface, missed[at]))
    low, worst, high = (float(levels[at]) for at in stretch(curve))
    unit = words.unit(factor.name)
    what = (
        f"{start} curvature in {_word(factor.name)} between {unit.number(low)} and {unit.words(high)}: predictions there are up to "
        f"{words.off(surface, most)}, most at {unit.words(worst)}; {_ALLOWED}"
    )
    return Finding(surface.kind.name, what, _weight(surface, most))


def _of_level(surface: Surface, found: OffLevel, words: _Words) -> Finding:
    side = "above" if found.shift > 0 else "below"
    what = (
        f"{surface.kind.label} {words.level(found)} lies {words.amount(surface, found.shift)} {side} what all other "
        f"prints predict, and no second-order surface follows that: check what was different there; {_ALLOWED}"
    )
    return Finding(surface.kind.name, what, _weight(surface, found.shift))


def _of_lack(surface: Surface, p: float, words: _Words) -> Finding:
    names = surface.design.apart
    rest = surface.cells.assign(rest=surface.cells["value"] - surface.mean(surface.cells))
    setups = rest.groupby(names, dropna=False)["rest"].agg(["mean", "count"]).reset_index()
    worst = setups.loc[(setups["mean"].abs() * np.sqrt(setups["count"])).idxmax()]
    what = (
        f"the {surface.kind.label} surface misses the tried set-ups by more than repeat prints differ (lack of "
        f"fit, p {p:.1g}): predictions are {words.off(surface, worst['mean'])} at {words.setup(worst)}; {_CURE}"
    )
    return Finding(surface.kind.name, what, _weight(surface, worst["mean"]))


# drift ------------------------------------------------------------------------------------------


def _of_drift(surfaces: Surfaces, words: _Words, rare: float) -> list[Finding]:
    """Responses that changed during the trial, in one sentence; none where surfaces follow that."""
    followed = surfaces.mountings.declared.drift
    clear = {name: one for name, one in surfaces.drifts.items() if one.p < rare and not followed}
    if not clear:
        return []
    parts = []
    for name, one in clear.items():
        surface = surfaces.by_name[name]
        ends = " to ".join(words.amount(surface, end) for end in sorted((one.low, one.high), key=abs))
        verb = "rose" if one.change > 0 else "fell"
        parts.append(
            f"{surface.kind.label} {verb} by {words.amount(surface, one.change)} (95 % interval {ends})"
        )
    weights = {_weight(surfaces.by_name[name], one.change / 2.0) for name, one in clear.items()}
    what = (
        f"from the first print to the last, at the same settings, {_listed(parts)}: probabilities are for the middle of the "
        "trial, and not for the process as it is now; find the cause and print again, or add drift = true under "
        "[make_readies] in the study: then they are for the end of the trial"
    )
    return [Finding("", what, "serious" if "serious" in weights else "mind")]


# spread -----------------------------------------------------------------------------------------


def _of_spread(surface: Surface, surfaces: Surfaces, words: _Words, rare: float) -> list[Finding]:
    """Slopes that differ or an uneven spread, whichever is clearer, or one of another shape, which both have for that alone."""
    shape = residual_shape(surface)
    if shape is None:
        return []
    rests = Rests.of(surface)
    slopes, uneven = slopes_apart(rests), uneven_spread(rests)
    is_uneven = uneven.p < rare
    if slopes is not None and slopes.p < rare and not (is_uneven and uneven.score > slopes.score):
        return [_of_slopes(surface, slopes, words)]
    if is_uneven:
        return [_of_uneven_spread(surface, uneven, surfaces.joint.growths[surface.kind.name], words)]
    return [_of_shape(surface, shape)] if shape.p < rare else []


def _of_slopes(surface: Surface, found: SlopesApart, words: _Words) -> Finding:
    name = _word(found.factor.name)
    what = (
        f"the effect of {name} on {surface.kind.label} differs from make-ready to make-ready by more than chance (p {found.p:.1g}): "
        f"over the tried range of {name} it changes by {words.amount(surface, found.spread)} (one standard deviation), which "
        f"probabilities do not allow for; they are too optimistic far from the middle of that range"
    )
    return Finding(surface.kind.name, what, "mind")


def _of_uneven_spread(surface: Surface, uneven: Uneven, growth: SpreadGrowth, words: _Words) -> Finding:
    name = "" if uneven.factor is None else uneven.factor.name
    what = _word(name) if name else "it"
    allowed = "probabilities let it grow with speed, cell volume and pressure, which covers a part of this"
    if name in growth.ratios:
        ratio, low, high = growth.ratios[name]
        allowed = (
            f"probabilities allow for {ratio:.1f} times as much at the high end as at the low end (95 % interval {low:.1f} to "
            f"{high:.1f}); prints repeated at both ends would make that surer"
        )
    sentence = (
        f"the scatter of {surface.kind.label} about its surface is uneven: {words.amount(surface, uneven.low)} where {what} is low "
        f"and {words.amount(surface, uneven.high)} where {what} is high; {allowed}"
    )
    return Finding(surface.kind.name, sentence, "mind")


def _of_shape(surface: Surface, found: Shape) -> Finding:
    shape = f"extreme prints are {'more' if found.kurtosis > 0 else 'less'} frequent than in a normal distribution"
    if abs(found.skewness) > abs(found.kurtosis):
        side, other = ("above", "below") if found.skewness > 0 else ("below", "above")
        shape = f"prints {side} it scatter farther than prints {other} it"
    what = (
        f"the scatter of {surface.kind.label} about its surface is not normal (Shapiro-Francia, p {found.p:.1g}): "
        f"{shape}; do not rely on probabilities below 1 % or above 99 %"
    )
    return Finding(surface.kind.name, what, "mind")


def _of_gaps(surfaces: Surfaces) -> list[Finding]:
    """Gaps of one print that are not spread as normal ones."""
    if "gap_closure" not in surfaces.by_name or surfaces.gap_shape.p >= RARE / 4.0:  # its p is rough
        return []
    found = surfaces.gap_shape
    lean = "close farther" if found.skewness > 0 else "stay open farther"
    what = (
        f"the gaps of a print are not normally distributed (skewness and kurtosis of {found.inspected} gaps about their "
        f"prints, p {found.p:.1g}): some {lean} than in a normal distribution; probabilities for the worst of many gaps "
        "allow for this; find out what is different about those gaps"
    )
    return [Finding("gap_closure", what, "mind")]


def _of_make_readies(surfaces: Surfaces) -> list[Finding]:
    if not surfaces.mountings.measured or any(surface.groups.split for surface in surfaces.by_name.values()):
        return []
    what = (
        "each make-ready has one print, so variation between make-readies cannot be separated from variation between prints "
        "of one make-ready; probabilities are for a run with a new make-ready; to separate them, print two or more "
        "set-ups in a make-ready"
    )
    return [Finding("", what, "mind")]


# words ------------------------------------------------------------------------------------------


def _word(name: str) -> str:
    return name.replace("_", " ")


def _listed(parts: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def _weight(surface: Surface, missed: float) -> _Weight:
    """Serious where at least half the standard deviation of the next print is missed."""
    return "serious" if abs(missed) >= 0.5 * np.sqrt(surface.scale) else "mind"
