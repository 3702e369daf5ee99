"""Scans with known answers: unit shapes over their width, traces across lines of them, and topographies."""

from collections.abc import Callable

import numpy as np

from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace

Shape = Callable[[np.ndarray], np.ndarray]


def rectangle(u: np.ndarray) -> np.ndarray:
    return (np.abs(u) <= 0.5).astype(float)


def parabola(u: np.ndarray) -> np.ndarray:
    return np.clip(1.0 - 4.0 * u**2, 0.0, None)


def ellipse(u: np.ndarray) -> np.ndarray:
    return np.sqrt(parabola(u))


def triangle(u: np.ndarray) -> np.ndarray:
    return np.clip(1.0 - 2.0 * np.abs(u), 0.0, None)


def double_ridge(u: np.ndarray) -> np.ndarray:
    """Two ridges of height 1 at ± 1/4 and a saddle of 0.6 between them."""
    return np.where(np.abs(u) <= 0.5, (1.0 - (2.0 * u) ** 8) * (0.8 - 0.2 * np.cos(4.0 * np.pi * u)), 0.0)


def across(
    shape: Shape,
    *,
    centres=(100.0, 220.0, 340.0, 460.0, 580.0, 700.0),
    width=60.0,
    height=0.7,
    points=2000,
    length=800.0,
    tilt=0.0,
    noise=0.0,
    rng=None,
) -> Trace:
    """A trace across lines of one shape; µm, with noise in shares of the height."""
    x = np.linspace(0.0, length, points)
    z = height * sum(shape((x - centre) / width) for centre in centres) + tilt * x + 3.0
    if noise:
        z = z + noise * height * (rng or np.random.default_rng(1)).standard_normal(points)
    return Trace(name="a trace", x=x, z=z)


def rough(rows, dy, deviation, correlation, rng):
    """Deviations of an edge with an exponential correlation, µm."""
    share = np.exp(-dy / correlation)
    found = np.empty(rows)
    found[0] = rng.normal(0.0, deviation)
    for at in range(1, rows):
        found[at] = share * found[at - 1] + rng.normal(0.0, deviation * np.sqrt(1.0 - share**2))
    return found


def printed(
    *, rows=800, columns=900, dx=0.5, dy=1.0, height=0.7, edge=0.0, correlation=10.0, noise=0.005, tilt=(0.0, 0.0),
    angle=0.0, rng=None,
):  # fmt: skip
    """Four parabolic lines of 60 µm and gaps of 40 µm between their bases, with rough edges; and the edges."""
    rng = rng or np.random.default_rng(2)
    x, y = np.arange(columns) * dx, np.arange(rows) * dy
    z, edges = np.zeros((rows, columns)), []
    for at in (60.0, 160.0, 260.0, 360.0):
        left, right = (
            side + angle * y + (rough(rows, dy, edge, correlation, rng) if edge else 0.0)
            for side in (at - 30.0, at + 30.0)
        )
        middle, half = (left + right)[:, None] / 2, (right - left)[:, None] / 2
        z += height * np.clip(1.0 - ((x - middle) / half) ** 2, 0.0, None)
        edges.append((left, right))
    z += tilt[0] * x + tilt[1] * y[:, None] + noise * rng.standard_normal(z.shape)
    return Topography(name="made", z=z, dx=dx, dy=dy), edges


def foot(height=0.7):
    """Width at a tenth of the step height over that of the base, of a parabola."""
    share = 1.0
    for _ in range(50):
        step = 1.0 - (share / 3.0) ** 2 / 3.0
        share = np.sqrt(1.0 - 0.1 * step)
    return share


def plate(
    *,
    centres=(150.0, 300.0, 450.0),
    gap=50.0,
    depth=12.0,
    wall=2.0,
    lip=0.0,
    lip_base=12.0,
    radius=np.inf,
    points=6001,
    length=600.0,
    tilt=0.0,
    noise=0.0,
    rng=None,
) -> Trace:
    """A profile across a plate: gaps cut into its surface with straight walls, lips as parabolas beside them, µm.

    With a radius the surface between two gaps is the cap of a circle, whose crest is at the level of the surface, and the
    profile runs from crest to crest.
    """
    outside = (centres[1] - centres[0]) / 2 if np.isfinite(radius) else 0.0
    ends = (centres[0] - outside, centres[-1] + outside) if outside else (0.0, length)
    x = np.linspace(*ends, points)
    inside = np.min([np.abs(x - centre) - gap / 2 for centre in centres], axis=0)  # negative in a gap
    z = np.zeros(points)
    if np.isfinite(radius):
        middles = [(one + other) / 2 for one, other in zip(centres, centres[1:])]
        half = (centres[1] - centres[0] - gap) / 2
        for middle in (*middles, middles[0] - centres[1] + centres[0], middles[-1] + centres[1] - centres[0]):
            u = np.minimum(np.abs(x - middle), half)
            cap = np.sqrt(radius**2 - u**2) - radius
            z = np.where(np.abs(x - middle) <= centres[1] - centres[0] - half, cap, z)
    z = z + np.clip(inside * wall, -depth, 0.0)
    crown = np.clip(1.0 - ((inside - lip_base / 2) / (lip_base / 2)) ** 2, 0.0, None)
    z = z + np.where(inside >= 0.0, lip * crown, 0.0) + tilt * x + 5.0
    if noise:
        z = z + noise * (rng or np.random.default_rng(1)).standard_normal(points)
    return Trace(name="a plate", x=x, z=z)
