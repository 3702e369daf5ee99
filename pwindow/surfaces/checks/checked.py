"""A surface as its checks see it, and what they say that it misses."""

from __future__ import annotations

from dataclasses import dataclass

from pwindow.surfaces.checks.curvature_check import FormCheck, check_form
from pwindow.surfaces.checks.diagnostics import RARE, Diagnostics, diagnose
from pwindow.surfaces.checks.outliers import Apart, unhidden, without_outliers
from pwindow.surfaces.checks.residual_patterns import OffLevel, worst_level
from pwindow.surfaces.single.surface import Surface


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A surface and what speaks against it.

    Attributes
    ----------
    surface : Surface
        Of the cells that bridging does not hide; the fitted one where it hides none.
    checks : Diagnostics
        Of `surface`.
    apart : tuple of Apart
        The prints that stand out, the worst first; all else is judged without them.
    cleared : Surface
        Without those prints.
    cleared_checks : Diagnostics
    form : FormCheck or None
        None where predictions may bend, and follow what the second-order form misses.
    level : OffLevel or None
        The level of a factor that lies off, where the form check does not object.
    """

    surface: Surface
    checks: Diagnostics
    apart: tuple[Apart, ...]
    cleared: Surface
    cleared_checks: Diagnostics
    form: FormCheck | None
    level: OffLevel | None

    @property
    def misses(self) -> FormCheck | OffLevel | None:
        """What says how much the second-order form misses at a set-up; None where nothing hints at it."""
        if self.level is not None or self.form is None:
            return self.level
        return self.form if self.form.hinted else None

    @property
    def only_hinted(self) -> bool:
        """Whether that is a hint which may be chance."""
        return self.misses is not None and self.misses is self.form and not self.form.clearly_better


def judge(surface: Surface, *, bends: bool) -> Judged | None:
    """Check a surface.

    Parameters
    ----------
    surface : Surface
    bends : bool
        Whether predictions may depart from the surface.

    Returns
    -------
    Judged or None
        None where bridging hides so much that the rest carries no surface.
    """
    seen = unhidden(surface)
    if seen is None:
        return None
    checks = diagnose(seen)
    cleared, cleared_checks, apart = without_outliers(seen, checks)
    form = None if bends else check_form(cleared)
    level = None if form is None or form.clearly_better else worst_level(cleared)
    off = level if level is not None and level.p < RARE else None
    return Judged(
        surface=seen,
        checks=checks,
        apart=tuple(apart),
        cleared=cleared,
        cleared_checks=cleared_checks,
        form=form,
        level=off,
    )


def checks_of(surface: Surface, judged: Judged | None) -> Diagnostics:
    """Checks of a whole surface: those it was judged by, where bridging hides none of it."""
    return judged.checks if judged is not None and judged.surface is surface else diagnose(surface)
