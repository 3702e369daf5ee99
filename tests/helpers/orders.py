"""Plates to order whose maps have a closed form."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from pwindow.plates import PlateMaking
from pwindow.study import PlatesStated, Roll
from pwindow.window.bands import Row, SpeedBand
from pwindow.window.confidence import ConformanceInterval
from pwindow.window.orders import OrderMap, PlateOrder

WIDTHS, GAPS = np.linspace(20.0, 60.0, 41), np.linspace(40.0, 100.0, 31)
ROW = Row(Roll("<2047>", 7.2), "laser-imaged", 50.0, 30.0, 120.0)
MAKING = PlateMaking(MappingProxyType({}), PlatesStated())


def made_map(process, widths=WIDTHS, gaps=GAPS, faster=0.0, reach=50.0):
    """Assured at 90 % up to plate widths of `reach`, faster the wider; the widest gaps were not tried."""
    width = np.where(np.isnan(widths), 30.0, widths)[None, :] + 0.0 * np.nan_to_num(gaps)[:, None]
    best = np.clip(0.9 + (reach - width) / 100.0, 0.0, 1.0)
    return OrderMap(
        process=process,
        widths=widths,
        gaps=gaps,
        rows=(ROW,),
        fastest=np.where(best >= 0.9, width + faster, np.nan),
        of_row=np.zeros(width.shape, int),
        span=np.zeros(width.shape),
        best=best,
        speed_at_best=np.full(width.shape, 33.0),
        tried=np.repeat(np.nan_to_num(gaps)[:, None] <= 90.0, len(widths), axis=1),
    )


def made_order(process, width, gap, speed, *, assured=True):
    """A plate to order at a speed, with artwork of the very sizes on the plate."""
    band = SpeedBand(
        roll=ROW.roll, plate=process, pressure=50.0, low=30.0, high=speed, safest=40.0, conformance_at_fastest=0.9, conformance_at_safest=0.95,
        fastest_at_least=0.8, safest_at_least=0.85, limiting_low="line_width", limiting_high="gap", falling_low="line_width",
        falling_high="gap", missed_low="", missed_high="too small", trial_ends_low=True, trial_ends_high=False,
    ) if assured else None  # fmt: skip
    return PlateOrder(
        plate=process, aim="", artwork_width=width, artwork_gap=gap, plate_width=width, plate_gap=gap, lip_width=np.nan,
        roll=ROW.roll, pressure=50.0, speed=speed, band=band, conformance=0.91,
        interval=ConformanceInterval(low=0.8, high=0.97, level=0.9, at_least=0.8, confidence=0.95),
        speeds_between=(np.nan, np.nan), in_trial_region=True,
    )  # fmt: skip
