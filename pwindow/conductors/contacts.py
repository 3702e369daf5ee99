"""Resistance between a printed line and what it contacts, by transfer length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import statsmodels.api as sm


@dataclass(frozen=True, kw_only=True)
class TransferLengthFit:
    """What resistances of one strip over several distances between contacts tell.

    Attributes
    ----------
    sheet_resistance, contact_resistance : float, Ω
        Of the strip between contacts, and of one contact.
    sheet_resistance_se, contact_resistance_se : float, Ω
        Standard errors.
    transfer_length : float, mm
        Of contacts that are long beside it.
    df : int
        Distances beyond the two that a straight line takes.
    """

    sheet_resistance: float
    contact_resistance: float
    sheet_resistance_se: float
    contact_resistance_se: float
    transfer_length: float
    df: int


def transfer_length(contact_resistivity: float, sheet_resistance: float) -> float:
    """Length over which current passes from a contact into a strip, m.

    L_T = √(ρc/Rsh) (Berger 1972, Solid-State Electron. 15, 145-158; from memory).

    Parameters
    ----------
    contact_resistivity : float
        ρc, Ω·m².
    sheet_resistance : float
        Rsh of the strip under the contact, Ω.
    """
    return float(np.sqrt(contact_resistivity / sheet_resistance))


def contact_resistance(
    contact_resistivity: float, sheet_resistance: float, length: float, width: float
) -> float:
    """Resistance of a contact fed at its front edge, Ω.

    Rsh·L_T/W·coth(L/L_T) (Berger 1972, from memory).

    Parameters
    ----------
    contact_resistivity : float
        ρc, Ω·m².
    sheet_resistance : float
        Rsh of the strip under the contact, Ω.
    length, width : float
        Of the contact, along and across the current, mm.

    Examples
    --------
    10⁻³ Ω·cm², 100 Ω, 100 µm long and 1 mm wide:

    >>> round(contact_resistance(1e-7, 100.0, 0.1, 1.0), 5)
    3.17363
    """
    reach = transfer_length(contact_resistivity, sheet_resistance)
    return float(sheet_resistance * reach / (width * 1e-3) / np.tanh(length * 1e-3 / reach))


def fit_transfer_length(
    distances: Sequence[float], resistances: Sequence[float], width: float
) -> TransferLengthFit:
    """Sheet and contact resistance from a straight line through resistances over distance.

    R = 2 Rc + Rsh·d/W, by ordinary least squares.

    Parameters
    ----------
    distances : sequence of float, shape (n,)
        Between neighbouring contacts, mm.
    resistances : sequence of float, shape (n,)
        Ω.
    width : float
        Of the strip, mm.

    Raises
    ------
    ValueError
        If there are fewer than three resistances, or all at one distance.
    """
    apart = np.asarray(distances, float)
    if len(apart) < 3 or len(apart) != len(resistances) or np.ptp(apart) == 0:
        raise ValueError("a fit needs three resistances at least, over two distances or more")
    fit = sm.OLS(np.asarray(resistances, float), sm.add_constant(apart)).fit()
    (both, slope), (both_se, slope_se) = fit.params, fit.bse
    return TransferLengthFit(
        sheet_resistance=float(slope * width),
        contact_resistance=float(both / 2.0),
        sheet_resistance_se=float(slope_se * width),
        contact_resistance_se=float(both_se / 2.0),
        transfer_length=float(both / 2.0 / slope),
        df=int(fit.df_resid),
    )
