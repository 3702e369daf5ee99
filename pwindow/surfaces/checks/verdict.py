"""In which of three degrees prints agree with a fit, by the probability of being as far off by chance."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from pwindow.surfaces.checks.diagnostics import RARE

UNUSUAL = 0.05
"""Agreement is called unusual below this probability, where a 95 % interval just misses the prediction."""
RULE = (
    f"How this is judged: for each response the average shift, its trend and the scatter; for bridged gaps their "
    f"number, in total and on the worst print. “Does not agree”: chance alone puts fewer than {100 * RARE:g} % of trials of "
    f"the same process as far off; “is unusual”: fewer than {100 * UNUSUAL:g} %; otherwise “agrees”. With several checks at "
    "once, a single unusual one does not prove a change: find the cause before you use the trial."
)


class Verdict(StrEnum):
    """What is said of prints, and of all of a trial: that of the response which agrees the least."""

    AGREES = "agrees"
    UNUSUAL = "is unusual"
    DIFFERS = "does not agree"


_DEGREES = list(Verdict)


def verdict_of(chance: float) -> Verdict:
    """The verdict on prints that are as far off in a share `chance` of trials of the same process.

    Examples
    --------
    >>> [str(verdict_of(chance)) for chance in (0.2, 0.0101, 0.002)]
    ['agrees', 'is unusual', 'does not agree']
    """
    if chance < RARE:
        return Verdict.DIFFERS
    return Verdict.UNUSUAL if chance < UNUSUAL else Verdict.AGREES


def least_of(verdicts: Iterable[Verdict]) -> Verdict:
    """The verdict that agrees the least; that of nothing is that it agrees."""
    return max(verdicts, key=_DEGREES.index, default=Verdict.AGREES)


def share(chance: float) -> str:
    """A small probability in per cent.

    Examples
    --------
    >>> share(0.034), share(0.0101)
    ('3.4 %', '1 %')
    """
    return f"{100.0 * chance:.2g} %"
