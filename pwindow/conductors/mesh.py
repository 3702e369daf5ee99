"""Sheet resistance and open area of grids and meshes of printed lines."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from scipy import optimize

from pwindow.conductors.tile import LARGEST_DROP

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


JUNCTION = MappingProxyType(
    {
        "square mesh": 0.5 - np.log(2.0) / np.pi,
        "hexagonal mesh": 0.5 + np.sqrt(3.0) / np.pi * (2.0 * np.log(2.0) - 1.5 * np.log(3.0)),
        "parallel lines": 0.0,
    }
)
"""By how many squares the junctions of a mesh shorten its lines: R/Rs = p/w less this.

From the conformal map of a junction with arms of uniform thickness, exact as arms grow long beside
the line width. Pitches of hexagons are from flat to flat.
"""


def squares_of_mesh(width: float, pitch: float, layout: str) -> float:
    """Sheet resistance of a mesh over that of its lines' film, p/w less what the junctions save.

    Parameters
    ----------
    width : float
        Line width w, µm.
    pitch : float
        Pitch p, centre to centre; of hexagons from flat to flat, µm.
    layout : {'square mesh', 'hexagonal mesh', 'parallel lines'}
        Parallel lines along their direction; across they do not conduct.

    Examples
    --------
    >>> round(squares_of_mesh(50.0, 500.0, "square mesh"), 5)
    9.72064
    """
    return float(pitch / width - JUNCTION[layout])


def undercoat_drop(spacing: float, undercoat: float, current_density: float, *, layout: str) -> float:
    """Largest drop in an undercoat that carries a device's current to the lines around an opening, mV.

    J·Rb·b²/8 between parallel lines, and J·Rb·b² times the membrane constant of the square in one.

    Parameters
    ----------
    spacing : float
        b, clear of the lines, µm.
    undercoat : float
        Rb, Ω.
    current_density : float
        J, A/m².
    layout : {'square mesh', 'parallel lines'}
    """
    shape = LARGEST_DROP["four" if layout == "square mesh" else "two opposite"]
    return 1e3 * shape * current_density * undercoat * (spacing * 1e-6) ** 2


@dataclass(frozen=True, kw_only=True)
class GridLoss:
    """Shares of the delivered power that parallel lines over an undercoat lose at a pitch.

    Attributes
    ----------
    pitch : float, mm
    undercoat, line, shading : float
        In the undercoat between lines, along the lines, and under them.
    """

    pitch: float
    undercoat: float
    line: float
    shading: float

    @property
    def total(self) -> float:
        return self.undercoat + self.line + self.shading


@dataclass(frozen=True, kw_only=True)
class GridDuty:
    """What parallel lines over an undercoat must deliver.

    Attributes
    ----------
    width : float, µm
        Of a line.
    undercoat : float, Ω
    current_density : float, A/m²
    voltage : float, V
        At which the power is delivered.
    length, line : float, mm and Ω
        Length of a line that is fed at one end, and the sheet resistance of its film; 0 to leave its loss out.
    """

    width: float
    undercoat: float
    current_density: float
    voltage: float
    length: float = 0.0
    line: float = 0.0

    def loss(self, pitch: float) -> GridLoss:
        """Losses at a pitch, mm: J·Rb·S²/(12V), J·Rs·ℓ²·S/(3Vw) and w/S (Green 1982, Solar Cells; from memory)."""
        share, metres, width = self.current_density / self.voltage, pitch * 1e-3, self.width * 1e-6
        return GridLoss(
            pitch=pitch,
            undercoat=share * self.undercoat * metres**2 / 12.0,
            line=share * self.line * (self.length * 1e-3) ** 2 * metres / (3.0 * width),
            shading=width / metres,
        )

    def best(self) -> GridLoss:
        """The pitch at which the three together are least, and what it loses."""
        widest = (6.0 * self.width * 1e-6 * self.voltage / (self.current_density * self.undercoat)) ** (1 / 3)
        found = optimize.minimize_scalar(
            lambda log_pitch: self.loss(float(np.exp(log_pitch))).total,
            bounds=np.log([1e-3 * self.width, 1.1e3 * widest]),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return self.loss(float(np.exp(found.x)))


def haacke_figure(transmittance: float, sheet_resistance: float) -> float:
    """Figure of merit T¹⁰/Rs, 1/Ω (Haacke 1976, J. Appl. Phys. 47, 4086; from memory).

    Parameters
    ----------
    transmittance : float
        T, a share.
    sheet_resistance : float
        Rs, Ω.
    """
    return transmittance**10 / sheet_resistance


def conductivity_ratio(transmittance: float, sheet_resistance: float) -> float:
    """Ratio of direct-current to optical conductivity, Z₀/(2Rs(T^-½ - 1)); of a mesh only a score.

    The law of a thin even film (from memory), Z₀ = 376.730 Ω the impedance of free space.

    Parameters
    ----------
    transmittance : float
        T, a share.
    sheet_resistance : float
        Rs, Ω.
    """
    return 376.730 / (2.0 * sheet_resistance * (transmittance**-0.5 - 1.0))
