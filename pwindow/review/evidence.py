"""What the promises stand on, and what nobody has tried, in plain sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pwindow.surfaces.checks.checked import Judged, checks_of
from pwindow.surfaces.checks.diagnostics import RARE
from pwindow.surfaces.single.surface import Surface
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.summary import constant_columns
from pwindow.window.setup import Setup
from pwindow.window.window import Window
from pwindow.wording import listed, pressure, speed, volume


@dataclass(frozen=True)
class SurfaceFit:
    """How well one surface holds, and what varies about it.

    Attributes
    ----------
    name, label : str
    prints : int
    left_out : str
        What was left out at a time and predicted from the rest: 'make-ready' or 'print'.
    r2, predicted_r2 : float
        Share of what differs between set-ups that the surface follows, and that it predicts when left out.
    lack_of_fit : float or None
        Probability of missing set-ups by as much, were the form right; None where no set-up was repeated.
    make_ready, print, feature : str
        Standard deviations in words; "" where the trial cannot tell them.
    """

    name: str
    label: str
    prints: int
    left_out: str
    r2: float
    predicted_r2: float
    lack_of_fit: float | None
    make_ready: str
    print: str
    feature: str

    @property
    def misses(self) -> str:
        """Whether the surface misses set-ups by more than repeats of one set-up differ, in words."""
        if self.lack_of_fit is None:
            return "no set-up was repeated"
        return f"{'yes' if self.lack_of_fit < RARE else 'no'} (p {self.lack_of_fit:.2g})"


def surface_fits(surfaces: Surfaces) -> tuple[SurfaceFit, ...]:
    """How well each surface holds."""
    return tuple(
        _surface_fit(surface, surfaces.judged.get(name)) for name, surface in surfaces.by_name.items()
    )


def _surface_fit(surface: Surface, judged: Judged | None) -> SurfaceFit:
    found, kind, parts = checks_of(surface, judged), surface.kind, surface.components
    told = [(parts.make_ready, parts.split), (parts.print_, True), (parts.feature, parts.repeated)]
    return SurfaceFit(
        kind.name,
        kind.label,
        int(surface.cells["print"].nunique()),
        found.left_out,
        float(found.r2),
        float(found.predicted_r2),
        None if found.lack_of_fit is None else float(found.lack_of_fit.p),
        *(kind.amount(math.sqrt(variance)) if known else "" for variance, known in told),
    )


def gathered(notes: Sequence[str]) -> tuple[str, ...]:
    """Notes on several surfaces that say the same, said once.

    Examples
    --------
    >>> gathered(["line height: pitch is not used", "9 gaps are bridged", "gap closure: pitch is not used"])
    ('line height and gap closure: pitch is not used', '9 gaps are bridged')
    """
    about: dict[str, list[str]] = {}
    for note in notes:
        of, colon, said = note.partition(": ")
        about.setdefault(said if colon else note, []).extend([of] if colon else [])
    return tuple(f"{listed(names)}: {said}" if names else said for said, names in about.items())


def not_tried(window: Window, setup: Setup) -> tuple[str, ...]:
    """What the promise for a set-up leans on without anybody having tried it."""
    found = [
        *_of_roll(window, setup),
        *_of_speed(window, setup),
        *_of_pressure(window, setup),
        *_of_plate_gap(window, setup),
        *_of_inventory(window, setup),
        *_of_constants(window),
        *_of_tolerances(window),
    ]
    return tuple(found)


def _of_roll(window: Window, setup: Setup) -> list[str]:
    tried = {roll.id: roll.cell_volume for roll in window.surfaces.trial.rolls}
    roll = setup.roll
    if roll.id not in tried:
        return [
            f"Roll {roll.id} was not in the trial: its cell volume, {volume(roll.cell_volume)} cm³/m², lies between volumes that "
            "were. What is peculiar to this roll beside its volume (screen, cell shape, wear) is not in the numbers."
        ]
    if abs(tried[roll.id] / roll.cell_volume - 1.0) > 0.01:
        return [
            f"Roll {roll.id} is reckoned with {volume(roll.cell_volume)} cm³/m²; in the trial it was measured as "
            f"{volume(tried[roll.id])} cm³/m²."
        ]
    return []


def _of_speed(window: Window, setup: Setup) -> list[str]:
    low, high = window.surfaces.region.speed_range(setup.plate, setup.roll.cell_volume, setup.pressure)
    unit = window.surfaces.trial.pressure_unit
    words = (
        f"With roll {setup.roll.id} at {pressure(setup.pressure)} {unit} the trial reaches from {speed(low)} to {speed(high)} m/min; what "
        "slower or faster prints do is not known."
    )
    if setup.speed > 0.97 * high or setup.speed < low / 0.97:
        words += f" {speed(setup.speed)} m/min is at the edge of that."
    return [words]


def _of_pressure(window: Window, setup: Setup) -> list[str]:
    trial = window.surfaces.trial
    if any(math.isclose(setup.pressure, tried) for tried in trial.pressures):
        return []
    tried = ", ".join(pressure(one) for one in trial.pressures)
    return [
        f"No print was made at {pressure(setup.pressure)} {trial.pressure_unit}; tried were {tried} {trial.pressure_unit}."
    ]


def _of_plate_gap(window: Window, setup: Setup) -> list[str]:
    tried = window.surfaces.trial.levels("plate_gap")
    asked = float(window.patterns[setup.plate]["plate_gap"])
    needed = any(one.name == "gap" for one in window.product.requirements)
    if not needed or not tried or any(math.isclose(asked, one) for one in tried):
        return []
    words = " and ".join(f"{one:g}" for one in tried)
    return [f"No plate of the trial had gaps of {asked:g} µm; those of {words} µm tell what they would do."]


def _of_inventory(window: Window, setup: Setup) -> list[str]:
    tried = {roll.id for roll in window.surfaces.trial.rolls}
    others = [roll.id for roll in window.rolls if roll.id not in tried and roll.id != setup.roll.id]
    if not others:
        return []
    names = f"{'Rolls' if len(others) > 1 else 'Roll'} {', '.join(others)}"
    return [f"{names} of the inventory {'were' if len(others) > 1 else 'was'} not in the trial."]


def _of_constants(window: Window) -> list[str]:
    trial = window.surfaces.trial
    kept = [
        f"{name.replace('_', ' ')} {f'{value:g} {trial.unit_of(name)}'.strip() if isinstance(value, float) else value}"
        for name, value in constant_columns(trial).items()
    ]
    if not kept:
        return []
    return [f"All prints of the trial had {listed(kept)}; what anything else does is not known."]


def _of_tolerances(window: Window) -> list[str]:
    stated = {one.setting for one in window.tolerances}
    missing = [name.replace("_", " ") for name in ("speed", "pressure", "cell_volume") if name not in stated]
    if not missing:
        return []
    return [
        f"The product states no tolerance of {' and '.join(missing)}: the probabilities take it to be exactly as set."
    ]
