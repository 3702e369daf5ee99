"""Did prints that were made meet what a product requires? As far as it was measured on them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import betaincinv

from pwindow.product import Requirement
from pwindow.surfaces.model.responses import response_data
from pwindow.trials.trial import Trial
from pwindow.window.requirements.pattern import same_direction, same_on_plate
from pwindow.window.requirements.quantities import Quantity
from pwindow.window.window import Window
from pwindow.wording import asked, counted, percent

COLUMNS = ("print", "requirement", "unit", "low", "high", "bridged", "met")
_SLACK = 1e-9
COUNTED = 0.95
"""Confidence of what counts alone show."""


@dataclass(frozen=True, kw_only=True)
class Counted:
    """What the counts of prints alone show, whatever the surfaces say.

    Attributes
    ----------
    prints, conforming : int
        How many were judged, and how many met every requirement that was measured.
    make_readies, all_conforming : int
        The make-readies they are from, and those of which every print conformed. Prints without a make-ready count as
        one each.
    share_at_least : float
        Share of make-readies of which all prints conform, at least, with that `confidence`.
    recorded : bool
        Whether make-readies are recorded.
    confidence : float
    """

    prints: int
    conforming: int
    make_readies: int
    all_conforming: int
    share_at_least: float
    recorded: bool
    confidence: float = COUNTED

    @classmethod
    def of(cls, met: pd.DataFrame, make_ready: pd.Series) -> Counted:
        """Of the rows of one product, as `requirements_met` gives them, and the make-ready of each print."""
        prints = met.groupby("print", sort=False)["met"].all()
        own = make_ready.reindex(prints.index)
        readies = prints.groupby(own.where(own.notna(), prints.index.astype(str)).to_numpy()).all()
        held, made = int(readies.sum()), len(readies)
        recorded = bool(own.notna().all())
        return cls(
            prints=len(prints),
            conforming=int(prints.sum()),
            make_readies=made,
            all_conforming=held,
            share_at_least=least_share(held, made, COUNTED),
            recorded=recorded,
        )

    @property
    def sentence(self) -> str:
        """In words."""
        told = f"{self.conforming} of {self.prints} prints meet every requirement that was measured"
        if not self.recorded:
            return f"{told}; if each had a make-ready of its own, {self._shown('prints')}"
        readies = counted(self.make_readies, "make-ready", "make-readies")
        return f"{told}; with {readies}, {self._shown('make-readies')}"

    def _shown(self, of: str) -> str:
        if self.share_at_least < 0.001:
            return "these counts alone do not show how many would meet them"
        share = percent(np.floor(1000.0 * self.share_at_least) / 1000.0)
        return f"these counts alone show with {asked(self.confidence)} confidence that at least {share} of {of} would meet them"


def least_share(conforming: int, made: int, confidence: float) -> float:
    """The share that conforms at least, by the counts of independent trials alone.

    Clopper and Pearson (1934, Biometrika 26, 404-413), one-sided; without a failure (1 - confidence)^(1/made).

    Parameters
    ----------
    conforming, made : int
    confidence : float

    Examples
    --------
    >>> [round(least_share(made, made, confidence), 3) for made, confidence in ((22, 0.9), (29, 0.95), (59, 0.95))]
    [0.901, 0.902, 0.95]
    """
    return float(betaincinv(conforming, made - conforming + 1, 1.0 - confidence)) if conforming else 0.0


def requirements_met(window: Window, trial: Trial) -> pd.DataFrame:
    """Each requirement on each print of a trial that the product can be printed with.

    Parameters
    ----------
    window : Window
    trial : Trial
        With its measured features.

    Returns
    -------
    DataFrame
        ``print``, ``requirement`` and its ``unit``; ``low`` and ``high``: the print's mean (a line's resistance
        as it was probed, else from its section and the resistivity), or the narrowest
        and the widest measured gap at the product's plate gap; ``bridged`` gaps; ``met``. No row where
        nothing was measured that shows it; NaN where only counts of open gaps show it.
    """
    means, plates = _means(window, trial), printable(window, trial.prints)["plate"]
    probed = _probed(window, trial)
    rows: list[tuple] = []
    for name, plate in zip(plates.index, plates):
        gap, quantities = window.patterns[plate]["plate_gap"], window.limits[plate].quantities
        for requirement in window.product.requirements:
            if requirement.name == "gap":
                rows += _gaps(requirement, trial, str(name), gap)
            elif name in probed and _as_probed(requirement):
                value = float(probed[name] * requirement.parameters["length"])
                rows.append(_row(requirement, str(name), value))
            else:
                rows += _mean(requirement, quantities[requirement.name], str(name), means)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def not_judged(window: Window, trial: Trial, met: pd.DataFrame) -> tuple[str, ...]:
    """What the prints of a trial do not show about a product, in sentences.

    Parameters
    ----------
    window : Window
    trial : Trial
    met : DataFrame
        As `requirements_met` gives it for both.
    """
    own, there, left_out = set(printable(window, trial.prints).index), len(trial.prints), []
    if len(own) < there:
        left_out.append(f"{_some(len(own), there)} on a plate that suits this product")
    for requirement in window.product.requirements:
        judged = own & set(met.loc[met["requirement"] == requirement.name, "print"])
        if len(judged) < len(own):
            left_out.append(
                f"{_some(len(judged), len(own))} measured for {requirement.kind.label} as the product specifies it"
            )
    return tuple(f"{window.product.name}: {one}" for one in left_out)


def _some(count: int, of: int) -> str:
    what = f"{count or 'none'} of {of} print{'s' * (of > 1)}"
    return f"{what} {'are' if count > 1 else 'is'}"


def printable(window: Window, prints: pd.DataFrame) -> pd.DataFrame:
    """Prints on a plate process that the product can be judged for; "" where a print names none."""
    named = prints.assign(plate=prints["plate"].astype(object).where(prints["plate"].notna(), ""))
    return named[named["plate"].isin(window.plates)]


def _means(window: Window, trial: Trial) -> dict[str, pd.Series]:
    """Mean of each response on each print, on the modelled scale, of lines as the product has them."""
    found = {}
    for name, data in response_data(trial, window.surfaces.section_factor).items():
        cells = _own_lines(window, data.cells.dropna(subset="value"))
        weighted = (cells["value"] * cells["count"]).groupby(cells["print"]).sum()
        found[name] = weighted / cells.groupby("print")["count"].sum()
    return found


def _probed(window: Window, trial: Trial) -> pd.Series:
    """Mean resistance of a millimetre of line on each print, Ω/mm, where it was measured."""
    lines = _own_lines(window, trial.features.dropna(subset=["resistance", "line_length"]))
    return (lines["resistance"] / lines["line_length"]).groupby(lines["print"]).mean()


def _as_probed(requirement: Requirement) -> bool:
    """Whether a requirement is of what is probed: the line, without an undercoat beside it."""
    return requirement.name == "line_resistance" and "undercoat" not in requirement.parameters


def _own_lines(window: Window, lines: pd.DataFrame) -> pd.DataFrame:
    """Lines of the plate width and the direction that the product states."""
    pattern = window.product.pattern
    for covariate, stated, same in (
        ("plate_width", pattern.plate_width, same_on_plate),
        ("direction", pattern.direction, same_direction),
    ):
        if stated is not None:
            lines = lines[lines[covariate].isna() | same(lines[covariate], stated)]
    return lines


def _mean(
    requirement: Requirement, quantity: Quantity, name: str, means: dict[str, pd.Series]
) -> Iterator[tuple]:
    values = [means.get(response, pd.Series(dtype=float)).get(name, np.nan) for response in quantity.weights]
    at = float(np.dot(values, list(quantity.weights.values())) + quantity.constant)
    if np.isfinite(at):
        yield _row(requirement, name, float(quantity.natural(at)))


def _row(requirement: Requirement, name: str, value: float) -> tuple:
    within = _within(requirement, value, value)
    return name, requirement.name, requirement.kind.unit, value, value, 0, within


def _gaps(requirement: Requirement, trial: Trial, name: str, plate_gap: float) -> Iterator[tuple]:
    own = (trial.features["print"] == name) & same_on_plate(trial.features["plate_gap"], plate_gap)
    rows, unit = trial.features[own], requirement.kind.unit
    gaps, bridged = rows["gap"].dropna(), int(rows["gaps_bridged"].fillna(0).sum())
    if len(gaps) or bridged:
        low, high = (0.0 if bridged else float(gaps.min())), float(gaps.max()) if len(gaps) else 0.0
        short = bridged > 0 and requirement.least is not None
        yield name, "gap", unit, low, high, bridged, not short and _within(requirement, low, high)
    elif rows["gaps_inspected"].sum() > 0 and requirement.least == 0.0 and requirement.most is None:
        yield name, "gap", unit, np.nan, np.nan, 0, True


def _within(requirement: Requirement, low: float, high: float) -> bool:
    least, most = requirement.least, requirement.most
    above = least is None or low >= least - _SLACK
    return bool(above and (most is None or high <= most + _SLACK))
