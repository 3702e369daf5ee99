"""Voltage and current over a rectangular tile that a resistive sheet feeds from contacts at its sides.

The drop u from the contacts' voltage obeys :math:`∇·(∇u/R_s) = -J(u)`, J the current that the device
draws from each unit of area. It is solved on cells of equal size, with contacts at cell faces and no
current through the rest of the rim, by Newton's method; each step by conjugate gradients on the
operator with an even slope of J, which fast transforms invert where contacts take whole sides, and
a sparse factorisation where they take parts of them. Errors fall with the square of the cell, but for
contacts that end within a side, where the field is singular and they fall with the cell.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Protocol

import numpy as np
from scipy import fft, interpolate, optimize, sparse
from scipy.sparse import linalg

SIDES = ("left", "right", "bottom", "top")
WHOLE = ((0.0, 1.0),)
"""A contact along a whole side."""
CONTACTED: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "one side": ("left",),
        "two opposite": ("left", "right"),
        "two adjacent": ("left", "bottom"),
        "three": ("left", "right", "bottom"),
        "four": SIDES,
    }
)
Solver = Callable[[np.ndarray], np.ndarray]
"""Drops at which given currents flow away from the cells."""
_NEWTON_STEPS, _GRADIENT_STEPS, _DONE = 50, 200, 1e-9


class Device(Protocol):
    """What a unit of area of the device draws: A/m², and A/m² for each volt that it falls by."""

    def current(self, drop: np.ndarray) -> np.ndarray: ...

    def fall(self, drop: np.ndarray) -> np.ndarray: ...


@dataclass(frozen=True)
class UniformCurrent:
    """A device that draws the same current whatever its voltage.

    Attributes
    ----------
    density : float, A/m²
    """

    density: float

    def current(self, drop: np.ndarray) -> np.ndarray:
        return np.full_like(drop, self.density)

    def fall(self, drop: np.ndarray) -> np.ndarray:
        return np.zeros_like(drop)


@dataclass(frozen=True)
class LinearDevice:
    """A device whose current is in proportion to its voltage.

    Attributes
    ----------
    density : float, A/m²
        At the contacts.
    voltage : float, V
        At the contacts.
    """

    density: float
    voltage: float

    def current(self, drop: np.ndarray) -> np.ndarray:
        return self.density * (1.0 - drop / self.voltage)

    def fall(self, drop: np.ndarray) -> np.ndarray:
        return np.full_like(drop, self.density / self.voltage)


@dataclass(frozen=True)
class ExponentialDevice:
    """A device whose current falls by e for each `scale` that its voltage falls.

    Attributes
    ----------
    density : float, A/m²
        At the contacts.
    scale : float, V
    """

    density: float
    scale: float

    def current(self, drop: np.ndarray) -> np.ndarray:
        return self.density * np.exp(-drop / self.scale)

    def fall(self, drop: np.ndarray) -> np.ndarray:
        return self.current(drop) / self.scale


@dataclass(frozen=True)
class DeviceCurve:
    """A measured curve, between whose points a monotone cubic runs (Fritsch & Carlson 1980).

    Attributes
    ----------
    voltages : sequence of float, V
        Rising.
    densities : sequence of float, A/m²
        Not falling.
    voltage : float, V
        At the contacts.

    Raises
    ------
    ValueError
        If the curve falls, or the contacts' voltage lies outside it.
    """

    voltages: Sequence[float]
    densities: Sequence[float]
    voltage: float
    _curve: interpolate.PchipInterpolator = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        volts, amperes = np.asarray(self.voltages, float), np.asarray(self.densities, float)
        if len(volts) < 2 or len(volts) != len(amperes):
            raise ValueError("a device's curve needs as many currents as voltages, two of each at least")
        if (np.diff(volts) <= 0).any() or (np.diff(amperes) < 0).any():
            raise ValueError("a device's curve must have rising voltages and no falling current")
        if not volts[0] <= self.voltage <= volts[-1]:
            raise ValueError(
                f"the contacts' {self.voltage:g} V lie outside the curve, {volts[0]:g} to {volts[-1]:g} V"
            )
        object.__setattr__(self, "_curve", interpolate.PchipInterpolator(volts, amperes))

    def current(self, drop: np.ndarray) -> np.ndarray:
        return self._curve(self._within(drop))

    def fall(self, drop: np.ndarray) -> np.ndarray:
        return self._curve(self._within(drop), 1) * (self.voltage - drop >= self.voltages[0])

    def _within(self, drop: np.ndarray) -> np.ndarray:
        """Voltages; below the curve's first point the current stays what it is there."""
        return np.maximum(self.voltage - drop, self.voltages[0])


