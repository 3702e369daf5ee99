"""Where the foot of a line lies, from which widths and gaps are measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pwindow.study import FEET


@dataclass(frozen=True)
class FootRule:
    """At a share of the step height, or at so many standard deviations of the bare film above it.

    Attributes
    ----------
    share : float
        Of the step height; by deviations, the least share.
    deviations : float or None
        None where the share rules.

    Examples
    --------
    >>> TENTH.words, THREE_DEVIATIONS.words
    ('10 % of the step height', '3 standard deviations of the bare film')
    """

    share: float
    deviations: float | None = None

    def height(self, step: float, noise: float) -> float:
        """Above the film, µm, of a line with a step height on a film with a standard deviation, both µm."""
        return (
            self.share * step if self.deviations is None else max(self.deviations * noise, self.share * step)
        )

    @property
    def words(self) -> str:
        """As rows of a trial file say it."""
        if self.deviations is None:
            return f"{100 * self.share:g} % of the step height"
        return f"{self.deviations:g} standard deviations of the bare film"


TENTH, THREE_DEVIATIONS = FootRule(0.1), FootRule(0.01, 3.0)
FOOT_RULES: Mapping[str, FootRule] = MappingProxyType(dict(zip(FEET, (TENTH, THREE_DEVIATIONS), strict=True)))
"""By the names that commands and studies know."""
