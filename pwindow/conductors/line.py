"""Resistance of a printed line from its cross-section."""

from __future__ import annotations

import numpy as np


def log_resistance_constant(length: float, section_factor: float) -> float:
    r"""The constant `c` of :math:`\ln R = \ln ρ - \ln w - \ln h + c`.

    From :math:`R = ρL/(k w h)` with ρ in Ω·m, L in mm, w and h in µm.

    Parameters
    ----------
    length : float
        Length of the line, mm.
    section_factor : float
        k, cross-section area over height times width.

    Examples
    --------
    A 50 µm × 1 µm rectangle at five times the resistivity of bulk silver (1.587e-8 Ω·m at 293 K,
    from memory) has 1.587 Ω/mm.

    >>> c = log_resistance_constant(1.0, 1.0)
    >>> round(float(np.exp(np.log(5 * 1.587e-8) - np.log(50.0) - np.log(1.0) + c)), 3)
    1.587
    """
    metres_over_square_metres = 1e-3 / 1e-12
    return float(np.log(length * metres_over_square_metres / section_factor))


CORNER = 1.0 - 2.0 * float(np.log(2.0)) / np.pi
"""Squares of a right-angled corner between arms of one width, 0.5587 (conformal map)."""


def squares(length: float, width: float, corners: int = 0) -> float:
    """Squares of a line that turns: its resistance over the sheet resistance of its film.

    Parameters
    ----------
    length : float
        Of the straight arms together, without the squares at the corners, mm.
    width : float
        µm.
    corners : int
        Right-angled ones.

    Examples
    --------
    >>> round(squares(10.0, 50.0, corners=2), 3)
    201.117
    """
    return length * 1e3 / width + corners * CORNER
