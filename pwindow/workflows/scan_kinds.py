"""What was scanned, a print or a plate: how it is measured, and what its rows are."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

import pandas as pd

from pwindow.metrology.areas import MeasuredArea
from pwindow.metrology.features import Measured
from pwindow.metrology.foot import FootRule
from pwindow.metrology.plates import MeasuredPlate
from pwindow.metrology.rows import plate_rows, trial_rows
from pwindow.metrology.scans import measure_plate_scan, measure_scan
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace

Scan = Trace | Topography
Found = Measured | MeasuredArea | MeasuredPlate
Listed = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A print or a plate.

    Attributes
    ----------
    name : str
    field : str
        By which a file says which one it is of, and the first column of rows.
    ground : str
        What of it profiles are levelled on.
    file, saved_as : str
        What its rows are rows of, and what such a file is called.
    values : tuple of str
        What its scans show, as `scan_tables.values` gives it.
    measure : callable
        Takes scan, instrument and decision, and where the foot of lines lies where they have one.
    footed : bool
        Whether its lines have a foot.
    rows : callable
        Rows of what was measured; takes that, the name of the print or plate of each scan, a run list and a scan list.
    """

    name: str
    field: str
    ground: str
    file: str
    saved_as: str
    values: tuple[str, ...]
    measure: Callable[..., Found]
    footed: bool
    rows: Callable[[Sequence, Mapping[str, str], pd.DataFrame | None, Listed | None], pd.DataFrame]

    def measured_by(self, rule: FootRule) -> Callable[..., Found]:
        """How it is measured, by where the foot of a line lies."""
        return partial(self.measure, rule=rule) if self.footed else self.measure

    def holds(self, scan: Scan) -> bool:
        """Whether a scan is of this kind; one that does not say may be of any."""
        said = {one.field for one in KINDS.values()} & set(scan.header)
        return self.field in said or not said


def _plate_rows(
    found: Sequence[MeasuredPlate], plates: Mapping[str, str], _runs: object = None, _listed: object = None
) -> pd.DataFrame:
    """Rows of a plate file; a plate has no run, and of a scan list only its name counts."""
    return plate_rows(found, plates)


PRINT = Kind(
    name="print",
    field="print",
    ground="bare film",
    file="trial file",
    saved_as="features.csv",
    values=("line height", "line width", "gap"),
    measure=measure_scan,
    footed=True,
    rows=trial_rows,
)
PLATE = Kind(
    name="plate",
    field="plate_id",
    ground="the printing surface",
    file="plate file",
    saved_as="plates.csv",
    values=("line width", "gap", "gap depth", "lip height"),
    measure=measure_plate_scan,
    footed=False,
    rows=_plate_rows,
)
KINDS: Mapping[str, Kind] = MappingProxyType({one.name: one for one in (PRINT, PLATE)})
"""By what a command and a page call them."""
