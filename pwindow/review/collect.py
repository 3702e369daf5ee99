"""Collects everything that a design review or a press run is told about one set-up."""

from __future__ import annotations

import datetime
import json
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace

import numpy as np
import pandas as pd

from pwindow.errors import WindowProblem
from pwindow.review.alternatives import alternatives, relaxed, steps
from pwindow.review.evidence import gathered, not_tried, surface_fits
from pwindow.review.picture import pictures
from pwindow.review.records import Judgement, Review, RollVolume, Setting
from pwindow.review.words import in_full, requirement_words
from pwindow.surfaces.findings import findings
from pwindow.surfaces.fingerprint import digest, versions
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.summary import summarise
from pwindow.window.bands import bands_at
from pwindow.window.calibration import Calibration
from pwindow.window.run.first_prints import first_prints, gaps_to_inspect, stops
from pwindow.window.search.recommendation import Recommendation, neighbours, recommend
from pwindow.window.search.starting import Choice, StartingSetup, starting_setup
from pwindow.window.setup import Setup
from pwindow.window.shortfall.shortfall import shortfall
from pwindow.window.trade_offs import sensitivities, silver_notes
from pwindow.window.window import Window
from pwindow.wording import setup_words


def review(
    window: Window,
    setup: Setup | None = None,
    *,
    volumes: Mapping[str, RollVolume] | None = None,
    calibration: Calibration | None = None,
    command: str = "",
    address: str = "",
    loaded: Sequence[str] = (),
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
    loaded : sequence of str
        Names of the files that were loaded on that page, if any were.
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
    start = started(window, best)
    chosen, setup = _chosen(start, setup), setup or start.setup
    frame = setup.frame(window)
    if not window.in_trial_region(frame)[0]:
        raise WindowProblem(
            f"{setup_words(setup.roll.id, setup.pressure, trial.pressure_unit, setup.speed, setup.plate)} lies outside the trial region: nothing was tried there, so "
            "nothing can be promised of it; choose a set-up inside, or print a trial there"
        )
    conformance = window.conformance(frame).iloc[0]
    judgements = _judgements(window, frame, conformance)
    own = bands_at(window, bands, setup.plate, setup.pressure)
    band, moved = _band_of(own, setup), sensitivities(window, setup)
    settings, first = _settings(window, setup), first_prints(window, frame)
    return Review(
        product=window.product,
        setup=setup,
        chosen=chosen,
        why=best.why if chosen is Choice.RECOMMENDED else "",
        joint=float(conformance["joint"]),
        judgements=judgements,
        pressure_unit=trial.pressure_unit,
        pressure_key=trial.pressure_key,
        settings=settings,
        volume=(volumes or {}).get(setup.roll.id, RollVolume(setup.roll.cell_volume)),
        band=band,
        bands=tuple(bands.to_dict("records")),
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
        assumption=surfaces.mountings.sentence,
        findings=findings(surfaces),
        notes=window.notes,
        untried=(*_of_drifts(settings), *not_tried(window, setup)),
        calibration=None if calibration is None else _kept(calibration),
        first=first,
        gaps=gaps_to_inspect(window),
        stops=stops(window, frame, first),
        pattern=_pattern(frame),
        shortfall=None if start.assured else shortfall(window, closest=start),
        in_full=in_full(window.product, replace(window.study, rolls=window.rolls)),
        fit_options=_fit_options(surfaces),
        fit_notes=gathered(surfaces.notes),
        fingerprints=_fingerprints(window, frame),
        versions=versions(),
        made=made or datetime.date.today(),
        command=command,
        address=address,
        loaded=tuple(loaded),
        pictures=pictures(window, setup, own, start, min(judgements, key=lambda one: one.conformance).name),
    )


def _chosen(start: StartingSetup, setup: Setup | None) -> Choice:
    """Whose choice the set-up is; the closest one is asked for where it is named."""
    if setup is None or start.assured and setup == start.setup:
        return start.choice
    return Choice.ASKED_FOR


def started(
    window: Window, best: Recommendation | None, pressures: Sequence[float] | None = None
) -> StartingSetup:
    """The recommended set-up, or the closest where there is none; errors as of `review`."""
    found = starting_setup(window, best, pressures)
    if found is None:
        raise WindowProblem(
            "no roll of the inventory lies in the trial region, so nothing can be said about this product; add a "
            "roll that was tried to the inventory, or print a trial with one of its rolls"
        )
    return found


def recommended_setup(window: Window) -> Setup:
    """The recommended set-up, or the closest where none is assured; errors as of `review`."""
    return started(window, recommend(window, window.speed_bands())).setup


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


def _band_of(bands: pd.DataFrame, setup: Setup) -> Mapping | None:
    inside = bands[
        (bands["roll"] == setup.roll.id)
        & (bands["speed_low_m_min"] <= setup.speed + 1e-9)
        & (bands["speed_high_m_min"] >= setup.speed - 1e-9)
    ]
    return None if inside.empty else inside.iloc[0].to_dict()


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
