"""In which of three degrees prints are as a fit predicts, by the probability of being as far off by chance."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from pwindow.surfaces.checks.diagnostics import RARE

UNUSUAL = 0.05
"""Agreement is called unusual below this probability, where a 95 % interval just misses what was predicted."""
RULE = (
    f"How this is judged: of each response the average shift, its trend and the scatter, and of bridged gaps their "
    f"number, of all and of the worst print; “does not agree” where fewer than {100 * RARE:g} in 100 trials of the same process are as far off by chance, "
    f"“is unusual” where fewer than {100 * UNUSUAL:g} in 100 are, “agrees” otherwise. Several are judged at once, so one "
    "that is unusual proves no change: look for a cause before the trial is used."
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


def in_hundred(chance: float) -> str:
    """How often, in words.

    Examples
    --------
    >>> in_hundred(0.034), in_hundred(0.0101)
    ('3.4 in 100', '1 in 100')
    """
    return f"{100.0 * chance:.2g} in 100"
