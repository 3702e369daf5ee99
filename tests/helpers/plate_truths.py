"""Plate processes and prints with known truths, and what a small set of plates and a trial show of them.

The distributions are invented: a process adds N(3, 4²) µm to lines, N(0, 1) µm more across the web, and 0.05·N(0, 1) µm per
µm of artwork; plates differ by 1.2 µm and features of one by 0.8 µm, each times exp(0.3·N(0, 1)). Two to six plates are
measured, all with the same three to five widths from 15 to 60 µm along and across the web. ln printed width is a straight
line in ln plate width with a slope from 0.5 to 1, and prints differ by 3 to 6 %. The trial has 18 prints of three lines of
20, 30 and 45 µm on the plate, one on each print. Wanted is what artwork of 15 to 60 µm prints on average.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pwindow.plates import PrintedWidth, artwork_for, plate_making
from pwindow.study import Study
from pwindow.trials.plates import PlateRecord, plate_record

_COLUMNS = plate_record([]).features.columns
PRINTS, ON_PLATE = 18, (20.0, 30.0, 45.0)


@dataclass(frozen=True, kw_only=True)
class Truth:
    added: float
    across: float
    slope: float
    plate: float
    feature: float
    printed: float
    power: float
    print_sd: float

    @classmethod
    def drawn(cls, rng):
        return cls(
            added=rng.normal(3.0, 4.0),
            across=rng.normal(0.0, 1.0),
            slope=0.05 * rng.normal(),
            plate=1.2 * np.exp(0.3 * rng.normal()),
            feature=0.8 * np.exp(0.3 * rng.normal()),
            printed=np.log(65.0) + 0.1 * rng.normal(),
            power=rng.uniform(0.5, 1.0),
            print_sd=rng.uniform(0.03, 0.06),
        )

    def on_plate(self, artwork, direction):
        """Mean width on plates, µm."""
        return artwork + self.added + self.across * (direction == 90.0) + self.slope * (artwork - 35.0)

    def of_print(self, plate_width):
        """Mean of ln printed width."""
        return self.printed + self.power * np.log(plate_width / 30.0)


def record_of(truth, plates, widths, rng):
    """Measured plates, as of a plate file; none where there are no plates."""
    rows = []
    for at in range(plates):
        of_plate = truth.plate * rng.normal()
        for direction in (0.0, 90.0):
            for width in widths:
                size = truth.on_plate(width, direction) + of_plate + truth.feature * rng.normal()
                rows.append((f"P{at}", f"{width:g} {direction:g}", direction, width, size))
    names = ["plate_id", "plate_feature", "direction", "artwork_width", "plate_width"]
    features = pd.DataFrame(rows, columns=names).assign(plate="made", measurements=1).set_index(names[:2])
    return PlateRecord(features.reindex(columns=_COLUMNS))


def trial_of(truth, rng):
    """The next print's width as least squares on the trial has it."""
    plate = np.repeat(ON_PLATE, PRINTS // len(ON_PLATE))
    columns = np.column_stack([np.ones(PRINTS), np.log(plate)])
    logs = truth.of_print(plate) + truth.print_sd * rng.normal(size=PRINTS)
    found, (left,), _, _ = np.linalg.lstsq(columns, logs)
    variance, inverse = left / (PRINTS - 2), np.linalg.inv(columns.T @ columns)

    def row(width):
        return np.array([1.0, np.log(width)])

    return PrintedWidth(
        lambda width: float(row(width) @ found),
        lambda width: float(np.sqrt(variance * (1.0 + row(width) @ inverse @ row(width)))),
        PRINTS - 2,
    )


@dataclass(frozen=True)
class Case:
    plates: int
    inside: bool
    ratio: float
    """Printed width over the wanted one."""
    width: float
    """Of the stated interval, over the wanted width."""
    share: float
    """Of new plates and prints that would lie inside."""


def case(seed, plates=None, share_of=400):
    """One process with its plates and trial, artwork drawn for a wanted print, and what became of it."""
    rng = np.random.default_rng(seed)
    truth = Truth.drawn(rng)
    plates = int(rng.integers(2, 7)) if plates is None else plates
    widths = np.sort(rng.uniform(15.0, 60.0, rng.integers(3, 6))).round(1)
    making = plate_making(record_of(truth, plates, widths, rng), Study()).of("made")
    direction, ideal = float(rng.choice([0.0, 90.0])), rng.uniform(15.0, 60.0)
    wanted = float(np.exp(truth.of_print(truth.on_plate(ideal, direction))))
    drawn = artwork_for(wanted, trial_of(truth, rng), making, direction)
    new = np.hypot(truth.plate, truth.feature) * rng.normal(size=share_of)
    made = np.maximum(truth.on_plate(drawn.artwork, direction) + new, 0.1)
    printed = np.exp(truth.of_print(made) + truth.print_sd * rng.normal(size=share_of))
    inside = (printed >= drawn.low) & (printed <= drawn.high)
    return Case(
        plates, bool(inside[0]), printed[0] / wanted, (drawn.high - drawn.low) / wanted, float(inside.mean())
    )
