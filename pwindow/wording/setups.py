"""Set-ups and lists as text."""

from __future__ import annotations

from collections.abc import Sequence

from pwindow.wording.units import Units


def setup_words(roll: str, pressure: float, units: Units, speed: float, plate: str = "") -> str:
    """A set-up in a few words; not escaped.

    Parameters
    ----------
    roll : str
        As it is labelled.
    pressure : float
        In the trial's unit of pressure.
    units : Units
        To write it in.
    speed : float, m/min
    plate : str
        Plate process; "" where none is named.

    Examples
    --------
    >>> from pwindow.wording.units import METRIC
    >>> setup_words("0412", 50.0, METRIC, 80.0)
    'roll 0412, 50 µm, 80 m/min'
    >>> setup_words("0412", 50.0, METRIC, 80.04, "laser-imaged")
    'roll 0412, 50 µm, 80 m/min, plate laser-imaged'
    """
    parts = [f"roll {roll}", units.pressure.words(pressure), units.speed.words(speed)]
    return ", ".join([*parts, *[f"plate {plate}"] * bool(plate)])


def mounting_words(roll: str, pressure: float, units: Units, plate: str = "") -> str:
    """A set-up without its speed in a few words; not escaped; parameters as of `setup_words`.

    Parameters
    ----------
    roll : str
    pressure : float
    units : Units
    plate : str

    Examples
    --------
    >>> from pwindow.wording.units import METRIC
    >>> mounting_words("0412", 50.0, METRIC, "laser-imaged")
    'roll 0412, 50 µm, plate laser-imaged'
    """
    return ", ".join([f"roll {roll}", units.pressure.words(pressure), *[f"plate {plate}"] * bool(plate)])


def listed(parts: Sequence[str]) -> str:
    """Words in a row.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def counted(number: int, one: str, many: str) -> str:
    """A number of things in words.

    Parameters
    ----------
    number : int
    one, many : str
        What is counted, in the singular and in the plural.

    Examples
    --------
    >>> counted(1, "make-ready", "make-readies"), counted(2, "make-ready", "make-readies")
    ('1 make-ready', '2 make-readies')
    """
    return f"{number} {one if number == 1 else many}"
