"""Files of an instrument, whatever kind they are: profiles or topographies, read and measured."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.metrology.areas import MeasuredArea, measure_area
from pwindow.metrology.decisions import Decision, film_of
from pwindow.metrology.features import Measured, measure
from pwindow.metrology.foot import TENTH, FootRule
from pwindow.metrology.grids import read_topography
from pwindow.metrology.instruments import Instrument
from pwindow.metrology.plates import MeasuredPlate, measure_plate
from pwindow.metrology.reading import PRINTED, read_traces, refuse_high
from pwindow.metrology.topography import Topography
from pwindow.metrology.trace import Trace

Found = TypeVar("Found")
SUFFIXES = (".csv", ".txt", ".tsv", ".x3p", ".sdf")
_HEAD = 2000  # bytes in which a CSV grid says its step


def read_scans(source: str | Path | InputFile, scale: float | None = None) -> tuple[Trace | Topography, ...]:
    """The profiles of a file, or its topography.

    Parameters
    ----------
    source : str, Path or InputFile
    scale : float, optional
        Metres of the unit of length of a topography that has another or none; see `read_topography`.

    Raises
    ------
    UnusableInput
        If it cannot be read.
    """
    file = InputFile.of(source)
    head = file.content[:_HEAD]
    packed = head[:4] == b"PK\x03\x04" or Path(file.name).suffix.lower() in (".x3p", ".sdf")
    if packed or head[:4].lower() in (b"aiso", b"abcr") or b"step_x" in head.lower():
        return (read_topography(file, scale),)
    return read_traces(file)


def read_or_why(
    source: str | Path | InputFile, scale: float | None = None
) -> tuple[Trace | Topography, ...] | str:
    """What `read_scans` gives, or why it cannot: of many files one that is unusable does not hold up the others.

    Parameters
    ----------
    source : str, Path or InputFile
    scale : float, optional
    """
    try:
        return read_scans(source, scale)
    except UnusableInput as problem:
        return str(problem)


def measure_scan(
    scan: Trace | Topography,
    instrument: Instrument,
    decision: Decision | None = None,
    rule: FootRule = TENTH,
) -> Measured | MeasuredArea:
    """Lines and gaps of a profile or a topography.

    Parameters
    ----------
    scan : Trace or Topography
    instrument : Instrument
    decision : Decision, optional
        Which may say what of a profile is bare film.
    rule : FootRule
        Where the foot of a line lies.

    Raises
    ------
    UnusableInput
        As `measure`, `measure_area`, `film_of` and `refuse_high`.
    """
    film = film_of(scan, decision)
    if not isinstance(scan, Topography):
        refuse_high(scan, PRINTED)
        return measure(scan, instrument, film, rule)
    if rule != TENTH:
        raise UnusableInput(
            f"{scan.name}: on a topography the foot is always at {TENTH.words}; measure it so, or give profiles"
        )
    return measure_area(scan, instrument)


def scan_of(measured: Measured | MeasuredArea | MeasuredPlate) -> Trace | Topography:
    """What was measured."""
    return measured.topography if isinstance(measured, MeasuredArea) else measured.levelled.trace


def measure_plate_scan(
    scan: Trace | Topography, instrument: Instrument, decision: Decision | None = None
) -> MeasuredPlate:
    """Raised lines and gaps of a profile across a plate.

    Parameters
    ----------
    scan : Trace or Topography
    instrument : Instrument
    decision : Decision, optional
        Which may say what of a profile is the plate's surface.

    Raises
    ------
    UnusableInput
        As `measure_plate` and `film_of`; if it is a topography.
    """
    if isinstance(scan, Topography):
        raise UnusableInput(f"{scan.name}: plates are measured on profiles; export profiles across its lines")
    return measure_plate(scan, instrument, film_of(scan, decision))


def measured_or_why(
    scan: Trace | Topography,
    instrument: Instrument,
    decision: Decision | None,
    measure_one: Callable[[Trace | Topography, Instrument, Decision | None], Found],
) -> Found | str:
    """What is found on a scan, or why nothing is: of many scans one that is unusable does not hold up the others.

    Parameters
    ----------
    scan : Trace or Topography
    instrument : Instrument
    decision : Decision or None
    measure_one : callable
        `measure_scan` or `measure_plate_scan`.
    """
    try:
        return measure_one(scan, instrument, decision)
    except UnusableInput as problem:
        return str(problem)
