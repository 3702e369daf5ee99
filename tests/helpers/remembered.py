"""Trials, fits, speed bands and calibrations that are worked out once a process, for tests of what is made of them.

Each is kept by the content of all that it is worked out from, so that what another trial, product or
study gives is never taken for it.
"""

from __future__ import annotations

import dataclasses
import pickle
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib import import_module

import pandas as pd
import pytest

import pwindow as pw
from pwindow.inputs import InputFile
from pwindow.surfaces import Surfaces
from pwindow.trials import Trial, read_trial
from pwindow.window import Window, trade_offs
from pwindow.window.bands import speed_bands
from pwindow.window.calibration import Calibration, calibrate

_FITTING = ("surfaces", *(f"workflows.{name}" for name in ("evidence", "given", "kept", "loaded")))
_SHOWN = ("along_speed", "frontier", "plates_compared", "sensitivities")
_KEPT = 24


class Memory:
    """The last results of a function, each under a key that its arguments make."""

    def __init__(self, function: Callable, key: Callable[..., object]):
        self.function, self.key = function, key
        self.results: OrderedDict[bytes, tuple] = OrderedDict()

    def __call__(self, *given, **named):
        key = pickle.dumps(self.key(*given, **named))
        if key not in self.results:
            # what was given is kept too: a key may hold its id
            self.results[key] = self.function(*given, **named), given
            if len(self.results) > _KEPT:
                self.results.popitem(last=False)
        self.results.move_to_end(key)
        return self.results[key][0]


def measured(trial: Trial) -> tuple:
    """All that a fit sees of a trial."""
    return (
        *(trial.fingerprint, trial.pressure_unit, trial.files, trial.notes),
        *(getattr(trial, "numbers", ()), trial.prints, trial.cells),
    )


def asked_of(window: Window) -> tuple:
    """All that a window stands on; the joint surfaces by their id."""
    surfaces = window.surfaces
    return id(surfaces.joint), measured(surfaces.trial), window.product, window.study


_trials = Memory(
    read_trial, lambda files, study=None: ([InputFile.of(file) for file in files], study and study.plates)
)
# the public name is looked up here: looked up first while `fit` is replaced, it would stay replaced
_fits = Memory(pw.fit, lambda trial, *asked, **named: (measured(trial), asked, sorted(named.items())))
_bands = Memory(speed_bands, lambda window, pressures: (asked_of(window), pressures))
_shown = {
    name: Memory(getattr(trade_offs, name), lambda window, *at, bands=None: (asked_of(window), at))
    for name in _SHOWN
}
_calibrations = Memory(
    partial(calibrate, workers=1), lambda window, trials, seed: (asked_of(window), trials, seed)
)


def _fitted(trial: Trial, *asked, **named) -> Surfaces:
    return dataclasses.replace(_fits(trial, *asked, **named), trial=trial)


def _found(window: Window, pressures: Sequence[float] | None = None) -> pd.DataFrame:
    return _bands(window, pressures).copy()


def _calibrated(window: Window, trials: int = 200, seed: int = 1, progress: Callable = iter) -> Calibration:
    for _ in progress(range(trials)):
        pass
    return _calibrations(window, trials, seed)


@contextmanager
def remembering() -> Iterator[None]:
    """Keep what commands and pages read, fit, find and calibrate."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("pwindow.workflows.gathered.read_trial", _trials)
        for name in _FITTING:
            patched.setattr(import_module(f"pwindow.{name}"), "fit", _fitted)
        patched.setattr("pwindow.window.window.speed_bands", _found)
        patched.setattr("pwindow.window.calibration.calibrate", _calibrated)
        for name, shown in _shown.items():
            patched.setattr(import_module("pwindow.panels.trade_offs.model"), name, shown)
        yield
