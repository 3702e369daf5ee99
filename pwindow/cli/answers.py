"""What the commands answer, as plain documents that JSON can hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING

import pandas as pd

from pwindow.outputs import plain
from pwindow.product import REQUIREMENT_KINDS
from pwindow.study import Roll
from pwindow.surfaces.checks.checked import Judged, checks_of
from pwindow.surfaces.checks.diagnostics import residual_checks
from pwindow.surfaces.findings import findings
from pwindow.surfaces.model.responses import COVARIATES, FACTORS
from pwindow.surfaces.posterior.make_readies import Mountings
from pwindow.surfaces.single.intervals import turned
from pwindow.surfaces.single.surface import Surface
from pwindow.surfaces.surfaces import Surfaces
from pwindow.trials.columns import COLUMNS
from pwindow.trials.trial import Trial
from pwindow.window.confidence import conformance_interval, sampling_error
from pwindow.window.search.between import between_pressures
from pwindow.window.search.recommendation import Recommendation, recommend
from pwindow.window.setup import Setup, planned_rolls
from pwindow.window.tails import tail_range
from pwindow.window.window import Window
from pwindow.wording import Units

if TYPE_CHECKING:  # loaded by the answers that need them
    from pwindow.window.calibration import Calibration
    from pwindow.window.shortfall.shortfall import Shortfall

_KEYS = {
    "speed": "speed_m_min",
    "cell_volume": "cell_volume_cm3_m2",
    "plate": "plate",
    "plate_width": "plate_width_um",
    "plate_gap": "plate_gap_um",
    "direction": "direction_deg",
    "lip_width": "lip_width_um",
    "corner_radius": "corner_radius_um",
}


def evidence(surfaces: Surfaces) -> dict:
    """What an answer stands on: files, prints, what is doubtful in them, the fingerprints of data and fit."""
    trial = surfaces.trial
    return {
        "files": list(trial.files),
        "prints": len(trial.prints),
        "fingerprint": trial.fingerprint,
        "warnings": list(trial.warnings),
        "fit": surfaces.fingerprint,
        "make_readies": _make_readies(surfaces.mountings),
    }


def _make_readies(found: Mountings) -> dict:
    """How many, how that is known, and what promises stand on where the trial does not tell their spread."""
    counted = {"count": found.count, "known": found.known.value, "spread_measured": found.measured}
    return counted | {"assumption": found.sentence or None, "cure": None if found.measured else found.cure}


def speeds_answer(
    window: Window, pressures: Sequence[float] | None, units: Units, *, limits: bool = False
) -> dict:
    """Speed bands, the recommended one, and without bands how close the best set-up comes.

    Parameters
    ----------
    window : Window
    pressures : sequence of float or None
        In the trial's unit of pressure; those that were tried where None.
    units : Units
        That sentences are written in.
    limits : bool, default False
        Whether to add what each limit 10 % tighter and looser would give.
    """
    bands = window.speed_bands(pressures)
    best = recommend(window, bands)
    answer = {
        "product": window.product.name,
        **assurance_dict(window),
        **_planned(planned_rolls(window.study)),
        "bands": bands.to_dict("records"),
        "recommended": best
        and best.to_dict(window.surfaces.trial.pressure_key) | {"why": best.reason(units)},
        "between_pressures": _between(window, best, units) if best and pressures is None else None,
        "trial": evidence(window.surfaces),
        "notes": list(window.notes),
    }
    if bands.empty:
        from pwindow.window.shortfall.shortfall import shortfall
        from pwindow.window.shortfall.words import shortfall_dict

        found = shortfall(window, pressures)
        answer["closest"] = None if found is None else _closest(found, window)
        answer["shortfall"] = None if found is None else shortfall_dict(found, units)
    if limits:
        from pwindow.window.search.starting import starting_setup

        start = starting_setup(window, best, pressures)
        answer["limits"] = [] if start is None else _limits(window, start.setup, pressures)
    return plain(answer | {"findings": [vars(finding) for finding in findings(window.surfaces, units)]})


def _between(window: Window, best: Recommendation, units: Units) -> dict | None:
    """A speed band at a pressure that was not tried, where one is predicted to be faster."""
    found = between_pressures(window, best)
    if found is None:
        return None
    return found.band.to_dict(window.surfaces.trial.pressure_key) | {"note": found.sentence(units)}


def assurance_dict(window: Window) -> dict:
    """What is asked for."""
    confidence = {} if window.confidence is None else {"confidence": window.confidence}
    return {"assurance": window.level} | confidence


def _limits(window: Window, setup: Setup, pressures: Sequence[float] | None) -> list[dict]:
    """What limits would give, with the roll, plate and pressure of a set-up and with any."""
    from pwindow.window.trade_offs import limit_trades, move_limits

    found = limit_trades(window, setup, move_limits(window, pressures))
    return found.to_frame().to_dict("records")


def _closest(found: Shortfall, window: Window) -> dict:
    """The set-up that comes closest, and how close for each requirement."""
    setup = found.closest.setup
    return {
        "at": setup.to_dict(window.surfaces.trial.pressure_key),
        "joint": found.closest.joint,
        "conformance_interval": conformance_interval(window, setup.frame(window)).to_dict(),
        "requirements": {
            one.requirement.name: {
                "conformance": one.conformance,
                "predicted": one.mean,
                "predicted_low": one.low,
                "predicted_high": one.high,
                "least": one.requirement.least,
                "most": one.requirement.most,
                "unit": one.requirement.kind.unit,
            }
            for one in found.missed
        },
    }


def _planned(rolls: Sequence[Roll]) -> dict:
    """Planned rolls with their volumes, cm³/m², where there are any."""
    return {"planned_rolls": {roll.id: roll.cell_volume for roll in rolls}} if rolls else {}


def predict_answer(
    surfaces: Surfaces, setups: pd.DataFrame, window: Window | None, planned: Sequence[Roll] = ()
) -> dict:
    """Predictions at set-ups, and conformance where there is a product.

    Parameters
    ----------
    surfaces : Surfaces
    setups : DataFrame
        As `read_setups` gives them.
    window : Window or None
        Of the product that conformance is asked for.
    planned : sequence of Roll, optional
        Those that set-ups may have been asked for with.
    """
    inside = surfaces.region.contains(setups)
    points = []
    for at in range(len(setups)):
        setup = setups.iloc[[at]].reset_index(drop=True)
        point = {
            "at": _at(setup, surfaces.trial),
            "in_trial_region": bool(inside[at]),
            "responses": _responses(surfaces, setup, window),
        }
        if window is not None:
            table = window.conformance(setup)
            point["conformance"] = {name: float(table[name].iloc[0]) for name in table}
            point["conformance_interval"] = conformance_interval(window, setup).to_dict()
            point["sampling_error"] = sampling_error(window, setup)
            if (tails := tail_range(window, setup)) is not None:
                point["tail_range"] = tails.to_dict()
        points.append(point)
    answer = {**_planned(planned), "points": points, "trial": evidence(surfaces)}
    return plain(answer if window is None else answer | assurance_dict(window))


def _at(setup: pd.DataFrame, trial: Trial) -> dict:
    keys = _KEYS | {"pressure": trial.pressure_key}
    values = {keys[name]: setup[name].iloc[0] for name in (*FACTORS, *COVARIATES)}
    return {key: value for key, value in values.items() if not pd.isna(value) and value != ""}


def _responses(surfaces: Surfaces, setup: pd.DataFrame, window: Window | None) -> dict[str, dict]:
    found: dict[str, dict] = {}
    for surface in surfaces.by_name.values():
        unknown = surface.kind.name == "gap_closure" and surfaces.counts_only
        if unknown or setup[surface.design.needs].isna().any(axis=None):
            continue
        found[surface.kind.key] = surfaces.predict(surface.kind.name, setup).iloc[0].to_dict()
    gap = setup["plate_gap"].iloc[0]
    if "gap_closure_um" in found and not pd.isna(gap):
        closures = turned(found["gap_closure_um"])
        found["gap_um"] = {name: float(gap) - closure for name, closure in closures.items()}
    if window is not None:
        for name, frame in window.quantities(setup).items():
            found.setdefault(REQUIREMENT_KINDS[name].key, frame.iloc[0].to_dict())
    return found


def calibration_answer(window: Window, found: Calibration) -> dict:
    """Stated against realised conformance, by band and at the recommended set-ups."""
    return plain(
        {
            "product": window.product.name,
            "simulated_trials": found.trials,
            "bands": found.to_frame().to_dict("records"),
            "recommended": asdict(found.at_recommended()),
            "unusable": list(found.unusable),
            "trial": evidence(window.surfaces),
        }
    )


def fit_answer(surfaces: Surfaces) -> dict:
    """Everything a fit reports."""
    return plain(
        {
            "trial": evidence(surfaces),
            "section_factor": surfaces.section_factor,
            "notes": list(surfaces.notes),
            "surfaces": {
                name: _surface(surface, surfaces.judged.get(name))
                for name, surface in surfaces.by_name.items()
            },
            "residual_correlation": _correlation(surfaces),
            "spread_ratios": {
                name: {
                    setting: dict(zip(("ratio", "low", "high"), ratio))
                    for setting, ratio in growth.ratios.items()
                }
                for name, growth in surfaces.joint.growths.items()
            },
            "drift": {name: asdict(one) for name, one in surfaces.drifts.items()},
            "findings": [vars(finding) for finding in findings(surfaces)],
        }
    )


def _correlation(surfaces: Surfaces) -> dict:
    names = surfaces.joint.names
    return pd.DataFrame(surfaces.joint.correlation, index=names, columns=names).to_dict()


def _surface(surface: Surface, judged: Judged | None) -> dict:
    found = checks_of(surface, judged)
    lack = found.lack_of_fit
    components = surface.components
    return {
        "response": surface.kind.label,
        "scale": f"ln({surface.kind.unit})" if surface.kind.log else surface.kind.unit,
        "factors": [
            {"name": f.name, "scale": f.scale, "levels": list(f.levels)}
            if not f.is_number
            else {
                "name": f.name,
                "scale": f.scale,
                "low": f.low,
                "high": f.high,
                "unit": COLUMNS[f.name].unit,
            }
            for f in surface.design.factors
        ],
        "prints": int(surface.cells["print"].nunique()),
        "cells": len(surface.cells),
        "coefficients": surface.coefficients().to_dict("index"),
        "standard_deviations": {
            "make_ready": math.sqrt(components.make_ready) if components.split else None,
            "print": math.sqrt(components.print_),
            "feature": math.sqrt(components.feature),
            "next_print_measured": math.sqrt(surface.scale),
        },
        "df_next_print": surface.df,
        "analysis_of_variance": {
            "ss_model": found.ss_model,
            "df_model": found.df_model,
            "ss_residual": found.ss_residual,
            "df_residual": found.df_residual,
            "f": found.f,
            "p": found.p,
        },
        "lack_of_fit": None if lack is None else vars(lack),
        "r2": found.r2,
        "adjusted_r2": found.adjusted_r2,
        "press": found.press,
        "predicted_r2": found.predicted_r2,
        "left_out": found.left_out,
        "largest_leverage": {
            "print": found.prints["leverage"].idxmax(),
            "leverage": float(found.prints["leverage"].max()),
        },
        "prints_to_look_at": found.prints.sort_values("cook", ascending=False).head(3).to_dict("index"),
        "residual_checks": {}
        if judged is None
        else residual_checks(judged.surface, judged.checks.prints).to_dict("index"),
        "cells_checked": 0 if judged is None else len(judged.surface.cells),
    }
