"""Artwork for a wanted printed line: what the plate and the print will add to it is taken off."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, stdtr
from scipy.stats import t

from pwindow.errors import UnusableInput
from pwindow.plates.fitted import Expected
from pwindow.plates.making import ProcessMaking
from pwindow.plates.spreads import LEVEL
from pwindow.wording import amount

_POINTS = 401  # of a new plate's width
_LEAST, _MOST = 0.1, 1e4  # µm that a line on a plate is searched between
_NARROWEST = 0.01
"""Of the average: a prediction that reaches zero stands for a line that the plate does not hold."""


@dataclass(frozen=True)
class PrintedWidth:
    """The printed width at a set-up, given the line on the plate.

    Attributes
    ----------
    log_mean_at, log_sd_at : callable
        From the width on the plate, µm, to the mean of ln(printed width / µm) of the next print, and to the scale of its
        prediction, which includes the uncertainty of the surface.
    degrees : float
        Degrees of freedom of the prediction; infinite where it is normal.
    """

    log_mean_at: Callable[[float], float]
    log_sd_at: Callable[[float], float]
    degrees: float = math.inf


@dataclass(frozen=True, kw_only=True)
class DrawnArtwork:
    """The artwork to draw, and what is then expected of a new plate and the next print.

    Attributes
    ----------
    artwork : float
        Width to draw, µm, a multiple of the step.
    exact : float
        The same before rounding.
    plate : Expected
        Line on the plate.
    printed, low, high : float
        Median of the printed width of one line, µm, and its 95 % interval: with the uncertainty of the surface and of
        plate making, and what differs between plates, between features of a plate and between prints.
    wanted : float
        Printed width that was asked for, µm.
    """

    artwork: float
    exact: float
    plate: Expected
    printed: float
    low: float
    high: float
    wanted: float


def artwork_for(
    wanted: float,
    printed: PrintedWidth,
    making: ProcessMaking,
    direction: float | None = None,
    step: float | None = None,
) -> DrawnArtwork:
    """The artwork whose printed width is expected nearest to the wanted one.

    Parameters
    ----------
    wanted : float
        Printed width, µm.
    printed : PrintedWidth
    making : ProcessMaking
    direction : float, deg, optional
    step : float, optional
        Of the artwork, µm; that of the plate maker unless given.

    Raises
    ------
    UnusableInput
        If no line on a plate, or no artwork, gives the wanted width.
    """
    step = making.resolution if step is None else step
    exact = making.artwork_width(_plate_for(wanted, printed), direction).value
    drawn = _nearest(exact, step, lambda width: abs(_median(width, printed, making, direction) - wanted))
    plate = making.plate_width(drawn, direction)
    low, middle, high = _quantiles(plate, printed, [(1.0 - LEVEL) / 2.0, 0.5, (1.0 + LEVEL) / 2.0])
    return DrawnArtwork(
        artwork=drawn, exact=exact, plate=plate, printed=middle, low=low, high=high, wanted=wanted
    )


def _plate_for(wanted: float, printed: PrintedWidth) -> float:
    """Line on the plate that prints the wanted width on average."""

    def over(log_width: float) -> float:
        return float(printed.log_mean_at(math.exp(log_width))) - math.log(wanted)

    low, high = math.log(_LEAST), math.log(_MOST)
    if not over(low) < 0.0 < over(high):
        raise UnusableInput(
            f"no line on a plate is expected to print {amount(wanted)} µm wide at this set-up; ask for another width or "
            "choose another set-up"
        )
    return math.exp(brentq(over, low, high))


def _nearest(exact: float, step: float, missed: Callable[[float], float]) -> float:
    """The step below or above with the smaller miss; no artwork is narrower than a step."""
    if exact < step / 2.0:
        raise UnusableInput(
            f"the artwork would be {amount(exact)} µm wide, less than half its step of {amount(step)} µm; ask for a wider "
            "line or choose another set-up"
        )
    below = max(math.floor(exact / step), 1)
    return step * min(below, below + 1, key=lambda count: missed(step * count))


def _median(artwork: float, printed: PrintedWidth, making: ProcessMaking, direction: float | None) -> float:
    return math.exp(float(printed.log_mean_at(making.plate_width(artwork, direction).value)))


def _quantiles(plate: Expected, printed: PrintedWidth, shares: list[float]) -> list[float]:
    """Of the printed width over lines of new plates and prints."""
    even = (np.arange(_POINTS) + 0.5) / _POINTS
    widths = np.maximum(plate.value + plate.spread * t.ppf(even, plate.degrees), _NARROWEST * plate.value)
    means, sds = (
        np.array([float(of(width)) for width in widths]) for of in (printed.log_mean_at, printed.log_sd_at)
    )
    reach = t.ppf(1.0 - 1e-4, printed.degrees) * sds

    def below(log_width: float) -> float:
        scaled = (log_width - means) / sds
        parts = ndtr(scaled) if math.isinf(printed.degrees) else stdtr(printed.degrees, scaled)
        return float(parts.mean())

    ends = float((means - reach).min()), float((means + reach).max())
    return [math.exp(brentq(lambda at, share=share: below(at) - share, *ends)) for share in shares]
