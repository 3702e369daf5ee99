"""What a printed gap means to a device whose channel it is; its length is the gap, its width W the finger's."""

from __future__ import annotations

import math


def transit_time(length: float, mobility: float, voltage: float) -> float:
    """Time that a carrier takes through the channel, L²/(µV), s.

    Parameters
    ----------
    length : float
        L, µm.
    mobility : float
        µ, cm²/(V·s).
    voltage : float
        V.

    Examples
    --------
    50 µm, 0.01 cm²/(V·s) and 10 V:

    >>> round(transit_time(50.0, 0.01, 10.0), 9)
    0.00025
    """
    return (length * 1e-6) ** 2 / (mobility * 1e-4 * voltage)


def longest_for_transit(time: float, mobility: float, voltage: float) -> float:
    """The longest channel through which a carrier takes at most `time`, µm.

    Parameters
    ----------
    time : float
        s.
    mobility : float
        µ, cm²/(V·s).
    voltage : float
        V.

    Examples
    --------
    >>> round(longest_for_transit(250e-6, 0.01, 10.0), 9)
    50.0
    """
    return 1e6 * math.sqrt(time * mobility * 1e-4 * voltage)


def saturation_current(
    length: float, width: float, mobility: float, *, capacitance: float, overdrive: float
) -> float:
    """On-current of a field-effect transistor, W/(2L)·µC·(V_G - V_T)², A (gradual-channel formula).

    Parameters
    ----------
    length : float
        L, µm.
    width : float
        W, mm.
    mobility : float
        µ, cm²/(V·s).
    capacitance : float
        C of the gate's insulator, nF/cm².
    overdrive : float
        V_G - V_T, V.

    Examples
    --------
    A channel twice as long carries half the current.

    >>> round(saturation_current(50.0, 10.0, 0.01, capacitance=10.0, overdrive=20.0), 9)
    4e-06
    >>> round(saturation_current(100.0, 10.0, 0.01, capacitance=10.0, overdrive=20.0), 9)
    2e-06
    """
    ratio = width * 1e3 / length
    return ratio / 2.0 * mobility * capacitance * 1e-9 * overdrive**2


def longest_for_current(
    current: float, width: float, mobility: float, *, capacitance: float, overdrive: float
) -> float:
    """The longest channel that carries an on-current, µm.

    Parameters
    ----------
    current : float
        A.
    width : float
        W, mm.
    mobility : float
        µ, cm²/(V·s).
    capacitance : float
        C of the gate's insulator, nF/cm².
    overdrive : float
        V_G - V_T, V.

    Examples
    --------
    >>> round(longest_for_current(4e-6, 10.0, 0.01, capacitance=10.0, overdrive=20.0), 9)
    50.0
    """
    # current times length is what the other four set, so either follows from the other alike
    return saturation_current(current, width, mobility, capacitance=capacitance, overdrive=overdrive)
