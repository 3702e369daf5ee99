"""What a fit stands on, in twelve hexadecimal digits: data, terms, versions."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Sequence
from dataclasses import asdict
from functools import cache
from importlib.metadata import version

from pwindow.shipped import __version__
from pwindow.study import MakeReadies
from pwindow.trials.trial import Trial


@cache
def versions() -> dict[str, str]:
    """Of what works out a fit."""
    ours = {"pwindow": __version__, "python": platform.python_version()}
    return ours | {name: version(name) for name in ("numpy", "scipy", "pandas")}


def digest(content: object) -> str:
    """Twelve hexadecimal digits of what JSON can hold."""
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:12]


def fit_fingerprint(trial: Trial, terms: str, leave_out: Sequence[str], make_readies: MakeReadies) -> str:
    """Of a fit, also before it is made.

    Parameters
    ----------
    trial : Trial
    terms : {'all', 'chosen', 'bending'}
    leave_out : sequence of str
        Terms that are left out, in any order.
    make_readies : MakeReadies
        What the study states.
    """
    stated = [] if make_readies == MakeReadies() else [asdict(make_readies)]
    return digest([trial.fingerprint, terms, sorted(leave_out), versions(), *stated])
