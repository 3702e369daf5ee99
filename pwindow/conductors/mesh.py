"""Sheet resistance and open area of grids and meshes of printed lines."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

Amount = TypeVar("Amount", float, np.ndarray)


def log_sheet_resistance_constant(pitch: float, section_factor: float) -> float:
    r"""The constant `c` of :math:`\ln R_s = \ln ρ - \ln w - \ln h + c`.

    A square mesh, or parallel lines along their direction, of pitch p has
    :math:`R_s = ρ p/(k w h)`: one line carries the current of one pitch. The nodes of a mesh add a
    little metal; leaving it out overstates the resistance by 3 % at w/p = 0.1.

    Parameters
    ----------
    pitch : float
        Pitch p, µm.
    section_factor : float
        k, cross-section area over height times width.
    """
    return float(np.log(pitch * 1e-6 / (section_factor * 1e-12)))


def in_parallel(lines: Amount, undercoat: float) -> Amount:
    """Sheet resistance of lines over an undercoat, Ω; it overstates by a few per cent at most."""
    return 1.0 / (1.0 / lines + 1.0 / undercoat)


def without_undercoat(total: float, undercoat: float) -> float:
    """Sheet resistance the lines must have so that with an undercoat in parallel it is `total`, Ω.

    Raises
    ------
    ValueError
        If the undercoat alone conducts better than asked: then the lines are not limited.

    Examples
    --------
    >>> without_undercoat(5.0, 10.0)
    10.0
    """
    if undercoat <= total:
        raise ValueError(
            f"the undercoat alone has {undercoat:g} Ω, which already meets the {total:g} Ω asked for"
        )
    return 1.0 / (1.0 / total - 1.0 / undercoat)


def open_area(width: Amount, pitch: float, layout: str) -> Amount:
    """Share of the area without silver, %.

    Parameters
    ----------
    width : float or array
        Line width w, µm.
    pitch : float
        Pitch p, µm.
    layout : {'square mesh', 'parallel lines'}
        (1 - w/p)² or 1 - w/p.

    Examples
    --------
    >>> round(open_area(50.0, 500.0, "square mesh"), 6)
    81.0
    """
    free = 1.0 - width / pitch
    return 100.0 * (free**2 if layout == "square mesh" else free)


def width_at_open_area(percent: float, pitch: float, layout: str) -> float:
    """Line width, µm, at which the open area is `percent`.

    Parameters
    ----------
    percent : float
        Share of the area without silver, %.
    pitch : float
        Pitch p, µm.
    layout : {'square mesh', 'parallel lines'}
        As of `open_area`, whose inverse this is.

    Examples
    --------
    >>> round(width_at_open_area(81.0, 500.0, "square mesh"), 6)
    50.0
    """
    free = percent / 100.0
    return float(pitch * (1.0 - (free**0.5 if layout == "square mesh" else free)))
