"""Everything that a design review or a press run is told about one set-up, as numbers and sentences."""

from __future__ import annotations

import datetime
import json
import math
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from pwindow.errors import WindowProblem
from pwindow.product import Product
from pwindow.review.alternatives import Beside, Relaxed, Step, alternatives, relaxed, steps
from pwindow.review.evidence import SurfaceFit, gathered, not_tried, surface_fits
from pwindow.review.first_prints import FirstPrint, Stops, first_prints, gaps_to_inspect, stops
from pwindow.review.picture import pictures
from pwindow.review.words import at_words, in_full, requirement_words
from pwindow.surfaces.fingerprint import digest, versions
from pwindow.surfaces.honesty import Finding, findings
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.archive import Archive
from pwindow.trials.summary import summarise
from pwindow.window.bands import closest
from pwindow.window.calibration import Calibration
from pwindow.window.recommend import ends_at_trial, neighbours, recommend
from pwindow.window.setup import Setup
from pwindow.window.trade_offs import sensitivities, silver_notes
from pwindow.window.window import Window


@dataclass(frozen=True)
class Setting:
    """One setting of the press: what it is set to, how far it may drift, and what was tried.

    Attributes
    ----------
    name, label, unit : str
    value : float
    drift : float or None
        Most that the setting may deviate, in `unit`; None where the product does not say.
    tried : (float, float)
        Ends of what the trial says something about, the other settings being as they are.
    """

    name: str
    label: str
    unit: str
    value: float
    drift: float | None
    tried: tuple[float, float]

    @property
    def held(self) -> tuple[float, float]:
        """How far it may drift within what was tried."""
        drift = self.drift or 0.0
        low, high = max(self.value - drift, self.tried[0]), min(self.value + drift, self.tried[1])
        return min(low, self.value), max(high, self.value)

    @property
    def held_words(self) -> str:
        """The same in words, with the digits that the drift leaves."""
        if not self.drift:
            return f"{self.value:g} {self.unit}"
        decimals = max(0, 1 - math.floor(math.log10(self.drift)))
        low, high = (f"{round(end, decimals):g}" for end in self.held)
        return f"{low} to {high} {self.unit}"

    @property
    def untried_drift(self) -> str:
        """Where a drift leaves what was tried, in words; "" where it does not."""
        if not self.drift:
            return ""
        slack = 1e-6 * self.drift
        ends = [
            f"{'below' if outward < 0 else 'above'} {end:.4g} {self.unit}"
            for outward, end in zip((-1, 1), self.tried)
            if outward * (self.value + outward * self.drift - end) > slack
        ]
        return " and ".join(ends)


@dataclass(frozen=True)
class RollVolume:
    """The cell volume a roll goes by, cm³/m², and when it was measured where that is known."""

    cell_volume: float
    measured: datetime.date | None = None
    note: str = ""


def last_volumes(archive: Archive) -> dict[str, RollVolume]:
    """The last measured volume of each roll that an archive knows, by its id."""
    last = archive.volumes().groupby("roll", sort=False).last()
    return {
        str(roll): RollVolume(float(row["cell_volume"]), row["measured"], row["note"])
        for roll, row in last.iterrows()
    }


@dataclass(frozen=True)
class Judgement:
    """One requirement at the set-up: 95 % interval of the next print, and the probability that it is met."""

    name: str
    label: str
    unit: str
    words: str
    least: float | None
    most: float | None
    mean: float
    low: float
    high: float
    conformance: float


