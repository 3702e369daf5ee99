"""What was read from a trial, in a few figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

from pwindow.trials.columns import COLUMNS
from pwindow.trials.trial import Trial

_COUNTED = ("line_height", "line_width", "section_area", "gap", "resistance", "printed_radius")
_SETTINGS = (
    "speed",
    "cell_volume",
    "pressure",
    "direction",
    "plate_width",
    "plate_gap",
    "lip_width",
    "corner_radius",
)


@dataclass(frozen=True)
class Range:
    """Smallest, largest and number of distinct values of a number column; `unit` is "" where it has none."""

    unit: str
    least: float
    most: float
    levels: int


@dataclass(frozen=True, kw_only=True)
class TrialSummary:
    """What was read from a trial, in a few figures.

    Attributes
    ----------
    files : tuple of str
    fingerprint : str
    prints : int
    make_readies : int or None
        None where it is not recorded which prints shared one.
    features : int
    measured : mapping of str to int
        How many values of each kind were measured.
    gaps_inspected, gaps_bridged : int
    ranges : mapping of str to Range
        Of every number column that was filled in.
    rolls : mapping of str to float
        Cell volume of each roll, cm³/m², by its id.
    plates : tuple of str
    measured_plates : mapping of str to int
        Features that were measured on each plate, by its id.
    constant : mapping of str to object
        Settings that the trial did not vary, with their one value.
    warnings, notes : tuple of str
    """

    files: tuple[str, ...]
    fingerprint: str
    prints: int
    make_readies: int | None
    features: int
    measured: Mapping[str, int]
    gaps_inspected: int
    gaps_bridged: int
    ranges: Mapping[str, Range]
    rolls: Mapping[str, float]
    plates: tuple[str, ...]
    measured_plates: Mapping[str, int]
    constant: Mapping[str, object]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict:
        """The same as plain values."""
        return asdict(self)


def summarise(trial: Trial) -> TrialSummary:
    """Prints, make-readies, features, ranges and what is constant."""
    prints, features = trial.prints, trial.features
    return TrialSummary(
        files=tuple(trial.files),
        fingerprint=trial.fingerprint,
        prints=len(prints),
        make_readies=make_readies(trial),
        features=len(features),
        measured={name: int(features[name].notna().sum()) for name in _COUNTED},
        gaps_inspected=int(features["gaps_inspected"].sum()),
        gaps_bridged=int(features["gaps_bridged"].sum()),
        ranges=ranges(trial),
        rolls={roll.id: roll.cell_volume for roll in trial.rolls},
        plates=tuple(trial.levels("plate")),
        measured_plates=trial.plates.counts(),
        constant=constant_columns(trial),
        warnings=tuple(trial.warnings),
        notes=tuple(trial.notes),
    )


def make_readies(trial: Trial) -> int | None:
    """Number of make-readies; None where it is not recorded which prints shared one."""
    return trial.make_readies


def ranges(trial: Trial) -> dict[str, Range]:
    """Smallest, largest and number of distinct values of every number column that was filled in."""
    found = {}
    for name, column in COLUMNS.items():
        values = trial.features[name].dropna()
        if column.kind == "number" and len(values):
            least, most = float(values.min()), float(values.max())
            found[name] = Range(trial.unit_of(name), least, most, int(values.nunique()))
    return found


def constant_columns(trial: Trial) -> dict[str, object]:
    """Settings that the trial did not vary, with their one value."""
    return {
        name: levels[0] for name in (*_SETTINGS, "plate", "roll") if len(levels := trial.levels(name)) == 1
    }
