"""Which prints shared a make-ready, and what is assumed of the spread between make-readies.

The next run is a new make-ready, so its probabilities need to know how much make-readies differ. A trial shows it by the
make-readies that it has beyond those which the surfaces' own terms use up. Where these are too few, or where
it is not recorded which prints shared one, a stated spread takes their place, and every probability says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
import pandas as pd
from scipy.special import chdtri

from pwindow.study import EACH_PRINT, MakeReadies
from pwindow.surfaces.model.responses import RESPONSE_KINDS, ResponseData, ResponseKind
from pwindow.surfaces.model.terms import Design
from pwindow.surfaces.posterior.sampler import Between
from pwindow.trials.trial import Trial
from pwindow.wording import METRIC, PERCENT, Units, counted, span

LEAST_SPARE = 3
"""Make-readies that a trial needs beyond those which the terms of its surfaces take up.

With three to spare the spread that a trial shows states what comes true, and more, whether make-readies differ as the demo's
or in variance five times as much; where they differ 15 times as much it still overstates less than the usual spread
does (tests/bench/bench_spare.py, table in DEVELOPERS.md).
"""
_LEVEL = 0.95


class Known(Enum):
    """How it is known which prints shared a make-ready."""

    RECORDED = "recorded in the trial"
    DECLARED = "stated in the study"
    ASSUMED = "not recorded"


@dataclass(frozen=True)
class Mountings:
    """The make-readies of a trial.

    Attributes
    ----------
    of_print : Series
        Make-ready of each print. Where nobody recorded it, prints of one roll and plate count as one: no
        fewer can have been made.
    known : Known
    count : int
    spare : int
        Make-readies beyond those which the terms take up, of the response that has the fewest.
    declared : MakeReadies
        What the study says.
    """

    of_print: pd.Series
    known: Known
    count: int
    spare: int
    declared: MakeReadies

    @classmethod
    def of(
        cls,
        trial: Trial,
        responses: Mapping[str, ResponseData],
        designs: Mapping[str, Design],
        declared: MakeReadies,
    ) -> Mountings:
        """The make-readies of a trial, as recorded, else as the study says.

        Parameters
        ----------
        trial : Trial
        responses : mapping of str to ResponseData
        designs : mapping of str to Design
            Of the same responses.
        declared : MakeReadies
            What the study states.
        """
        of_print, known = _of_print(trial.prints, declared)
        spare = min(_spare(data, designs[name], of_print) for name, data in responses.items())
        return cls(of_print, known, int(of_print.nunique()), spare, declared)

    @property
    def shared(self) -> bool:
        """Whether any make-ready has two prints."""
        return self.count < len(self.of_print)

    @property
    def measured(self) -> bool:
        """Whether the trial shows how much make-readies differ, or what varies includes it already."""
        return self.known is not Known.ASSUMED and (not self.shared or self.spare >= LEAST_SPARE)

    def between(self, names: tuple[str, ...]) -> Between | None:
        """What is assumed of the spread of some responses before the trial is seen; None where it shows it."""
        if self.measured:
            return None
        spreads = tuple(self.spread(RESPONSE_KINDS[name]) for name in names)
        return Between(spreads, float(self.declared.known_from - 1))

    def spread(self, kind: ResponseKind) -> float:
        """The stated standard deviation between make-readies, on the modelled scale."""
        stated = self.declared.spread[kind.name]
        return float(np.log1p(stated)) if kind.log else stated

    @property
    def sentence(self) -> str:
        """What probabilities assume beside the trial, in words and metric units; "" where the trial shows it."""
        return self.sentence_in(METRIC)

    def sentence_in(self, units: Units) -> str:
        """The same in units that are asked for."""
        if self.measured:
            return ""
        whose = "stated in the study" if self.declared.stated else "common practice, no source"
        return f"{self.brief} ({whose}): {self._amounts(units)}, as standard deviations"

    @property
    def brief(self) -> str:
        """The same without the amounts."""
        if self.measured:
            return ""
        return f"{self._cause}: how much make-readies differ was not measured, so every probability assumes a spread"

    @property
    def cure(self) -> str:
        """What would make the trial show it."""
        if self.known is Known.ASSUMED:
            return (
                "record in the column make_ready which prints shared a mounting of roll and plate; or, if every print had "
                f'a make-ready of its own, add unrecorded = "{EACH_PRINT}" under [make_readies] in the study'
            )
        more = counted(LEAST_SPARE - self.spare, "more make-ready", "more make-readies")
        return f"print {more}, or state the spread of earlier trials under [make_readies] in the study"

    @property
    def _cause(self) -> str:
        if self.known is Known.ASSUMED:
            return "make_ready is not recorded"
        if self.count == 1:
            return "the trial has one make-ready"
        taken = self.count - self.spare
        return f"the trial has {self.count} make-readies, of which the terms of the surfaces use up {taken}"

    def _amounts(self, units: Units) -> str:
        freedom = self.declared.known_from - 1
        low, high = np.sqrt(freedom / chdtri(freedom, [0.5 - _LEVEL / 2, 0.5 + _LEVEL / 2]))
        parts = []
        for name, value in self.declared.spread.items():
            kind = RESPONSE_KINDS[name]
            unit = PERCENT if kind.log else units.of(kind.unit)
            ends = span(unit.of(value * low), unit.of(value * high))
            parts.append(f"{kind.label} {unit.limit(value)} ({' to '.join(ends)})")
        return ", ".join(parts)


def _of_print(prints: pd.DataFrame, declared: MakeReadies) -> tuple[pd.Series, Known]:
    recorded = prints["make_ready"]
    if recorded.notna().all():
        return recorded.astype(str), Known.RECORDED
    rolls = prints["roll"].fillna(prints["cell_volume"].map("{:.6g} cm³/m²".format))
    mounted = "roll " + rolls.astype(str) + ", plate " + prints["plate"].fillna("").astype(str)
    if declared.unrecorded == EACH_PRINT:
        mounted = pd.Series("print " + prints.index.astype(str), prints.index)
    known = Known.DECLARED if declared.unrecorded else Known.ASSUMED
    return recorded.where(recorded.notna(), mounted).astype(str), known


def _spare(data: ResponseData, design: Design, of_print: pd.Series) -> int:
    """Rank of make-readies beside the terms, less that of the terms alone (Henderson 1953, Biometrics 9, 226)."""
    ready = pd.factorize(of_print.reindex(data.cells["print"]))[0]
    matrix = design.matrix(data.cells)
    means = np.zeros((ready.max() + 1, matrix.shape[1]))
    np.add.at(means, ready, matrix)
    within = matrix - (means / np.bincount(ready)[:, None])[ready]
    inside = np.linalg.matrix_rank(within, tol=1e-7 * np.linalg.norm(matrix, 2))
    return int(ready.max() + 1 + inside - matrix.shape[1])