@dataclass(frozen=True, kw_only=True)
class Tile:
    """A rectangular sheet and its contacts.

    Attributes
    ----------
    width, height : float, mm
        From left to right, and from bottom to top.
    across, along : float, Ω
        Sheet resistance for current from left to right, and from bottom to top.
    contacts : mapping of str to sequence of (float, float)
        Of the sides that are contacted, keys of `SIDES`: from where to where, as shares of the side,
        from the left or from the bottom.

    Raises
    ------
    ValueError
        If a size is not above zero, no side has a contact, or a contact runs off its side.
    """

    width: float
    height: float
    across: float
    along: float
    contacts: Mapping[str, Sequence[tuple[float, float]]]

    def __post_init__(self) -> None:
        if min(self.width, self.height, self.across, self.along) <= 0:
            raise ValueError("the sizes and sheet resistances of a tile must be above zero")
        if not any(self.contacts.values()):
            raise ValueError("a tile needs a contact on one side at least")
        for side, parts in self.contacts.items():
            if side not in SIDES:
                raise ValueError(f"unknown side “{side}”; use one of {', '.join(SIDES)}")
            for start, end in parts:
                if not 0.0 <= start < end <= 1.0:
                    raise ValueError(
                        f"a contact from {start:g} to {end:g} of the {side} side must run from 0 to 1"
                    )

    @classmethod
    def square(cls, side: float, resistance: float, contacts: str) -> Tile:
        """A square of one sheet resistance.

        Parameters
        ----------
        side : float
            mm.
        resistance : float
            Ω.
        contacts : str
            A key of `CONTACTED`.
        """
        return cls(
            width=side,
            height=side,
            across=resistance,
            along=resistance,
            contacts=dict.fromkeys(CONTACTED[contacts], WHOLE),
        )

    @property
    def whole(self) -> bool:
        """Whether contacts take whole sides."""
        return all(not parts or tuple(parts) == WHOLE for parts in self.contacts.values())


@dataclass(frozen=True, kw_only=True)
class TileField:
    """What was found over a tile.

    Attributes
    ----------
    drop : ndarray, shape (ny, nx), V
        Drop from the contacts' voltage at the middle of each cell, the first row at the bottom.
    density : ndarray, shape (ny, nx), A/m²
        Current that the device draws.
    remainder : float
        Current of all cells that is not accounted for, as a share of the tile's.
    steps : int
        Newton's steps.
    """

    drop: np.ndarray
    density: np.ndarray
    remainder: float
    steps: int

    @property
    def least_to_most(self) -> float:
        """Smallest over largest current density."""
        return float(self.density.min() / self.density.max())

    @property
    def least_to_mean(self) -> float:
        """Smallest current density over the mean."""
        return float(self.density.min() / self.density.mean())

    @property
    def uniformity(self) -> float:
        """1 - (largest - smallest)/(largest + smallest) of the current density."""
        least, most = float(self.density.min()), float(self.density.max())
        return 1.0 - (most - least) / (most + least)


def solve_tile(tile: Tile, device: Device, cells: tuple[int, int] = (200, 200)) -> TileField:
    """Drop and current over a tile.

    Parameters
    ----------
    tile : Tile
    device : Device
    cells : (int, int)
        From left to right, and from bottom to top.

    Raises
    ------
    ValueError
        If a contact is narrower than a cell.
    ArithmeticError
        If no balance of currents was found.
    """
    grid = _Grid.of(tile, cells)
    drop = np.zeros(grid.shape)
    size = float(device.current(drop).mean()) or 1.0
    even = float(device.fall(drop).mean())
    inverse = grid.inverse(even)
    for step in range(_NEWTON_STEPS):
        rest = device.current(drop) - grid.apply(drop)
        left = float(np.abs(rest).mean()) / size
        if left < _DONE:
            return TileField(drop=drop, density=device.current(drop), remainder=left, steps=step)
        slopes = device.fall(drop)
        exact = bool(np.allclose(slopes, even, rtol=1e-12, atol=0.0))
        drop = drop + (inverse(rest) if exact else _newton_step(grid, slopes, rest, inverse))
    raise ArithmeticError(
        f"the currents of the tile do not balance: {left:.1e} of them is left after {_NEWTON_STEPS} steps"
    )


