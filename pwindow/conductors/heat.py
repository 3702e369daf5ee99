"""Heat of a sheet between two busbars, and how warm it gets: no limit is asserted here.

A steady mean over the area, with one coefficient of heat loss and no lateral spread. What a part
stands is for its own tests, by the standard that applies to it.
"""

from __future__ import annotations

import math


def heat_per_area(voltage: float, sheet_resistance: float, distance: float) -> float:
    """Heat of a cold sheet, V²/(Rs·d²), W/m².

    Parameters
    ----------
    voltage : float
        V.
    sheet_resistance : float
        Ω.
    distance : float
        Between the busbars, mm.
    """
    return voltage**2 / (sheet_resistance * (distance * 1e-3) ** 2)


def rise_fed_by_voltage(heat: float, loss: float, coefficient: float) -> float:
    """Rise of temperature at a constant voltage, K: resistance grows as the sheet warms, heat falls.

    ΔT = (√(1 + 4αP₀/h) - 1)/2α, from h·ΔT = P₀/(1 + αΔT).

    Parameters
    ----------
    heat : float
        P₀ of the cold sheet, W/m².
    loss : float
        h, of all faces together, W/(m²·K).
    coefficient : float
        α, the temperature coefficient of this print's own resistance, 1/K; 0 for none.

    Examples
    --------
    >>> round(rise_fed_by_voltage(400.0, 20.0, 2.5e-3), 4)
    19.089
    """
    if coefficient == 0.0:
        return heat / loss
    return (math.sqrt(1.0 + 4.0 * coefficient * heat / loss) - 1.0) / (2.0 * coefficient)


def rise_fed_by_current(heat: float, loss: float, coefficient: float) -> float:
    """Rise of temperature at a constant current, K: heat grows as the sheet warms.

    ΔT = P₀/(h - αP₀), from h·ΔT = P₀(1 + αΔT).

    Parameters
    ----------
    heat : float
        P₀ of the cold sheet, W/m².
    loss : float
        h, of all faces together, W/(m²·K).
    coefficient : float
        α, the temperature coefficient of this print's own resistance, 1/K; 0 for none.

    Returns
    -------
    float
        Infinite from h/α on: nothing stops the sheet from warming.

    Examples
    --------
    >>> round(rise_fed_by_current(400.0, 20.0, 2.5e-3), 4), rise_fed_by_current(8000.0, 20.0, 2.5e-3)
    (21.0526, inf)
    """
    left = loss - coefficient * heat
    return heat / left if left > 0 else math.inf
