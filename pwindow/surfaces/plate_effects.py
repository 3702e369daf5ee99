"""What plates do to lines: line gain per process, processes at equal plate width, lines of other directions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.overview import Overview, Viewed
from pwindow.surfaces.checks.double_ridges import double_ridges
from pwindow.surfaces.model.responses import RESPONSE_KINDS
from pwindow.surfaces.surfaces import Surfaces, setups_frame
from pwindow.trials.directions import angles
from pwindow.wording import METRIC, Units, counted, signed

LEVEL = 0.95
_LINES = ("line_width", "line_height")
_DIRECTIONS = {"0": "along the web", "90": "across the web"}


@dataclass(frozen=True, kw_only=True)
class PlateEffect:
    """Something that a plate does, with its interval.

    Attributes
    ----------
    of : {'line gain', 'process', 'direction'}
    plate : str
        Process.
    beside : str
        Process or direction that it is compared with; "" for line gain.
    response : str
        ``line_width`` or ``line_height``.
    ratio, low, high : float
        Printed over plate width for line gain, else the response over that of what it is compared with; 95 % interval.
    width : float
        Plate width at which it is told, µm; NaN where the surfaces know none.
    direction : str
        Of the lines, deg.
    """

    of: str
    plate: str
    beside: str
    response: str
    ratio: float
    low: float
    high: float
    width: float
    direction: str = "0"

    @property
    def told(self) -> bool:
        """Whether the trial can tell it from no difference at all."""
        return not self.low <= 1.0 <= self.high

    @property
    def sentence(self) -> str:
        """In words."""
        if self.of == "line gain":
            return f"{self.plate}: lines print {self.ratio:.2f} ({self.low:.2f} to {self.high:.2f}) times as wide as on the plate"
        what = RESPONSE_KINDS[self.response].label
        change = f"{_percent(self.ratio)} ({_percent(self.low)} to {_percent(self.high)})"
        unclear = "" if self.told else ", which could be none"
        if self.of == "process":
            return f"{self.plate} beside {self.beside}, at equal plate width: {what} {change}{unclear}"
        return (
            f"{self.plate}, {_along(self.direction)} beside {_along(self.beside)}: {what} {change}{unclear}"
        )


def _percent(ratio: float) -> str:
    return f"{signed(100.0 * (ratio - 1.0), 1)} %"


def _along(direction: str) -> str:
    return f"lines {_DIRECTIONS.get(direction, f'at {direction} deg')}"


@dataclass(frozen=True, repr=False, kw_only=True)
class PlateEffects(Viewed):
    """What the plates of a trial do to lines, in the middle of what was tried.

    Attributes
    ----------
    effects : tuple of PlateEffect
    speed : float, m/min
    cell_volume : float, cm³/m²
    pressure : float
        In the trial's unit of pressure.
    notes : tuple of str
        What the trial cannot tell, and why; and how often lines print double ridges, by their tops on the plates.
    """

    effects: tuple[PlateEffect, ...]
    speed: float
    cell_volume: float
    pressure: float
    notes: tuple[str, ...] = ()

    def overview(self) -> Overview:
        """How many effects there are, and of which the trial is sure."""
        told = sum(one.told for one in self.effects if one.of != "line gain")
        facts = (counted(len(self.effects), "effect", "effects"), f"{told} told apart from none")
        return Overview("Plate effects", "", facts, {})

    def place(self, units: Units = METRIC) -> str:
        """Where it is told.

        Parameters
        ----------
        units : Units
            To write it in.
        """
        at = (
            units.speed.words(self.speed),
            units.volume.words(self.cell_volume),
            units.pressure.words(self.pressure),
        )
        return f"at {', '.join(at)}"

    def to_frame(self) -> pd.DataFrame:
        """One row per effect: ``of``, ``plate``, ``beside``, ``direction_deg``, ``plate_width_um``, ``response``, ``ratio``, ``low``, ``high``."""
        return pd.DataFrame(
            [
                {
                    "of": one.of,
                    "plate": one.plate,
                    "beside": one.beside,
                    "direction_deg": float(one.direction),
                    "plate_width_um": one.width,
                    "response": one.response,
                    "ratio": one.ratio,
                    "low": one.low,
                    "high": one.high,
                }
                for one in self.effects
            ]
        )


def plate_effects(surfaces: Surfaces) -> PlateEffects:
    """Line gain, the difference between processes at equal plate width, and that between directions.

    Processes are compared at one width on the plate, never at one width of the artwork. Intervals are of averages
    over plates, make-readies and prints.

    Parameters
    ----------
    surfaces : Surfaces
    """
    middle = {name: _middle(surfaces, name) for name in ("speed", "cell_volume", "pressure")}
    ranges = [one.get("plate_width") for one in surfaces.region.covariates.values()]
    known = [one for one in ranges if one is not None]
    low = max((one[0] for one in known), default=np.nan)
    high = min((one[1] for one in known), default=np.nan)
    shared = bool(known) and len(known) == len(ranges) and low <= high
    width = float(np.sqrt(low * high)) if shared else np.nan
    found = [effect for name in _LINES for effect in _of_response(surfaces, name, middle, width)]
    ridges = double_ridges(surfaces.trial)
    notes = (*_untold(surfaces, shared=shared), *([] if ridges is None else [ridges.sentence]))
    return PlateEffects(effects=tuple(found), **middle, notes=notes)


def _middle(surfaces: Surfaces, name: str) -> float:
    values = surfaces.trial.prints[name].astype(float)
    ends = float(values.min()), float(values.max())
    return float(np.mean(ends)) if name == "pressure" else float(np.sqrt(ends[0] * ends[1]))


def _untold(surfaces: Surfaces, *, shared: bool) -> Iterator[str]:
    surface = surfaces.by_name.get("line_width")
    if surface is None:
        return
    if len(surfaces.region.plates) > 1 and not (shared and ("plate_width",) in surface.design.terms):
        yield (
            "plate processes cannot be compared at equal plate width: print several plate widths of each, some of them alike, with "
            "plate_width [µm] as measured on the plate"
        )
    if len(set().union(*surfaces.region.directions.values())) < 2:
        yield "all lines have one direction, so that nothing is known of others"


def _of_response(
    surfaces: Surfaces, name: str, middle: dict[str, float], width: float
) -> Iterator[PlateEffect]:
    if name not in surfaces.by_name:
        return
    plates = surfaces.region.plates
    knows_width = ("plate_width",) in surfaces.by_name[name].design.terms

    def setups(plate: str, direction: str, at: float) -> pd.DataFrame:
        return setups_frame([{**middle, "plate": plate, "plate_width": at, "direction": float(direction)}])

    for plate in plates:
        own = surfaces.region.covariates[plate].get("plate_width", (np.nan, np.nan))
        at = width if knows_width and np.isfinite(width) else float(np.sqrt(own[0] * own[1]))
        first, *others = sorted(surfaces.region.directions[plate], key=float) or ["0"]
        if name == "line_width" and np.isfinite(at):
            yield _gain(surfaces, setups(plate, first, at), plate)
        for other in others:
            there = _tried_width(surfaces, plate, other)
            ends = setups(plate, other, there), setups(plate, first, there)
            yield _beside(surfaces, name, *ends, of="direction", beside=first)
    if knows_width and np.isfinite(width):
        for plate in plates[1:]:
            ends = setups(plate, "0", width), setups(plates[0], "0", width)
            yield _beside(surfaces, name, *ends, of="process", beside=plates[0])


def _tried_width(surfaces: Surfaces, plate: str, direction: str) -> float:
    """The middle of the plate widths at which a direction was tried on a process, µm; NaN where they are not known."""
    trial = surfaces.trial
    cells = trial.cells[trial.cells["print"].map(trial.prints["plate"].fillna("")).eq(plate)]
    cells = cells[cells["direction"].notna() & cells["plate_width"].notna()]
    own = cells.loc[angles(cells["direction"]) == direction, "plate_width"].astype(float)
    return float(np.exp(np.log(own).mean())) if len(own) else np.nan


def _gain(surfaces: Surfaces, setups: pd.DataFrame, plate: str) -> PlateEffect:
    at = float(setups["plate_width"].iloc[0])
    gain = surfaces.predict("line_width", setups, LEVEL).iloc[0] / at
    return PlateEffect(
        of="line gain",
        plate=plate,
        beside="",
        response="line_width",
        ratio=float(gain["mean"]),
        low=float(gain["mean_ci_low"]),
        high=float(gain["mean_ci_high"]),
        width=at,
    )


def _beside(
    surfaces: Surfaces, name: str, setups: pd.DataFrame, others: pd.DataFrame, *, of: str, beside: str
) -> PlateEffect:
    ratio = np.exp(surfaces.joint.difference(name, setups, others, LEVEL).iloc[0])
    at = setups.iloc[0]
    return PlateEffect(
        of=of,
        plate=str(at["plate"]),
        beside=beside,
        response=name,
        ratio=float(ratio["mean"]),
        low=float(ratio["low"]),
        high=float(ratio["high"]),
        width=float(at["plate_width"]),
        direction=f"{at['direction']:.0f}",
    )