def largest_multiple(
    tile: Tile,
    device: Device,
    least: float,
    evenness: Callable[[TileField], float],
    cells: tuple[int, int] = (100, 100),
) -> float:
    """By what both sheet resistances of a tile may be multiplied until its light is as uneven as allowed.

    Parameters
    ----------
    tile : Tile
    device : Device
        Whose current falls with its voltage.
    least : float
        The evenness that must be kept, above 0 and below 1.
    evenness : callable
        Of a `TileField`, such as ``lambda field: field.least_to_most``.
    cells : (int, int)
        From left to right, and from bottom to top.

    Raises
    ------
    ValueError
        If `least` is no share, or the device draws as much whatever its voltage, so that its light is even.
    """
    if not 0.0 < least < 1.0:
        raise ValueError(f"an evenness of {least:g} must be between 0 and 1")
    if not device.fall(np.zeros(1)).any():
        raise ValueError("the light of a uniform current is even whatever the sheet; limit the voltage drop")

    def spare(log_times: float) -> float:
        times = float(np.exp(log_times))
        scaled = replace(tile, across=times * tile.across, along=times * tile.along)
        return evenness(solve_tile(scaled, device, cells)) - least

    # a drop of so small a part of the device's voltage leaves all more even than asked
    low = high = float(np.log(0.1 * (1.0 - least) * _even_enough(tile, device)))
    while spare(high) > 0.0:
        low, high = high, high + float(np.log(4.0))
    return float(np.exp(optimize.brentq(spare, low, high, xtol=1e-10)))


def _even_enough(tile: Tile, device: Device) -> float:
    """Times the sheet resistances at which a current as at the contacts would drop so far that it falls by itself."""
    at_contacts = np.zeros(1)
    volts = float((device.current(at_contacts) / device.fall(at_contacts))[0])
    drop = max(tile.across * tile.width**2, tile.along * tile.height**2) * 1e-6
    return volts / (drop * float(device.current(at_contacts)[0]))


