"""What the probabilities rest on, and what was not tried, in plain sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pwindow.review.settings import Setting
from pwindow.surfaces.checks.checked import Judged, checks_of
from pwindow.surfaces.checks.diagnostics import RARE
from pwindow.surfaces.findings import Finding, findings
from pwindow.surfaces.single.surface import Surface
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.summary import constant_columns
from pwindow.window.calibration import Calibration
from pwindow.window.setup import Setup
from pwindow.window.window import Window
from pwindow.wording import Units, amount, listed, speed, stated


@dataclass(frozen=True, kw_only=True)
class SurfaceFit:
    """How well one surface fits, and what varies about it.

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
        Standard deviations in words; "" where the trial cannot separate them.
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
        """Whether the surface shows lack of fit, in words."""
        if self.lack_of_fit is None:
            return "no set-up was repeated"
        return f"{'yes' if self.lack_of_fit < RARE else 'no'} (p {self.lack_of_fit:.2g})"


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What the probabilities rest on.

    Attributes
    ----------
    fit : tuple of SurfaceFit
        How well each surface fits.
    findings : tuple of Finding
        What the checks say.
    fit_notes : tuple of str
        What the fit took, left out or assumed.
    calibration : Calibration or None
        How well the stated probabilities hold up, where that was simulated.
    """

    fit: tuple[SurfaceFit, ...]
    findings: tuple[Finding, ...]
    fit_notes: tuple[str, ...]
    calibration: Calibration | None


def evidence_of(surfaces: Surfaces, calibration: Calibration | None, units: Units) -> Evidence:
    """What the probabilities of surfaces rest on.

    Parameters
    ----------
    surfaces : Surfaces
    calibration : Calibration or None
    units : Units
        That findings, notes and spreads are written in.
    """
    return Evidence(
        fit=tuple(
            _surface_fit(surface, surfaces.judged.get(name), units)
            for name, surface in surfaces.by_name.items()
        ),
        findings=findings(surfaces, units),
        fit_notes=gathered(surfaces.notes_in(units)),
        calibration=calibration,
    )


def _surface_fit(surface: Surface, judged: Judged | None, units: Units) -> SurfaceFit:
    checks, response, parts = checks_of(surface, judged), surface.kind, surface.components

    def spread(variance: float, *, known: bool) -> str:
        return response.amount(math.sqrt(variance), units) if known else ""

    return SurfaceFit(
        name=response.name,
        label=response.label,
        prints=int(surface.cells["print"].nunique()),
        left_out=checks.left_out,
        r2=float(checks.r2),
        predicted_r2=float(checks.predicted_r2),
        lack_of_fit=None if checks.lack_of_fit is None else float(checks.lack_of_fit.p),
        make_ready=spread(parts.make_ready, known=parts.split),
        print=spread(parts.print_, known=True),
        feature=spread(parts.feature, known=parts.repeated),
    )


def gathered(notes: Sequence[str]) -> tuple[str, ...]:
    """Notes on several surfaces that say the same, listed once.

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


def not_tried(window: Window, setup: Setup, settings: Sequence[Setting], units: Units) -> tuple[str, ...]:
    """What the probabilities of a set-up and its settings assume though it was not tried.

    Parameters
    ----------
    window : Window
    setup : Setup
    settings : sequence of Setting
        As `settings_of` gives them for the set-up.
    units : Units
        To write them in.
    """
    settings = [setting.shown_in(units) for setting in settings]
    return (
        *_of_drifts(window, settings),
        *_of_roll(window, setup, units),
        *_of_speed(window, setup, settings, units),
        *_of_pressure(window, setup, units),
        *_of_plate_gap(window, setup, units),
        *_of_inventory(window, setup),
        *_of_line_length(window),
        *_of_constants(window, units),
        *_of_tolerances(window),
    )


def _of_drifts(window: Window, settings: Sequence[Setting]) -> list[str]:
    """Settings that may leave what was tried though they are held within their tolerance.

    Of a setting that the trial did not vary at all, the window's own notes speak.
    """
    varied = {setting.name for setting in settings if len(window.surfaces.trial.levels(setting.name)) > 1}
    return [
        f"{setting.label.capitalize()} {stated(setting.value)} ± {amount(setting.drift or 0.0, 2)} {setting.unit} may go "
        f"{setting.untried_drift}, where nothing was tried: the probabilities extrapolate the surfaces."
        for setting in settings
        if setting.untried_drift and setting.name in varied
    ]


