"""Plate processes side by side at the same settings, as they are and at one common plate width."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.study import Roll
from pwindow.window.conformance import conformance_probability
from pwindow.window.requirements.limits import Limits
from pwindow.window.requirements.quantities import Quantity
from pwindow.window.trade_offs.shown import Shown, named_conformances, predict_shown, shown_quantities
from pwindow.window.window import Window, find_window
from pwindow.wording import METRIC, Units

AS_PRINTED, COMMON_WIDTH = "as printed", "common plate width"
_LINE_GAIN = "line_gain"


@dataclass(frozen=True)
class PlatesCompared:
    """Plate processes at the same settings.

    Attributes
    ----------
    table : DataFrame
        One row per ``basis`` (as printed, common plate width) × ``plate`` × ``speed_m_min``:
        ``plate_width_um``; the columns of `predict_shown` for line gain (printed ÷ plate width, key
        ``line_gain``) and what can be shown on every plate; and those of `named_conformances`. NaN
        outside the trial region.
    common_width : float
        µm
    told_apart : bool
        Whether the surfaces separate plate width from plate process.
    notes : tuple of str
        Plate processes that are passed over, and why.
    """

    table: pd.DataFrame
    common_width: float
    told_apart: bool
    notes: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        return self.table

    def assumed(self, units: Units = METRIC) -> str:
        """What the correction takes for granted, in a sentence.

        Parameters
        ----------
        units : Units
            To write it in.
        """
        width = units.length.words(self.common_width)
        if self.told_apart:
            return f"Predictions for a plate width of {width} are from surfaces fitted over the tried plate widths."
        return (
            "The surfaces cannot separate plate width from plate process (each was tried with one width, or the fit "
            f"leaves out plate width): at a plate width of {width} each plate process is assumed to keep its line gain "
            "(printed ÷ plate width), line height, and gap closure at the product's plate gap."
        )


def plates_compared(
    window: Window,
    roll: Roll,
    pressure: float,
    speeds: float | Sequence[float],
    common_width: float | None = None,
) -> PlatesCompared:
    """Every plate process of the trial at the same settings, judged for the same product.

    Where the trial varied plate width beside plate process, the surfaces say what another plate width
    does. Where they do not, as where each plate process had one width, printed width is taken to be
    proportional to plate width (line gain stays), and line height and gap closure to stay.

    Parameters
    ----------
    window : Window
        Its product's plate and plate width are left open.
    roll : Roll
    pressure : float
        In the trial's unit of pressure.
    speeds : float or sequence of float, m/min
    common_width : float, optional
        µm; the product's plate width unless given, else the mean of the plates'.

    Raises
    ------
    WindowProblem
        If the trial tried fewer than two plate processes, or did not record their plate widths.
    """
    told_apart = _told_apart(window)
    widths = _plate_widths(window, told_apart=told_apart)
    common = float(common_width or window.product.pattern.plate_width or np.mean(list(widths.values())))
    parts, notes = [], []
    for basis in (AS_PRINTED, COMMON_WIDTH):
        for plate, own in widths.items():
            printed = common if basis == COMMON_WIDTH and told_apart else own
            try:
                judged = _on_plate(window, plate, printed)
            except WindowProblem as problem:
                notes.append(f"plate process “{plate}”, {basis}: {problem}")
                continue
            shift = np.log(common / own) if basis == COMMON_WIDTH and not told_apart else 0.0
            table = _at(
                judged, plate, roll, pressure, np.atleast_1d(np.asarray(speeds, float)), printed, shift
            )
            table.insert(0, "basis", basis)
            parts.append(table)
    if not parts:
        raise WindowProblem("no plate process can be judged for this product: " + "; ".join(notes))
    return PlatesCompared(pd.concat(parts, ignore_index=True), common, told_apart, tuple(notes))


def _plate_widths(window: Window, *, told_apart: bool) -> dict[str, float]:
    """The plate width that is judged on each plate process.

    The product's where it was tried and the surfaces know what it does, else the middle of the tried.
    """
    region, wanted, found = window.surfaces.region, window.product.pattern.plate_width, {}
    if len(region.plates) < 2:
        raise WindowProblem("the trial tried one plate process: print a trial with another to compare them")
    for plate in region.plates:
        ends = region.covariates[plate].get("plate_width")
        if ends is None:
            raise WindowProblem(
                f"the trial has no plate width for plate process “{plate}”: add a column plate_width [µm], measured on "
                "the plate"
            )
        if told_apart and wanted is not None and ends[0] <= wanted <= ends[1]:
            found[plate] = float(wanted)
        else:
            found[plate] = float(np.mean(ends))
    return found


def _told_apart(window: Window) -> bool:
    """Whether the surface of line width knows plate width beside plate process."""
    surface = window.surfaces.by_name.get("line_width")
    return surface is not None and ("plate_width",) in surface.design.terms


def _on_plate(window: Window, plate: str, width: float) -> Window:
    pattern = replace(window.product.pattern, plate=plate, plate_width=width)
    return find_window(window.surfaces, replace(window.product, pattern=pattern), window.study)


def _at(
    window: Window, plate: str, roll: Roll, pressure: float, speeds: np.ndarray, width: float, shift: float
) -> pd.DataFrame:
    """Predictions and conformances with every line width moved by `shift`, a logarithm."""
    setups = window.setups(plate, speeds, roll.cell_volume, pressure)
    shown = {name: _moved(one, shift) for name, one in _with_gain(window, plate, width).items()}
    predicted = predict_shown(window, setups, shown)
    limits = _moved_limits(window.limits[plate], shift)
    predictive = window.predictive(setups)
    chances = {"joint": conformance_probability(predictive, limits)}
    chances |= {name: conformance_probability(predictive, limits, name) for name in limits.requirements}
    named = named_conformances(pd.DataFrame(chances))
    outside = ~window.in_trial_region(setups)
    columns = pd.concat([predicted, named], axis=1)
    columns[outside] = np.nan
    head = {"plate": plate, "plate_width_um": float(width * np.exp(shift)), "speed_m_min": speeds}
    return pd.concat([pd.DataFrame(head), columns], axis=1)


def _with_gain(window: Window, plate: str, width: float) -> dict[str, Shown]:
    found = shown_quantities(window, plate)
    if "line_width" not in found:
        return found
    printed = found["line_width"].quantity
    gain = replace(printed, constant=printed.constant - float(np.log(width)))
    return {
        _LINE_GAIN: Shown(name=_LINE_GAIN, label="line gain", unit="1", key="line_gain", quantity=gain)
    } | found


def _moved(shown: Shown, shift: float) -> Shown:
    """What is shown with its line width moved; line gain is what stays."""
    return shown if shown.name == _LINE_GAIN else replace(shown, quantity=_wider(shown.quantity, shift))


def _wider(quantity: Quantity, shift: float) -> Quantity:
    return replace(quantity, constant=quantity.constant + quantity.weights.get("line_width", 0.0) * shift)


def _moved_limits(limits: Limits, shift: float) -> Limits:
    moved = tuple(replace(limit, quantity=_wider(limit.quantity, shift)) for limit in limits.limits)
    return replace(limits, limits=moved)
