"""What plate processes make of artwork: lines, gaps, lips and depths, from measured plates and from what is stated."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from pwindow.overview import Overview, Viewed
from pwindow.plates.depths import Relation, compared, relation_of
from pwindow.plates.fitted import Expected
from pwindow.plates.offsets import Offset, offset_of
from pwindow.plates.spreads import Spreads, taken
from pwindow.study import PlatesStated, Study
from pwindow.trials.plates import PlateRecord
from pwindow.wording import counted, listed, signed

_DOUBTFUL = 0.01
"""p below which a straight line in the artwork is said not to fit."""


@dataclass(frozen=True, kw_only=True)
class ProcessMaking:
    """What one process makes of artwork. All sizes in µm.

    Attributes
    ----------
    process : str
    width, gap : Offset
        Of lines and of gaps.
    lips, depths : Relation
        Lip-to-lip width and depth of gaps, against their width at the surface.
    resolution : float
        Step of the artwork.
    """

    process: str
    width: Offset
    gap: Offset
    lips: Relation
    depths: Relation
    resolution: float

    def plate_width(self, artwork: float, direction: float | None = None) -> Expected:
        """Line on the plate.

        Parameters
        ----------
        artwork : float, µm
        direction : float, deg, optional
            Averaged over what was measured where it is not given.
        """
        return self.width.at(artwork, direction)

    def artwork_width(self, plate_width: float, direction: float | None = None) -> Expected:
        """Line of artwork for a wanted line on the plate, not rounded to the step of the artwork.

        Parameters
        ----------
        plate_width : float, µm
        direction : float, deg, optional
        """
        return self.width.needed(plate_width, direction)

    def plate_gap(self, artwork: float, direction: float | None = None) -> Expected:
        """Gap at the surface of the plate.

        Parameters
        ----------
        artwork : float, µm
        direction : float, deg, optional
        """
        return self.gap.at(artwork, direction)

    def artwork_gap(self, plate_gap: float, direction: float | None = None) -> Expected:
        """Gap of artwork for a wanted gap on the plate, not rounded to the step of the artwork.

        Parameters
        ----------
        plate_gap : float, µm
        direction : float, deg, optional
        """
        return self.gap.needed(plate_gap, direction)

    @property
    def width_spread(self) -> float:
        """Standard deviation of one line of a new plate about what the process makes of its artwork on average."""
        return self.width.spreads.new.sd

    @property
    def gap_spread(self) -> float:
        """Standard deviation of one gap of a new plate about what the process makes of its artwork on average."""
        return self.gap.spreads.new.sd

    def lip_width(self, plate_gap: float) -> Expected:
        """Width from lip to lip of a gap of this width at the surface."""
        return self.lips.at(plate_gap)

    def gap_depth(self, plate_gap: float) -> Expected:
        """Depth of a gap of this width at the surface."""
        return self.depths.at(plate_gap)

    @property
    def notes(self) -> tuple[str, ...]:
        """What the straight lines in the artwork miss, and spreads that were not estimated."""
        return tuple(self._notes())

    def _notes(self) -> Iterator[str]:
        for what, offset in (("lines", self.width), ("gaps", self.gap)):
            if offset.lack_of_fit < _DOUBTFUL:
                yield f"{self.process}: {what} differ from a straight line in their artwork by more than repeats do"
            if offset.spreads.basis != "estimated":
                yield f"{self.process}: the spread of {what} on new plates is {offset.spreads.words}"


@dataclass(frozen=True, repr=False)
class PlateMaking(Viewed):
    """What plates become of their artwork.

    Attributes
    ----------
    by_process : mapping of str to ProcessMaking
        Of the processes that were measured; "" where plates do not name theirs.
    stated : PlatesStated
        What is taken where plates do not show it.
    """

    by_process: Mapping[str, ProcessMaking]
    stated: PlatesStated

    def of(self, process: str) -> ProcessMaking:
        """A process, measured or not: what was not measured adds nothing to its artwork, give or take what is stated."""
        found = self.by_process.get(process)
        return _making(process, _no_features(), self.stated) if found is None else found

    def of_gaps(self) -> tuple[str, ...]:
        """Depth and lips of gaps in the middle of what was measured, by process, and depths side by side; in µm."""
        measured = {name: one for name, one in self.by_process.items() if one.depths.tried or one.lips.tried}
        ends = [one.depths.tried or one.lips.tried for one in measured.values()]
        if not ends:
            return ()
        low, high = max(one[0] for one in ends if one), min(one[1] for one in ends if one)
        gap = (low + high) / 2.0
        said = [_of_gap(name, one, gap) for name, one in measured.items()]
        pairs = compared({name: one.depths for name, one in measured.items()}, gap).dropna(
            subset="difference"
        )
        said += [
            f"{row['one']} less {row['other']}: {signed(row['difference'], 1)} µm of depth ({signed(row['low'], 1)} to {signed(row['high'], 1)} µm)"
            for row in pairs.to_dict("records")
        ]
        return tuple(one for one in said if one)

    def table(self) -> pd.DataFrame:
        """Per process and dimension: ``process``, ``of``, ``artwork`` (middle of what was measured), ``added`` there with
        ``se``, ``slope``, standard deviations between ``plates``, ``features`` of a plate and of ``new`` plates with
        ``new_low`` and ``new_high``, all in µm, and what they are ``known_from``.
        """
        return pd.DataFrame(
            [
                _row(making.process, what, offset)
                for making in self.by_process.values()
                for what, offset in (("line", making.width), ("gap", making.gap))
            ]
        )

    def overview(self) -> Overview:
        """Processes, and what their spreads are known from."""
        names = [name or "not named" for name in self.by_process]
        said = (counted(len(names), "process", "processes"),)
        rows = {
            name or "Process not named": f"lines {making.width.words}; spread {making.width.spreads.words}"
            for name, making in self.by_process.items()
        }
        return Overview("Plate making", listed(names), said, rows)


def _of_gap(process: str, making: ProcessMaking, gap: float) -> str:
    sizes = ((making.gap_depth(gap), "deep"), (making.lip_width(gap), "wide from lip to lip"))
    said = [
        f"{one.value:.1f} µm {words} ({one.low:.1f} to {one.high:.1f} µm)"
        for one, words in sizes
        if math.isfinite(one.value)
    ]
    return f"{process}: a gap of {gap:.0f} µm at the surface is {listed(said)}" if said else ""


def plate_making(record: PlateRecord, study: Study) -> PlateMaking:
    """What plates become of their artwork, per process.

    Parameters
    ----------
    record : PlateRecord
        May have no features: then all is as stated, or as usual.
    study : Study
        Whose ``[plate_making]`` is taken where plates do not show it; its plates are in the record if it was read with
        them.

    Notes
    -----
    size = artwork + a(direction) + b·(artwork − centre) + plate + feature, with b only where at least three clearly
    different sizes were measured. The variances of plates and features come from features that at least two plates have
    in common, each with a mean of its own, so that no form is assumed (`spreads`); the coefficients by generalised least
    squares with their ratio.
    """
    features = record.features.reset_index()
    features["plate"] = features["plate"].astype(object).where(features["plate"].notna(), "")
    made = {
        str(process): _making(str(process), group, study.plates)
        for process, group in features.groupby("plate", sort=True)
    }
    return PlateMaking(MappingProxyType(made), study.plates)


def _no_features() -> pd.DataFrame:
    names = (
        "artwork_width",
        "artwork_gap",
        "plate_width",
        "plate_gap",
        "direction",
        "lip_width",
        "gap_depth",
    )
    return pd.DataFrame(
        {"plate_id": pd.Series(dtype=object)} | {name: pd.Series(dtype=float) for name in names}
    )


def _making(process: str, features: pd.DataFrame, stated: PlatesStated) -> ProcessMaking:
    return ProcessMaking(
        process=process,
        width=_offset(features, "width", stated),
        gap=_offset(features, "gap", stated),
        lips=relation_of(features, "lip_width"),
        depths=relation_of(features, "gap_depth"),
        resolution=stated.resolution,
    )


def _offset(features: pd.DataFrame, what: str, stated: PlatesStated) -> Offset:
    sizes = features.rename(columns={f"artwork_{what}": "artwork", f"plate_{what}": "size"})
    columns = ["plate_id", "artwork", "size", "direction"]
    return offset_of(sizes[columns], _taken(what, stated), stated.offset_spread, stated.resolution)


def _taken(what: str, stated: PlatesStated) -> Spreads:
    name = f"{what}_spread"
    return taken(getattr(stated, name), stated.known_from, "stated" if name in stated.stated else "default")


def _row(process: str, what: str, offset: Offset) -> dict[str, object]:
    spreads, expected = offset.spreads, offset.at(offset.centre)
    return {
        "process": process,
        "of": what,
        "artwork": offset.centre if offset.features else None,
        "added": expected.value - offset.centre,
        "se": expected.se,
        "slope": offset.slope,
        "plates": spreads.plate.sd,
        "features": spreads.feature.sd,
        "new": spreads.new.sd,
        "new_low": spreads.new.low,
        "new_high": spreads.new.high,
        "known_from": spreads.words,
    }