def _of_roll(window: Window, setup: Setup, units: Units) -> list[str]:
    tried = {roll.id: roll.cell_volume for roll in window.surfaces.trial.rolls}
    roll = setup.roll
    if roll.planned:
        return [
            f"Roll {roll.id} is planned; you do not have it yet: the numbers are for a roll of {units.volume.words(roll.cell_volume)}. "
            "Its measured volume may differ, and its other properties (screen, cell shape, wear) are not accounted for."
        ]
    if roll.id not in tried:
        return [
            f"Roll {roll.id} was not in the trial: its cell volume, {units.volume.words(roll.cell_volume)}, lies between volumes that "
            "were. Its other properties (screen, cell shape, wear) are not accounted for."
        ]
    if abs(tried[roll.id] / roll.cell_volume - 1.0) > 0.01:
        return [
            f"Roll {roll.id} is taken as {units.volume.words(roll.cell_volume)}; in the trial it was measured as "
            f"{units.volume.words(tried[roll.id])}."
        ]
    return []


def _of_line_length(window: Window) -> list[str]:
    """That lines are taken to be whole over their length."""
    lengths = [one.parameters["length"] for one in window.product.requirements if "length" in one.kind.needs]
    return [
        f"Resistance is assumed proportional to length up to {stated(length)} mm, with no breaks in the lines."
        for length in lengths
    ]


def _of_speed(window: Window, setup: Setup, settings: Sequence[Setting], units: Units) -> list[str]:
    low, high = next(setting.tried for setting in settings if setting.name == "speed")
    unit = units.speed.name
    tried = (
        f"{speed(low)} to {speed(high)} {unit}" if speed(low) != speed(high) else f"only {speed(low)} {unit}"
    )
    around = f"{units.volume.words(setup.roll.cell_volume)}{_edge_of_volumes(window, setup)}"
    words = f"Around {around} at {units.pressure.words(setup.pressure)} the trial covers {tried}; nothing is known beyond."
    at = units.speed.of(setup.speed)
    if at > 0.97 * high or at < low / 0.97:
        words += f" {speed(at)} {unit} is at the edge of this range."
    return [words]


def _edge_of_volumes(window: Window, setup: Setup) -> str:
    """That a set-up's volume is at the end of those that were tried; "" where it is not."""
    volumes, own = window.surfaces.trial.levels("cell_volume"), setup.roll.cell_volume
    if len(volumes) < 2 or 1.01 * volumes[0] < own < 0.99 * volumes[-1]:
        return ""
    return f" (the {'smallest' if own <= 1.01 * volumes[0] else 'largest'} tried)"


def _of_pressure(window: Window, setup: Setup, units: Units) -> list[str]:
    trial = window.surfaces.trial
    if any(math.isclose(setup.pressure, tried) for tried in trial.pressures):
        return []
    tried = ", ".join(units.pressure.number(one) for one in trial.pressures)
    return [
        f"No print was made at {units.pressure.words(setup.pressure)}; the trial tried {tried} {units.pressure.name}."
    ]


def _of_plate_gap(window: Window, setup: Setup, units: Units) -> list[str]:
    tried = window.surfaces.trial.levels("plate_gap")
    asked = float(window.patterns[setup.plate]["plate_gap"])
    needed = any(one.name == "gap" for one in window.product.requirements)
    if not needed or not tried or any(math.isclose(asked, one) for one in tried):
        return []
    words = " and ".join(units.length.number(one) for one in tried[:-1])
    words = f"{words} and {units.length.words(tried[-1])}" if words else units.length.words(tried[-1])
    return [
        f"No plate of the trial had gaps of {units.length.words(asked)}; their behaviour is predicted from gaps of {words}."
    ]


def _of_inventory(window: Window, setup: Setup) -> list[str]:
    tried = {roll.id for roll in window.surfaces.trial.rolls}
    others = [
        roll.id
        for roll in window.rolls
        if roll.id not in tried and roll.id != setup.roll.id and not roll.planned
    ]
    if not others:
        return []
    names = f"{'Rolls' if len(others) > 1 else 'Roll'} {', '.join(others)}"
    return [
        f"{names} {'are' if len(others) > 1 else 'is'} in the inventory but {'were' if len(others) > 1 else 'was'} not in the trial."
    ]


def _of_constants(window: Window, units: Units) -> list[str]:
    trial = window.surfaces.trial
    kept = [
        f"{name.replace('_', ' ')} {units.of_column(name, trial.unit_of(name)).words(value).strip() if isinstance(value, float) else value}"
        for name, value in constant_columns(trial).items()
    ]
    if not kept:
        return []
    return [f"All prints of the trial had {listed(kept)}; the effect of any other value is not known."]


def _of_tolerances(window: Window) -> list[str]:
    stated = {one.setting for one in window.tolerances}
    missing = [name.replace("_", " ") for name in ("speed", "pressure", "cell_volume") if name not in stated]
    if not missing:
        return []
    return [
        f"The product states no tolerance on {listed(missing)}: the probabilities assume {'it is' if len(missing) == 1 else 'they are'} exactly as stated."
    ]
