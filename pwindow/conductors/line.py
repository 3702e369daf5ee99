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
