"""What a requirement limits, as a straight line in the responses Y.

Y holds log line height, log line width, log resistivity and gap closure, as the surfaces have
them. A quantity is a'Y + c + e on the modelled scale; e is what the surfaces do not hold: the worst
of N gaps against the print's mean gap, or the spread of a resistivity stated and not measured.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pwindow.conductors.line import log_resistance_constant
from pwindow.conductors.mesh import (
    in_parallel,
    log_sheet_resistance_constant,
    open_area,
    width_at_open_area,
    without_undercoat,
)
from pwindow.conductors.silver import log_silver_constant
from pwindow.conductors.tile import drop_per_sheet_resistance
from pwindow.errors import WindowProblem
from pwindow.metrology.raggedness import unseen_by_mean
from pwindow.product import Product, Requirement
from pwindow.study import DENSE_SILVER, Ink
from pwindow.surfaces.posterior.joint import JointSurfaces
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.requirements.extremes import Extremes

Natural = Callable[[Any], Any]
"""From the modelled scale to a requirement's unit, of a number or of an array of them."""

Modelled = Callable[[float], float]
"""From a requirement's unit to the modelled scale."""


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A quantity of the next print that a requirement limits.

    Attributes
    ----------
    weights : mapping of str to float
        a, the weight of each response.
    constant : float
        c.
    natural, modelled : callable
        From the modelled scale to the requirement's unit, and back.
    falling : bool
        Whether `natural` falls.
    error : str
        Name of the part of e it carries; "" where it carries none.
    """

    weights: Mapping[str, float]
    constant: float
    natural: Natural
    modelled: Modelled
    falling: bool = False
    error: str = ""


@dataclass(frozen=True, eq=False)
class Errors:
    """Covariances of the parts of e, by their names: numbers, or arrays of one shape."""

    covariances: Mapping[tuple[str, str], float | np.ndarray]

    @classmethod
    def of(cls, joint: JointSurfaces, ink: Ink, gaps: Extremes) -> Errors:
        """The parts that a product's requirements can need.

        Parameters
        ----------
        joint : JointSurfaces
        ink : Ink
        gaps : Extremes
            Of as many gaps as `gap_count` gives.
        """
        if "gap_closure" not in joint.names:
            return cls(_of_ink(ink))
        at = joint.names.index("gap_closure")
        return cls.at_spread(joint.between[at], ink, gaps, joint.between_variance[at])

    @classmethod
    def at_spread(cls, spread: float | np.ndarray, ink: Ink, gaps: Extremes, variance: float = 0.0) -> Errors:
        """The parts where the spread between gaps is given.

        Parameters
        ----------
        spread : float or ndarray, µm
            Standard deviation of closure between the gaps of a print.
        ink : Ink
        gaps : Extremes
            Of as many gaps as `gap_count` gives.
        variance : float, default 0, µm²
            Of what is known of `spread`.
        """
        square = spread**2 + variance
        # what is not known of the spread between gaps moves largest and smallest apart
        both = gaps.shared * square + gaps.largest * gaps.smallest * variance
        return cls(
            _of_ink(ink)
            | {
                ("largest", "largest"): gaps.largest_variance * square + gaps.largest**2 * variance,
                ("smallest", "smallest"): gaps.smallest_variance * square + gaps.smallest**2 * variance,
                ("largest", "smallest"): both,
                ("smallest", "largest"): both,
            }
        )

    def covariance(self, names: list[str]) -> np.ndarray:
        """Covariance matrix of the named parts, shape (..., len(names), len(names))."""
        rows = [[self.covariances.get((one, other), 0.0) for other in names] for one in names]
        every = np.broadcast_arrays(*(value for row in rows for value in row))
        return np.stack(every, axis=-1).reshape(*every[0].shape, len(names), len(names))


def _of_ink(ink: Ink) -> dict[tuple[str, str], float | np.ndarray]:
    return {("ink", "ink"): ink.resistivity_spread**2}


def quantity(
    requirement: Requirement, product: Product, surfaces: Surfaces, ink: Ink, plate_gap: float
) -> Quantity:
    """What a requirement limits, at the print's mean.

    Parameters
    ----------
    requirement : Requirement
    product : Product
        For its pattern.
    surfaces : Surfaces
    ink : Ink
        Its resistivity is used where the trial measured no resistance.
    plate_gap : float
        µm; used for gaps only.

    Raises
    ------
    WindowProblem
        If the trial did not measure it, or the requirement limits nothing.
    """
    name, pattern = requirement.name, product.pattern
    if name in ("line_width", "line_height", "inner_radius", "outer_radius"):
        _need(surfaces, requirement, name)
        return Quantity(weights={name: 1.0}, constant=0.0, natural=np.exp, modelled=_log)
    if name == "open_area":
        _need(surfaces, requirement, "line_width")
        pitch, layout = _pitch(product, requirement), pattern.layout
        return Quantity(
            weights={"line_width": 1.0},
            constant=0.0,
            natural=lambda log_width: open_area(np.exp(log_width), pitch, layout),
            modelled=lambda percent: _log(width_at_open_area(percent, pitch, layout)),
            falling=True,
        )
    if name == "gap":
        _need(surfaces, requirement, "gap_closure")
        if surfaces.counts_only and (requirement.least or requirement.most is not None):
            raise WindowProblem(
                "the trial counted bridged gaps but measured none, so only whether a gap stays open can be "
                'judged: set least = "0 µm" and no most, or measure gaps'
            )
        return Quantity(
            weights={"gap_closure": 1.0},
            constant=0.0,
            natural=lambda closure: plate_gap - closure,
            modelled=lambda gap: plate_gap - gap,
            falling=True,
        )
    return _resistance(requirement, product, surfaces, ink)


def _resistance(requirement: Requirement, product: Product, surfaces: Surfaces, ink: Ink) -> Quantity:
    _need(surfaces, requirement, "line_height", "line_width")
    parameters, factor = requirement.parameters, surfaces.section_factor
    if requirement.name == "line_resistance":
        constant = log_resistance_constant(parameters["length"], factor)
    else:
        constant = log_sheet_resistance_constant(_pitch(product, requirement), factor)
    natural: Natural = np.exp
    modelled: Modelled = _log
    if "undercoat" in parameters:
        natural, modelled = _with_undercoat(parameters["undercoat"])
    if requirement.name == "voltage_drop":
        drop = drop_per_sheet_resistance(
            parameters["tile"], parameters["current_density"], parameters["contacts"]
        )
        constant += float(np.log(drop))
    weights = {"line_height": -1.0, "line_width": -1.0}
    if "resistivity" in surfaces.by_name:
        weights["resistivity"] = 1.0
        return Quantity(
            weights=weights,
            constant=constant + _excess(surfaces, weights),
            natural=natural,
            modelled=modelled,
        )
    if ink.resistivity is None:
        raise WindowProblem(
            "the trial has no usable resistance, so a resistance cannot be judged: measure resistance together "
            "with line height and width, or state the ink's resistivity in a study file, "
            'for example [ink] resistivity = "9e-8 ohm*m"'
        )
    constant += float(np.log(ink.resistivity)) + _excess(surfaces, weights)
    return Quantity(weights=weights, constant=constant, natural=natural, modelled=modelled, error="ink")


def silver_per_line(surfaces: Surfaces, ink: Ink) -> Quantity:
    """Silver of a metre of line, mg; of dense silver where the ink's silver is not stated.

    The mean section of a long line exceeds the typical one, as its resistance does: see `_excess`.
    """
    weights = {"line_height": 1.0, "line_width": 1.0}
    constant = log_silver_constant(surfaces.section_factor, ink.silver_density or DENSE_SILVER)
    return Quantity(
        weights=weights, constant=constant + _excess(surfaces, weights), natural=np.exp, modelled=_log
    )


def _excess(surfaces: Surfaces, weights: Mapping[str, float]) -> float:
    """What a long line's mean of ρ/A, or of A, exceeds that of its geometric means by, as a logarithm.

    For log-normal features the mean is exp(σ²/2) times the geometric mean (Aitchison & Brown 1957,
    section 2.3), σ² the variance of the logarithm between features of a print.
    """
    between = dict(zip(surfaces.joint.names, surfaces.joint.between))
    return sum((weight * between[name]) ** 2 for name, weight in weights.items()) / 2.0


def _with_undercoat(undercoat: float) -> tuple[Natural, Modelled]:
    def modelled(total: float) -> float:
        try:
            return _log(without_undercoat(total, undercoat))
        except ValueError as problem:
            raise WindowProblem(f"sheet resistance: {problem}; remove the requirement") from problem

    return (lambda log_lines: in_parallel(np.exp(log_lines), undercoat)), modelled


def gap_count(product: Product, surfaces: Surfaces) -> float:
    """Gaps of the length the trial measured, every one of which must meet the requirement.

    A gap k times as long is the worst of k such gaps: closures of stretches are taken as independent
    given their print (weakest link; common practice, no source).

    Raises
    ------
    WindowProblem
        If the product states a length and the trial none.
    """
    requirement = next((item for item in product.requirements if item.name == "gap"), None)
    if requirement is None:
        return 1
    count, length = requirement.parameters.get("count", 1), requirement.parameters.get("length")
    if length is None:
        return count
    measured = measured_length(surfaces)
    if not measured > 0:
        raise WindowProblem(
            f"the product's gaps are {length:g} mm long, but the trial does not say how long its measured "
            "gaps are: add a column gap_length [mm], or leave out the length"
        )
    return count * max(length / measured, 1.0)


def measured_length(surfaces: Surfaces) -> float:
    """The shortest length over which the trial measured a gap, mm; NaN where it does not say."""
    return float(surfaces.trial.cells["gap_length"].min())


def shorter_by(product: Product, surfaces: Surfaces) -> float | None:
    """Length of the product's gaps over that of the trial's; None where they are not shorter.

    Parameters
    ----------
    product : Product
    surfaces : Surfaces
    """
    requirement = next((item for item in product.requirements if item.name == "gap"), None)
    length = None if requirement is None else requirement.parameters.get("length")
    share = np.nan if length is None else length / measured_length(surfaces)
    return float(share) if share < 1.0 else None


def more_between_short_gaps(product: Product, surfaces: Surfaces) -> float | None:
    """By what the variance between gaps grows where the product's are shorter than the trial's, µm².

    A gap's mean width over a short length holds more of the raggedness of its edges than over a long one.

    Parameters
    ----------
    product : Product
    surfaces : Surfaces

    Returns
    -------
    float or None
        0 where they are not shorter; None where the trial does not say how ragged its gaps are.
    """
    share = shorter_by(product, surfaces)
    if share is None:
        return 0.0
    cells = surfaces.trial.of_quantity("gap_closure")
    variance, alike = float(cells["raggedness"].mean()), float(cells["correlation"].mean())
    if not np.isfinite([variance, alike]).all():
        return None
    length = 1e3 * measured_length(surfaces)
    return variance * (unseen_by_mean(alike, share * length) - unseen_by_mean(alike, length))


def worst_of(base: Quantity, count: float, gaps: Extremes, spread: float) -> tuple[Quantity, Quantity]:
    """The most and the least closed of `count` gaps of a print.

    Parameters
    ----------
    base : Quantity
        Mean closure of the print.
    count : float
        As `gap_count` gives it.
    gaps : Extremes
        Of so many gaps.
    spread : float
        Standard deviation of closure between the gaps of a print, µm.
    """

    def moved(by: np.ndarray, error: str) -> Quantity:
        return Quantity(
            weights=base.weights,
            constant=base.constant + float(by),
            natural=base.natural,
            modelled=base.modelled,
            falling=True,
            error=error,
        )

    # the largest and the smallest of one gap are the same gap
    least = moved(gaps.smallest * spread, "largest" if count == 1 else "smallest")
    return moved(gaps.largest * spread, "largest"), least


def _pitch(product: Product, requirement: Requirement) -> float:
    if product.pattern.pitch is None:
        raise WindowProblem(
            f'{requirement.kind.label} needs the pitch of the pattern; add pitch = "500 µm" under [pattern]'
        )
    return product.pattern.pitch


def _need(surfaces: Surfaces, requirement: Requirement, *responses: str) -> None:
    columns = {
        "gap_closure": "measured gaps with plate_gap (counts of bridged gaps alone do not give a width)",
        "inner_radius": "printed_radius of inner corners",
        "outer_radius": "printed_radius of outer corners",
    }
    missing = [columns.get(name, name) for name in responses if name not in surfaces.by_name]
    if missing:
        raise WindowProblem(
            f"the trial has no {' or '.join(missing)}, which the requirement on "
            f"{requirement.kind.label} needs; add the columns or leave out the requirement"
        )


def _log(value: float) -> float:
    return float(np.log(value)) if value > 0 else -np.inf