def _newton_step(grid: _Grid, fall: np.ndarray, rest: np.ndarray, inverse: Solver) -> np.ndarray:
    """Change of the drop: (A + fall)⁻¹ rest, `inverse` that of nearly the same operator."""
    size = rest.size

    def system(flat: np.ndarray) -> np.ndarray:
        values = flat.reshape(grid.shape)
        return (grid.apply(values) + fall * values).ravel()

    def nearly(flat: np.ndarray) -> np.ndarray:
        return inverse(flat.reshape(grid.shape)).ravel()

    found, missed = linalg.cg(
        linalg.LinearOperator((size, size), system, dtype=float),
        rest.ravel(),
        x0=nearly(rest.ravel()),
        rtol=1e-4,
        maxiter=_GRADIENT_STEPS,
        M=linalg.LinearOperator((size, size), nearly, dtype=float),
    )
    if missed:
        raise ArithmeticError(f"conjugate gradients did not converge in {_GRADIENT_STEPS} steps")
    return found.reshape(grid.shape)


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """Currents between cells, A/m² of a cell for each volt: its operator A is symmetric and positive.

    Attributes
    ----------
    shape : (int, int)
    right, up : float
        Between neighbours.
    to_contacts : ndarray, shape (ny, nx)
        To a contact at a cell's face, which is half a cell away.
    ends : mapping of str to bool
        Which sides are contacts as a whole.
    whole : bool
        Whether no side is one in part.
    """

    shape: tuple[int, int]
    right: float
    up: float
    to_contacts: np.ndarray
    ends: Mapping[str, bool]
    whole: bool

    @classmethod
    def of(cls, tile: Tile, cells: tuple[int, int]) -> _Grid:
        nx, ny = cells
        fed = {side: _covered(tile.contacts.get(side, ()), nx if side in SIDES[2:] else ny) for side in SIDES}
        right = 1.0 / (tile.across * (1e-3 * tile.width / nx) ** 2)
        up = 1.0 / (tile.along * (1e-3 * tile.height / ny) ** 2)
        to_contacts = np.zeros((ny, nx))
        to_contacts[:, 0] += 2.0 * right * fed["left"]
        to_contacts[:, -1] += 2.0 * right * fed["right"]
        to_contacts[0] += 2.0 * up * fed["bottom"]
        to_contacts[-1] += 2.0 * up * fed["top"]
        return cls(
            shape=(ny, nx),
            right=right,
            up=up,
            to_contacts=to_contacts,
            ends={side: bool(own.all()) for side, own in fed.items()},
            whole=tile.whole,
        )

    def apply(self, drop: np.ndarray) -> np.ndarray:
        """A times drops: what flows away from each cell."""
        found = np.zeros_like(drop)
        flow = self.right * np.diff(drop, axis=1)
        found[:, :-1] -= flow
        found[:, 1:] += flow
        flow = self.up * np.diff(drop, axis=0)
        found[:-1] -= flow
        found[1:] += flow
        return found + self.to_contacts * drop

    def inverse(self, slope: float) -> Solver:
        """(A + slope)⁻¹, as a function of values on the cells."""
        return self._by_transforms(slope) if self.whole else self._by_factors(slope)

    def _by_transforms(self, slope: float) -> Solver:
        across = _Waves(self.ends["left"], self.ends["right"])
        along = _Waves(self.ends["bottom"], self.ends["top"])
        sizes = self.right * across.sizes(self.shape[1]) + self.up * along.sizes(self.shape[0])[:, None]
        sizes = sizes + slope

        def solved(values: np.ndarray) -> np.ndarray:
            waves = along.forward(across.forward(values, axis=1), axis=0) / sizes
            return along.back(across.back(waves, axis=1), axis=0)

        return solved

    def _by_factors(self, slope: float) -> Solver:
        factors = linalg.splu(
            (self.matrix() + slope * sparse.eye_array(self.shape[0] * self.shape[1])).tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            options={"SymmetricMode": True},
        )
        return lambda values: factors.solve(values.ravel()).reshape(self.shape)

    def matrix(self) -> sparse.csr_array:
        """A, row after row of the tile."""
        ny, nx = self.shape
        inside = sparse.kron(sparse.eye_array(ny), self.right * _chain(nx)) + sparse.kron(
            self.up * _chain(ny), sparse.eye_array(nx)
        )
        return sparse.csr_array(inside + sparse.diags_array(self.to_contacts.ravel()))


@dataclass(frozen=True)
class _Waves:
    """Waves along one direction that a row of cells splits into, by whether its first and last face are contacts."""

    first: bool
    last: bool

    def sizes(self, count: int) -> np.ndarray:
        """Eigenvalues of the row's second differences."""
        start = {0: 0.0, 1: 0.5, 2: 1.0}[self.first + self.last]
        return 2.0 - 2.0 * np.cos(np.pi * (np.arange(count) + start) / count)

    def forward(self, values: np.ndarray, axis: int) -> np.ndarray:
        kind = 4 if self.first != self.last else 2
        transform = fft.dst if self.first else fft.dct
        return transform(values, kind, axis=axis, norm="ortho")

    def back(self, values: np.ndarray, axis: int) -> np.ndarray:
        kind = 4 if self.first != self.last else 2
        transform = fft.idst if self.first else fft.idct
        return transform(values, kind, axis=axis, norm="ortho")


def _chain(count: int) -> sparse.dia_array:
    """Second differences of a row whose ends pass no current."""
    middle = np.full(count, 2.0)
    middle[[0, -1]] = 1.0
    beside = np.full(count - 1, -1.0)
    return sparse.diags_array([beside, middle, beside], offsets=[-1, 0, 1])


def _covered(parts: Sequence[tuple[float, float]], count: int) -> np.ndarray:
    """Which cells of a side have their middle at a contact."""
    middles = (np.arange(count) + 0.5) / count
    found = np.zeros(count, dtype=bool)
    for start, end in parts:
        own = (middles > start) & (middles < end)
        if not own.any():
            raise ValueError(
                f"a contact from {start:g} to {end:g} of its side is narrower than one of {count} cells"
            )
        found |= own
    return found
