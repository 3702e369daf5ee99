"""Silver in printed lines and patterns: pure functions."""

from __future__ import annotations

import numpy as np


def log_silver_constant(section_factor: float, density: float) -> float:
    r"""The constant `c` of :math:`\ln m = \ln w + \ln h + c`, m in mg of silver per metre of line.

    From :math:`m = d k w h` with w and h in µm: 1 µm² over 1 m is 10⁻⁶ cm³.

    Parameters
    ----------
    section_factor : float
        k, cross-section area over height times width.
    density : float
        d, silver in a volume of dry line, g/cm³.

    Examples
    --------
    A 50 µm × 1 µm rectangle of dense silver, 10.49 g/cm³, holds 0.5245 mg in a metre.

    >>> round(float(np.exp(np.log(50.0) + np.log(1.0) + log_silver_constant(1.0, 10.49))), 6)
    0.5245
    """
    return float(np.log(section_factor * density * 1e-3))


def line_length(pitch: float, layout: str) -> float:
    """Metres of line on a square metre of a pattern.

    The nodes of a mesh count in both lines: the silver of a mesh is overstated by the share w/(2p),
    3 % at w/p = 0.06.

    Parameters
    ----------
    pitch : float
        Pitch p, µm.
    layout : {'square mesh', 'parallel lines'}
        2/p or 1/p.

    Examples
    --------
    >>> line_length(500.0, "square mesh"), line_length(500.0, "parallel lines")
    (4000.0, 2000.0)
    """
    return (2.0 if layout == "square mesh" else 1.0) * 1e6 / pitch
