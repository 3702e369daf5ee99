"""Whether a trial can say which plate to order for a product."""

from __future__ import annotations

import numpy as np

from pwindow.errors import WindowProblem
from pwindow.plates import plate_making
from pwindow.product import Product
from pwindow.window.orders.new_plate import NewPlate
from pwindow.workflows.evidence import Evidence, NothingToJudge


def leaves_plate_open(evidence: Evidence, product: Product) -> bool:
    """Whether a plate is still to be ordered for a product: it names no process that the trial lacks, and one can be judged.

    Parameters
    ----------
    evidence : Evidence
        With a trial.
    product : Product
    """
    named = product.pattern.plate
    known = evidence.surfaces is not None and named in (None, *evidence.surfaces.region.plates)
    return known and not why_no_plate(evidence, product)


def why_no_plate(evidence: Evidence, product: Product) -> str:
    """Why no plate can be judged for a product, whose own plate is left open; "" where one can.

    Parameters
    ----------
    evidence : Evidence
    product : Product

    Raises
    ------
    NothingToJudge
        If there is no trial yet.
    """
    surfaces = evidence.surfaces
    if surfaces is None:
        raise NothingToJudge("there is no trial yet")
    making = plate_making(surfaces.trial.plates, evidence.study)
    why: list[str] = []
    for process in surfaces.region.plates:
        sizes = surfaces.region.covariates.get(process, {})
        width, gap = (float(np.mean(sizes.get(name, (np.nan,)))) for name in ("plate_width", "plate_gap"))
        try:
            NewPlate(making.of(process), width, gap).window(surfaces, product, evidence.study)
        except WindowProblem as problem:
            why.append(str(problem))
        else:
            return ""
    return "; ".join(dict.fromkeys(why))