@dataclass(frozen=True)
class Review:
    """What a report and a run sheet say; every probability is of the next run.

    Attributes
    ----------
    product : Product
    setup : Setup
    chosen : {'recommended', 'asked for', 'closest'}
        Whose choice the set-up is; the closest where no set-up is assured.
    why : str
        Why it is recommended; "" where it is not.
    joint : float
    judgements : tuple of Judgement
    pressure_unit, pressure_key : str
    settings : tuple of Setting
    volume : RollVolume
    band : mapping or None
        The speed band that holds the set-up.
    bands : tuple of mapping
        As `pwindow speeds` answers them, with ``ends_at_trial``.
    recommended : mapping or None
    nearby : tuple of mapping
        Slower and faster speeds: conformance of each requirement, and of all.
    steps : tuple of Step
        What one step of a setting changes.
    relaxed : tuple of Relaxed
        What a limit relaxed by one step gives.
    beside : Beside or None
    silver_notes : tuple of str
    trial : mapping
        What was read, as `summarise` tells it.
    fit : tuple of SurfaceFit
    findings : tuple of Finding
    notes : tuple of str
    untried : tuple of str
    calibration : mapping or None
    first : tuple of FirstPrint
    gaps : int or None
        Gaps of one part, none of which may be bridged.
    stops : Stops
        How often a first print is held up though the press prints as in the trial.
    pattern : mapping of str to float
        What is on the plate of the set-up, µm: "plate_width", "plate_gap"; what is not known is left out.
    in_full : mapping of str to str
        All that product and study declare, in words.
    fit_options : str
        Options of a command that fits as this fit was made; "" where it was made without any.
    fit_notes : tuple of str
        What the fit took, left out or assumed.
    fingerprints, versions : mapping of str to str
    made : date
    command : str
        What makes the document again; "" where no command did.
    address : str
        Of the page that made it, which holds what was chosen there; "" where none did.
    pictures : mapping of str to plotly Figure
        As of `pictures`; not in `to_dict`.
    """

    product: Product
    setup: Setup
    chosen: str
    why: str
    joint: float
    judgements: tuple[Judgement, ...]
    pressure_unit: str
    pressure_key: str
    settings: tuple[Setting, ...]
    volume: RollVolume
    band: Mapping | None
    bands: tuple[Mapping, ...]
    recommended: Mapping | None
    nearby: tuple[Mapping, ...]
    steps: tuple[Step, ...]
    relaxed: tuple[Relaxed, ...]
    beside: Beside | None
    silver_notes: tuple[str, ...]
    trial: Mapping
    fit: tuple[SurfaceFit, ...]
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    untried: tuple[str, ...]
    calibration: Mapping | None
    first: tuple[FirstPrint, ...]
    gaps: int | None
    stops: Stops
    pattern: Mapping[str, float]
    in_full: Mapping[str, str]
    fit_options: str
    fit_notes: tuple[str, ...]
    fingerprints: Mapping[str, str]
    versions: Mapping[str, str]
    made: datetime.date
    command: str
    address: str
    pictures: Mapping[str, go.Figure]

    @property
    def level(self) -> float:
        """Joint conformance probability asked for."""
        return self.product.assurance.level

    @property
    def assured(self) -> bool:
        """Whether the set-up reaches it."""
        return self.joint >= self.level

    @property
    def guarded(self) -> bool:
        """Whether an average answers for the worst of many gaps."""
        return any(one.every is not None and one.every > 1 for one in self.first)

    @property
    def recommended_here(self) -> bool:
        """Whether the recommended set-up lies on the map of this set-up's plate and pressure."""
        best = self.recommended
        return best is not None and (best["plate"], float(best[self.pressure_key])) == (
            self.setup.plate,
            self.setup.pressure,
        )

    @property
    def at_words(self) -> str:
        """The set-up as ``--at`` takes it."""
        return at_words(self.setup, self.pressure_unit)

    @property
    def limiting(self) -> Judgement:
        """The requirement with the lowest conformance probability."""
        return min(self.judgements, key=lambda one: one.conformance)

    def to_dict(self) -> dict:
        """The numbers and sentences of the document as nested mappings."""
        return {
            "product": self.product.name,
            "assurance": self.level,
            "setup": {
                "roll": self.setup.roll.id,
                "cell_volume_cm3_m2": self.setup.roll.cell_volume,
                "plate": self.setup.plate,
                self.pressure_key: self.setup.pressure,
                "speed_m_min": self.setup.speed,
            },
            "chosen": self.chosen,
            "assured": self.assured,
            "conformance": {"joint": self.joint} | {one.name: one.conformance for one in self.judgements},
            "requirements": [asdict(one) for one in self.judgements],
            "settings": [asdict(one) for one in self.settings],
            "roll_volume": asdict(self.volume)
            | {"measured": self.volume.measured and str(self.volume.measured)},
            "band": self.band,
            "bands": self.bands,
            "recommended": self.recommended,
            "nearby": self.nearby,
            "steps": [asdict(one) for one in self.steps],
            "relaxed": [asdict(one) for one in self.relaxed],
            "beside": None if self.beside is None else asdict(self.beside),
            "silver_notes": self.silver_notes,
            "trial": self.trial,
            "fit": [asdict(one) for one in self.fit],
            "findings": [vars(one) for one in self.findings],
            "notes": self.notes,
            "untried": self.untried,
            "calibration": self.calibration,
            "first_prints": [one.to_dict() for one in self.first],
            "gaps_to_inspect": self.gaps,
            "stops": asdict(self.stops),
            "pattern": self.pattern,
            "in_full": self.in_full,
            "fit_notes": self.fit_notes,
            "fingerprints": self.fingerprints,
            "versions": self.versions,
            "made": str(self.made),
            "command": self.command,
            "address": self.address,
        }


