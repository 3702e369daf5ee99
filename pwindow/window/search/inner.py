"""Set-ups that all reach the assurance level at once, with the confidence that the product asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.window.confidence import reach_under_each
from pwindow.window.conformance import Conformance
from pwindow.window.search.maps import between, grid_setups

_NODES, _DRAWN = 25, 81
"""Speeds and volumes at which processes are looked at, and between which the set is drawn."""


@dataclass(frozen=True, kw_only=True)
class InnerSet:
    """The set-ups of one plate and pressure that reach the level all at once.

    A set-up that is assured reaches it by itself; over all of a region one process or another often falls short
    somewhere. The set is the largest of those that take in set-ups in the order of how surely each reaches the level
    (Bolin & Lindgren 2015, J. R. Stat. Soc. B 77, 85-106), looked at with 25 speeds and 25 volumes.

    Attributes
    ----------
    speeds : ndarray, shape (s,), m/min
    volumes : ndarray, shape (v,), cm³/m²
    share : ndarray, shape (v, s)
        Of the possible processes, those under which a set-up reaches the level; NaN outside the trial region.
    least : float or None
        Share from which on a set-up belongs to the set; None where the set is empty.
    """

    speeds: np.ndarray
    volumes: np.ndarray
    share: np.ndarray
    least: float | None


def inner_set(window: Conformance, plate: str, pressure: float) -> InnerSet:
    """The set-ups that reach the level all at once; half a second of work.

    Parameters
    ----------
    window : Conformance
        Of a product that asks for a confidence.
    plate : str
    pressure : float
        In the trial's unit of pressure.

    Raises
    ------
    ValueError
        If the product asks for none.
    """
    if window.confidence is None:
        raise ValueError("the product asks for no confidence: [assurance] confidence")
    tried = [window.surfaces.trial.prints[name] for name in ("cell_volume", "speed")]
    few, fine = ([_axis(values, count) for values in tried] for count in (_NODES, _DRAWN))
    setups, drawn = (grid_setups(window, plate, pressure, *axes) for axes in (few, fine))
    reaching = reach_under_each(window, setups)
    least_told = 0.5 / reaching.shape[1]
    known = reaching.mean(axis=1).clip(least_told, 1.0 - least_told)
    share = between(known.reshape([len(axis) for axis in few]), few, fine)
    inside = window.in_trial_region(drawn).reshape(share.shape)
    return InnerSet(
        volumes=fine[0],
        speeds=fine[1],
        share=np.where(inside, share, np.nan),
        least=_least(reaching[window.in_trial_region(setups)], window.confidence),
    )


def _axis(tried: pd.Series, count: int) -> np.ndarray:
    low, high = float(tried.min()), float(tried.max())
    return np.array([low]) if low == high else np.geomspace(low, high, count)


def _least(reaching: np.ndarray, confidence: float) -> float | None:
    """Share of the last set-up that can be taken in; `reaching` has a row a set-up and a column a process."""
    share = reaching.mean(axis=1)
    order = np.argsort(-share, kind="stable")
    together = np.logical_and.accumulate(reaching[order], axis=0).mean(axis=1)
    taken = int((together >= confidence).sum())
    return float(share[order[taken - 1]]) if taken else None
