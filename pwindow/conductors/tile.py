"""Voltage drop over a square tile fed at its edges."""

from __future__ import annotations

from types import MappingProxyType

LARGEST_DROP = MappingProxyType(
    {
        "one side": 0.5,
        "two opposite": 0.125,
        "two adjacent": 0.2946854,
        "three": 0.1138718,
        "four": 0.0736714,
    }
)
"""Largest drop over J·Rs·L² for a uniform current density J; a Poisson problem on the square.

The first two are exact (1/2, 1/8); "four" is the membrane constant of the square in the tables of
Timoshenko and Goodier, Theory of Elasticity; the others from a series solution of the same problem.
"""


def drop_per_sheet_resistance(tile: float, current_density: float, contacts: str) -> float:
    """Largest voltage drop, mV, for each ohm of sheet resistance.

    Parameters
    ----------
    tile : float
        Side of the tile, mm.
    current_density : float
        Current that the device draws from each unit of area, A/m².
    contacts : str
        Which edges are held at the supply's voltage, a key of `LARGEST_DROP`.

    Examples
    --------
    100 mm, 10 A/m², fed from one side: 50 mV for one ohm.

    >>> round(drop_per_sheet_resistance(100.0, 10.0, "one side"), 9)
    50.0
    """
    return 1e3 * LARGEST_DROP[contacts] * current_density * (tile * 1e-3) ** 2