def review(
    window: Window,
    setup: Setup | None = None,
    *,
    volumes: Mapping[str, RollVolume] | None = None,
    calibration: Calibration | None = None,
    command: str = "",
    address: str = "",
    made: datetime.date | None = None,
) -> Review:
    """Collect what there is to say about a set-up.

    Parameters
    ----------
    window : Window
    setup : Setup, optional
        The recommended one unless given, or the closest where none is assured.
    volumes : mapping of str to RollVolume, optional
        Measured volumes of rolls, by their id.
    calibration : Calibration, optional
        How often such probabilities are kept, by `pwindow.window.calibration.calibrate`.
    command : str
        What makes the document again.
    address : str
        Of the page that makes it, if a page does.
    made : date, optional
        Today unless given.

    Returns
    -------
    Review

    Raises
    ------
    WindowProblem
        If the set-up lies outside the trial region, or no roll of the inventory lies in it.

    Examples
    --------
    >>> import pwindow as pw
    >>> surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    >>> found = review(pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml"))))
    >>> found.setup.roll.id, found.assured
    ('2047', True)
    """
    surfaces, trial = window.surfaces, window.surfaces.trial
    bands = window.speed_bands()
    best = recommend(window, bands)
    chosen, setup = chosen_setup(window, best, setup)
    frame = setup.frame(window)
    if not window.in_trial_region(frame)[0]:
        raise WindowProblem(
            f"{_setup_words(setup, trial.pressure_unit)} lies outside the trial region: nothing was tried there, so "
            "nothing can be promised of it; choose a set-up inside, or print a trial there"
        )
    conformance = window.conformance(frame).iloc[0]
    judgements = _judgements(window, frame, conformance)
    own = own_bands(window, bands, setup)
    band, moved = _band_of(own, setup), sensitivities(window, setup)
    settings, first = _settings(window, setup), first_prints(window, frame)
    return Review(
        product=window.product,
        setup=setup,
        chosen=chosen,
        why=best["why"] if chosen == "recommended" else "",
        joint=float(conformance["joint"]),
        judgements=judgements,
        pressure_unit=trial.pressure_unit,
        pressure_key=trial.pressure_key,
        settings=settings,
        volume=(volumes or {}).get(setup.roll.id, RollVolume(setup.roll.cell_volume)),
        band=band,
        bands=tuple(_told(window, band) for _, band in bands.iterrows()),
        recommended=best,
        nearby=tuple(
            neighbours(window, setup.plate, setup.roll.cell_volume, setup.pressure, setup.speed).to_dict(
                "records"
            )
        ),
        steps=steps(moved),
        relaxed=relaxed(window, setup, moved),
        beside=alternatives(window, setup, bands, band),
        silver_notes=silver_notes(window),
        trial=summarise(trial),
        fit=surface_fits(surfaces),
        findings=findings(surfaces),
        notes=window.notes,
        untried=(*_of_drifts(settings), *not_tried(window, setup)),
        calibration=None if calibration is None else _kept(calibration),
        first=first,
        gaps=gaps_to_inspect(window),
        stops=stops(window, frame, first),
        pattern=_pattern(frame),
        in_full=in_full(window.product, replace(window.study, rolls=window.rolls)),
        fit_options=_fit_options(surfaces),
        fit_notes=gathered(surfaces.notes),
        fingerprints=_fingerprints(window, frame),
        versions=versions(),
        made=made or datetime.date.today(),
        command=command,
        address=address,
        pictures=pictures(window, setup, own, best, min(judgements, key=lambda one: one.conformance).name),
    )


def chosen_setup(
    window: Window, best: Mapping | None, setup: Setup | None = None, pressures: Sequence[float] | None = None
) -> tuple[str, Setup]:
    """Whose choice the set-up is, and the set-up: see `Review.chosen`."""
    key = window.surfaces.trial.pressure_key
    if setup is None:
        at = best or (closest(window, pressures) or {}).get("at")
        if at is None:
            raise WindowProblem(
                "no roll of the inventory lies in the trial region, so nothing can be said about this product; add a "
                "roll that was tried to the inventory, or print a trial with one of its rolls"
            )
        roll = next(roll for roll in window.rolls if roll.id == at["roll"])
        found = Setup(at["plate"], roll, float(at[key]), float(at["speed_m_min"]))
        return ("closest" if best is None else "recommended"), found
    same = best is not None and (setup.plate, setup.roll.id, setup.pressure, setup.speed) == (
        best["plate"],
        best["roll"],
        best[key],
        best["speed_m_min"],
    )
    return ("recommended" if same else "asked for"), setup


def recommended_setup(window: Window) -> Setup:
    """The recommended set-up, or the closest where none is assured; errors as of `review`."""
    return chosen_setup(window, recommend(window, window.speed_bands()))[1]


def _setup_words(setup: Setup, unit: str) -> str:
    plate = f", plate {setup.plate}" if setup.plate else ""
    return f"roll {setup.roll.id}, {setup.pressure:g} {unit}, {setup.speed:g} m/min{plate}"


