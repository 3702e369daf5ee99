"""The window of a product on a trial's surfaces: conformance at set-ups, and speed bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from types import NoneType

import pandas as pd

from pwindow.errors import expect
from pwindow.overview import Overview, Viewed
from pwindow.product import Product
from pwindow.study import Study, roll_words
from pwindow.surfaces.posterior.joint import JointSurfaces
from pwindow.surfaces.surfaces import Surfaces
from pwindow.window.bands import speed_bands
from pwindow.window.conformance import Conformance
from pwindow.window.requirements.limits import product_limits
from pwindow.window.requirements.pattern import resolve_patterns
from pwindow.window.requirements.quantities import (
    gap_count,
    measured_length,
    more_between_short_gaps,
    shorter_by,
)
from pwindow.window.requirements.tolerances import Tolerance, product_tolerances, without_effect
from pwindow.window.search.recommendation import Recommendation, recommend
from pwindow.window.setup import planned_notes
from pwindow.window.tails import beyond_compared
from pwindow.wording import amount, asked, counted, listed


@dataclass(frozen=True, repr=False)
class Window(Viewed, Conformance):
    """Where the next run meets all of a product's requirements: `Conformance`, its speed bands, and the one to run."""

    def overview(self) -> Overview:
        """Product, fit, plates, rolls and assurance; searches for nothing."""
        product, fit, level = self.product, self.surfaces.fingerprint, asked(self.level)
        plates = listed([plate for plate in self.plates if plate])
        rows = {"Fit": f"{fit}, {self.surfaces.trial.title}"}
        if plates:
            rows["Plate" if len(self.plates) == 1 else "Plates"] = plates
        rows |= {"Rolls": roll_words(self.rolls), "Assurance": level}
        rolls = counted(len(self.rolls), "roll", "rolls")
        plate = [f"plate{'s'[: len(self.plates) - 1]} {plates}"] if plates else []
        facts = (f"fit {fit}", rolls, f"assurance {level}", *plate)
        return Overview("Window", f"of {product.name}", facts, rows)

    def speed_bands(self, pressures: Sequence[float] | None = None) -> pd.DataFrame:
        """Speed bands of every roll × plate × pressure.

        Parameters
        ----------
        pressures : sequence of float, optional
            In the trial's unit of pressure; those that were tried unless given.

        Returns
        -------
        DataFrame
            One row per band; columns carry their units. Empty where no set-up is assured.
        """
        return speed_bands(self, pressures)

    def recommended(self, pressures: Sequence[float] | None = None) -> Recommendation | None:
        """The set-up to run, and why: the fastest assured speed of the speed bands.

        Parameters
        ----------
        pressures : sequence of float, optional
            In the trial's unit of pressure; those that were tried unless given.

        Returns
        -------
        Recommendation or None
            None where no set-up is assured.
        """
        return recommend(self, self.speed_bands(pressures))


def find_window(
    surfaces: Surfaces,
    product: Product,
    study: Study | None = None,
    of_plate: Sequence[Tolerance] = (),
    between_gaps: float = 0.0,
) -> Window:
    """The window of a product.

    Parameters
    ----------
    surfaces : Surfaces
    product : Product
    study : Study, optional
        Roll inventory and ink; without it the inventory is the rolls of the trial.
    of_plate : sequence of Tolerance, optional
        By what the plate may differ from what is asked for, where it is still to be made.
    between_gaps : float, default 0
        Variance that its gaps add to that between gaps, µm².

    Returns
    -------
    Window

    Raises
    ------
    TypeError
        If one of them is something else.
    WindowProblem
        If the product asks for a plate, pattern or response that the trial does not have.

    Examples
    --------
    >>> import pwindow as pw
    >>> surfaces = pw.fit(pw.read_trial(pw.demo("trial_first.csv")))
    >>> window = pw.find_window(surfaces, pw.read_product(pw.demo("tag.toml")))
    >>> at = window.setups("laser-imaged", speed=60, cell_volume=5.6, pressure=50)
    >>> bool(window.conformance(at)["joint"].iloc[0] > 0.9)
    True
    """
    expect("find_window", surfaces, Surfaces, "Surfaces, as fit returns them")
    expect("find_window", product, Product, "a Product, as read_product returns it")
    expect("find_window", study, (Study, NoneType), "a Study, as read_study returns it")
    study = study or Study()
    patterns, passed_over = resolve_patterns(surfaces, product)
    joint = _joint_for(surfaces, product, between_gaps)
    limits = {
        plate: product_limits(product, surfaces, joint, study.ink, pattern["plate_gap"])
        for plate, pattern in patterns.items()
    }
    tolerances = product_tolerances(product, surfaces)
    notes = (
        *passed_over,
        *without_effect(tolerances, surfaces),
        *_beyond_inspected(product, surfaces),
        *_short_gaps(product, surfaces),
        *planned_notes(study.rolls),
    )
    return Window(
        surfaces=surfaces,
        product=product,
        study=study,
        patterns=patterns,
        joint=joint,
        limits=limits,
        tolerances=(*tolerances, *of_plate),
        notes=notes,
    )


def _beyond_inspected(product: Product, surfaces: Surfaces) -> Iterator[str]:
    """What is said of more gaps than the trial has looked at."""
    if not beyond_compared(product, surfaces):
        return
    count, compared = gap_count(product, surfaces), surfaces.gap_shape.inspected
    times = count / max(compared, 1)
    known = (
        f"{times:.{0 if times >= 10 else 1}f} times as many as the {compared} that the trial can compare within prints"
        if compared
        else "but no print of the trial has two measured gaps to compare"
    )
    yield (
        f"every one of {count:.0f} gaps must meet its limits, {known}: the worst gap is "
        "extrapolated; to be surer, measure more gaps on each print"
    )


def _short_gaps(product: Product, surfaces: Surfaces) -> Iterator[str]:
    """What is said of gaps that are shorter than those the trial measured."""
    if (share := shorter_by(product, surfaces)) is None:
        return
    measured, more = measured_length(surfaces), more_between_short_gaps(product, surfaces)
    lengths = f"the product's gaps are {amount(share * measured)} mm long and the measured ones {amount(measured)} mm"
    if more is None:
        yield (
            f"{lengths}: shorter gaps differ more, and the trial does not say how ragged its gaps are; add columns "
            "gap_raggedness [µm] and gap_correlation [µm], or measure gaps over that length"
        )
    else:
        yield f"{lengths}: their raggedness adds {amount(more)} µm² to the variance between gaps"


def _joint_for(surfaces: Surfaces, product: Product, between_gaps: float) -> JointSurfaces:
    """The surfaces' own, with what the product's gaps differ by.

    Where one gap a print was measured and many must hold, all that varies counts as between gaps.
    """
    joint, count = surfaces.joint, gap_count(product, surfaces)
    if "gap_closure" not in joint.names:
        return joint
    if count != 1 and not joint.features_compared[joint.names.index("gap_closure")]:
        joint = joint.between_features("gap_closure")
    more = (more_between_short_gaps(product, surfaces) or 0.0) + between_gaps
    return joint.more_between_features("gap_closure", more) if more else joint