def _judgements(window: Window, frame: pd.DataFrame, conformance: pd.Series) -> tuple[Judgement, ...]:
    found = window.quantities(frame)
    rows = []
    for one in window.product.requirements:
        predicted = found[one.name].iloc[0]
        ends = predicted["mean"], predicted["obs_ci_low"], predicted["obs_ci_high"]
        rows.append(
            Judgement(
                one.name,
                one.kind.label,
                one.kind.unit,
                requirement_words(one),
                one.least,
                one.most,
                *map(float, ends),
                float(conformance[one.name]),
            )
        )
    return tuple(rows)


def _settings(window: Window, setup: Setup) -> tuple[Setting, ...]:
    trial, region = window.surfaces.trial, window.surfaces.region
    drifts = {one.setting: one for one in window.tolerances}
    speeds = region.speed_range(setup.plate, setup.roll.cell_volume, setup.pressure)
    volumes = trial.prints["cell_volume"]
    told = (
        ("speed", "press speed", setup.speed, speeds),
        ("pressure", "pressure", setup.pressure, _pressures(window, setup)),
        ("cell_volume", "cell volume", setup.roll.cell_volume, (float(volumes.min()), float(volumes.max()))),
    )
    found = []
    for name, label, value, tried in told:
        drift = None
        if name in drifts:
            drift = float(drifts[name].half_width(pd.Series([value])).iloc[0])
        found.append(Setting(name, label, trial.unit_of(name), value, drift, tried))
    return tuple(found)


def _of_drifts(settings: tuple[Setting, ...]) -> list[str]:
    """Settings that may leave what was tried though they are held within their tolerance."""
    return [
        f"{one.label.capitalize()} {one.value:.4g} ± {one.drift:.3g} {one.unit} may drift {one.untried_drift}, where "
        "nothing was tried: the probabilities carry the surfaces on to there."
        for one in settings
        if one.untried_drift
    ]


def _fit_options(surfaces: Surfaces) -> str:
    terms = ["--terms", surfaces.terms] if surfaces.terms != "all" else []
    return shlex.join(terms + [word for term in surfaces.left_out for word in ("--leave-out", term)])


def _pattern(frame: pd.DataFrame) -> dict[str, float]:
    row = frame.iloc[0]
    return {
        name: float(row[name]) for name in ("plate_width", "plate_gap") if np.isfinite(row.get(name, np.nan))
    }


def _pressures(window: Window, setup: Setup) -> tuple[float, float]:
    """Lowest and highest pressure of the trial region at the speed and volume of the set-up."""
    tried = window.surfaces.trial.pressures
    asked = np.union1d(np.linspace(tried[0], tried[-1], 601), setup.pressure)
    frame = window.setups(setup.plate, setup.speed, setup.roll.cell_volume, asked)
    inside = asked[window.in_trial_region(frame)]
    return float(inside[0]), float(inside[-1])


def own_bands(window: Window, bands: pd.DataFrame, setup: Setup) -> pd.DataFrame:
    """Speed bands at the plate and pressure of a set-up, out of `bands` where they are of tried pressures."""
    key = window.surfaces.trial.pressure_key
    if not np.isclose(setup.pressure, window.surfaces.trial.pressures).any():
        bands = window.speed_bands([setup.pressure])
    return bands[(bands["plate"] == setup.plate) & np.isclose(bands[key].astype(float), setup.pressure)]


def _band_of(bands: pd.DataFrame, setup: Setup) -> Mapping | None:
    inside = bands[
        (bands["roll"] == setup.roll.id)
        & (bands["speed_low_m_min"] <= setup.speed + 1e-9)
        & (bands["speed_high_m_min"] >= setup.speed - 1e-9)
    ]
    return None if inside.empty else inside.iloc[0].to_dict()


def _told(window: Window, band: pd.Series) -> dict:
    return band.to_dict() | {"ends_at_trial": ends_at_trial(window, band)}


def _kept(found: Calibration) -> dict:
    return {
        "simulated_trials": found.trials,
        "bands": found.to_frame().to_dict("records"),
        "recommended": found.at_recommended(),
        "unusable": list(found.unusable),
    }


def _fingerprints(window: Window, frame: pd.DataFrame) -> dict[str, str]:
    """Of the trial's data, of the fit, of product and inventory, and of all with the set-up."""
    product, ink = dict_of(window.product), dict_of(window.study.ink)
    found = {
        "trial": window.surfaces.trial.fingerprint,
        "fit": window.surfaces.fingerprint,
        "product": digest(product),
        "inventory": digest([ink, [dict_of(roll) for roll in window.rolls]]),
    }
    return found | {"document": digest([found, frame.to_dict("records")])}


def dict_of(declared) -> dict:
    """What a user declared, as values that JSON can hold."""
    return json.loads(json.dumps(asdict(declared)))
