"""What a study declares: the roll inventory and the ink, read from TOML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field
from pathlib import Path
from types import MappingProxyType

from pwindow.declarations import Table, read_toml
from pwindow.errors import DeclarationProblem, shown
from pwindow.inputs import InputFile, expect_file
from pwindow.overview import Overview, Viewed
from pwindow.wording import METRIC, counted, listed, volume

DENSE_SILVER = 10.49
"""Density of silver without pores, g/cm³, near 20 °C (handbook value)."""


@dataclass(frozen=True)
class Roll:
    """An anilox roll: its id and its measured cell volume, cm³/m²; `planned` where it has not been bought yet."""

    id: str
    cell_volume: float
    planned: bool = False

    @property
    def label(self) -> str:
        """The id, and that the roll is only planned."""
        return f"{self.id} (planned)" if self.planned else self.id


@dataclass(frozen=True)
class Ink:
    """The ink as its supplier states it.

    Attributes
    ----------
    resistivity : float or None
        Stated resistivity of the dry line, Ω·m; used where no resistance was measured.
    resistivity_spread : float
        Relative standard deviation of the stated resistivity from run to run.
    silver_density : float or None
        Silver in a volume of dry line, g/cm³; None where it is not stated.
    """

    resistivity: float | None = None
    resistivity_spread: float = 0.10
    silver_density: float | None = None

    @property
    def stated(self) -> tuple[str, ...]:
        """What is stated, in words."""
        resistivity, density = self.resistivity, self.silver_density
        parts = [] if resistivity is None else [f"resistivity {METRIC.of('Ω·m').limit(resistivity)}"]
        return (*parts, *([] if density is None else [f"silver density {density:g} g/cm³"]))


IN_FILE_ORDER = "as in the file"
EACH_PRINT = "each print"
ROLL_AND_PLATE = "each roll and plate"
_UNRECORDED = (EACH_PRINT, ROLL_AND_PLATE)


@dataclass(frozen=True, kw_only=True)
class MakeReadies:
    """What is stated of make-readies, for trials that do not record them.

    Attributes
    ----------
    unrecorded : {'', 'each print', 'each roll and plate'}
        What had a make-ready of its own where a trial file does not record it; '' where that is not known.
    line_height, line_width, resistivity : float
        Relative standard deviation from one make-ready to the next. Common practice, no source.
    gap_closure : float
        The same, µm. Common practice, no source.
    known_from : int
        Number of make-readies that the spread was found from, or is as well known as from.
    press_order : {'', 'as in the file'}
        In which order prints were made where a trial file tells neither `order` nor `time`; '' where that is not known.
    drift : bool
        Whether surfaces follow a drift in that order, so that predictions are for the end of the trial.
    stated : bool
        Whether the study states any of the spread.
    """

    unrecorded: str = ""
    line_height: float = 0.05
    line_width: float = 0.025
    resistivity: float = 0.04
    gap_closure: float = 2.0
    known_from: int = 7
    press_order: str = ""
    drift: bool = False
    stated: bool = False

    @property
    def in_file_order(self) -> bool:
        """Whether prints stand in their file in the order they were made in."""
        return self.press_order == IN_FILE_ORDER

    @property
    def spread(self) -> Mapping[str, float]:
        """Standard deviation by response."""
        names = ("line_height", "line_width", "resistivity", "gap_closure")
        return MappingProxyType({name: getattr(self, name) for name in names})


@dataclass(frozen=True)
class StatedPlate:
    """A plate that a study states: its id, its process, and its features, each by the columns of a plate file as text."""

    id: str
    process: str | None
    features: tuple[Mapping[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class PlatesStated:
    """What is stated of plates, and of plate making for processes whose plates do not show it.

    Attributes
    ----------
    width_spread, gap_spread : float
        Standard deviation of one line or gap of a new plate about what the process makes of its artwork on average, µm.
        Half of the variance is from plate to plate. Common practice, no source.
    offset_spread : float
        Standard deviation of what an unmeasured process adds to the artwork, µm. Common practice, no source.
    resolution : float
        Step that the plate maker draws artwork in, µm: 25,400 over the dots per inch. Common practice, no source.
    known_from : int
        Number of plates that the spreads were found from, or are as well known as from.
    stated : frozenset of str
        Names of numbers that the study states.
    measured : tuple of StatedPlate
    file : str
        Name of the study's file.
    """

    width_spread: float = 1.5
    gap_spread: float = 2.0
    offset_spread: float = 5.0
    resolution: float = 5.3
    known_from: int = 7
    stated: frozenset[str] = frozenset()
    measured: tuple[StatedPlate, ...] = ()
    file: str = ""


FEET = ("tenth", "three-deviations")
"""Where the foot of a line may lie: at a tenth of its step height, or three standard deviations above the film."""
INSTRUMENTS = ("optical", "stylus")


@dataclass(frozen=True, kw_only=True)
class ScansStated:
    """What is stated of the scans that prints and plates are measured from; None where nothing is.

    Attributes
    ----------
    foot : {'tenth', 'three-deviations'} or None
        Where the foot of a line lies.
    instrument : {'optical', 'stylus'} or None
        Whose uncertainties are assumed where none are stated.
    height_fixed : float or None
        Standard uncertainty of a height, whatever it is, µm.
    height_share, distance_share : float or None
        Relative standard uncertainty of heights, and of distances along a scan.
    names : str or None
        Pattern of file names, for files that do not say their print or plate, such as ``{print}_*.csv``.
    """

    foot: str | None = None
    instrument: str | None = None
    height_fixed: float | None = None
    height_share: float | None = None
    distance_share: float | None = None
    names: str | None = None

    def pattern_for(self, field: str) -> str | None:
        """The pattern of file names, where it says prints or plates by that field."""
        return self.names if self.names is not None and f"{{{field}}}" in self.names else None


@dataclass(frozen=True, repr=False)
class Study(Viewed):
    """What is varied and with what: name, roll inventory, ink, make-readies, plates, scans. All of it has defaults."""

    name: str = ""
    rolls: tuple[Roll, ...] = ()
    ink: Ink = field(default_factory=Ink)
    make_readies: MakeReadies = field(default_factory=MakeReadies)
    plates: PlatesStated = field(default_factory=PlatesStated)
    _: KW_ONLY
    scans: ScansStated = field(default_factory=ScansStated)

    def overview(self) -> Overview:
        """The rolls, and what is stated of ink and make-readies.

        Examples
        --------
        >>> import pwindow as pw
        >>> pw.read_study(pw.demo("study.toml"))
        <Study Silver lines on film: 6 rolls from 2.4 to 7.2 cm³/m², ink stated, spread of make-readies not stated>
        """
        rolls = roll_words(self.rolls) if self.rolls else "rolls of the trial"
        ink, spread = self.ink.stated, "stated" if self.make_readies.stated else "not stated"
        facts = (rolls, "ink stated" if ink else "ink not stated", f"spread of make-readies {spread}")
        rows = {"Rolls": rolls, "Ink": listed(ink) or "not stated", "Spread of make-readies": spread}
        if self.plates.measured:
            rows["Plates"] = counted(len(self.plates.measured), "plate", "plates")
        return Overview("Study", self.name, facts, rows)


def roll_words(rolls: Sequence[Roll]) -> str:
    """How many rolls there are, one at least, and their cell volumes.

    Examples
    --------
    >>> roll_words([Roll("0412", 2.4), Roll("2047", 7.2)]), roll_words([Roll("0412", 2.4)])
    ('2 rolls from 2.4 to 7.2 cm³/m²', '1 roll of 2.4 cm³/m²')
    """
    volumes = sorted(roll.cell_volume for roll in rolls)
    low, high = volume(volumes[0]), volume(volumes[-1])
    held = f"of {low}" if low == high else f"from {low} to {high}"
    return f"{counted(len(rolls), 'roll', 'rolls')} {held} cm³/m²"


def read_study(source: str | Path | InputFile) -> Study:
    """Read a study file.

    Parameters
    ----------
    source : path or InputFile
        A TOML file with ``name``, ``[ink]``, ``[make_readies]``, ``[plate_making]``, ``[scans]``, ``[[rolls]]`` and
        ``[[plates]]``.

    Returns
    -------
    Study

    Raises
    ------
    TypeError
        If the source is no path.
    DeclarationProblem
        If a key is unknown, a quantity lacks its unit, or two rolls or two plates share an id.
    """
    expect_file("read_study", source, "a study file")
    document = read_toml(source)
    name = str(document.take("name", Path(document.where).stem))
    rolls = tuple(_read_roll(entry, document.where) for entry in _entries(document, "rolls", _ROLL_FORM))
    _expect_own_ids(document.where, "rolls", rolls)
    plates = tuple(_read_plate(entry, document.where) for entry in _entries(document, "plates", _PLATE_FORM))
    _expect_own_ids(document.where, "plates", plates)
    stated = _read_plates_stated(document.table("plate_making"), plates, document.where)
    ink, readies = document.table("ink"), document.table("make_readies")
    scans = _read_scans(document.table("scans"))
    study = Study(name, rolls, _read_ink(ink), _read_make_readies(readies), stated, scans=scans)
    document.close("name, [ink], [make_readies], [plate_making], [scans], [[rolls]], [[plates]]")
    return study


_ROLL_FORM = "each roll as a table [[rolls]] with id and cell_volume"
_PLATE_FORM = "each plate as a table [[plates]] with id, process and features"


def _entries(document: Table, key: str, form: str) -> list:
    entries = document.take(key, [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise DeclarationProblem(f"{document.where}: write {form}")
    return entries


def _expect_own_ids(where: str, what: str, entries: Sequence[Roll | StatedPlate]) -> None:
    if len({entry.id for entry in entries}) < len(entries):
        raise DeclarationProblem(f"{where}: two {what} have the same id; give each its own")


def _text_of(table: Table, key: str, example: str) -> str:
    text = table.need(key, f'"{example}"')
    if not isinstance(text, str) or not text.strip():
        example = str(text) if str(text).strip() else example
        raise DeclarationProblem(
            f'{table.where}: the {key} “{shown(text)}” must be text; write {key} = "{shown(example)}"'
        )
    return text


def _read_roll(entry: Mapping, where: str) -> Roll:
    table = Table(entry, f"{where} [[rolls]]")
    identity = _text_of(table, "id", "0412")
    table.where += f", roll {shown(identity)}"
    volume = table.quantity("cell_volume", "cm³/m²", above=0.0)
    if volume is None:
        raise DeclarationProblem(
            f'{table.where}: a cell volume above zero is needed, for example cell_volume = "4.4 cm³/m²"'
        )
    table.close("id, cell_volume")
    return Roll(identity, volume)


def _read_plate(entry: Mapping, where: str) -> StatedPlate:
    table = Table(entry, f"{where} [[plates]]")
    identity = _text_of(table, "id", "L1")
    table.where += f", plate {shown(identity)}"
    process = _text_of(table, "process", "laser-imaged") if "process" in table else None
    features = table.take("features", [])
    if not isinstance(features, list) or not features:
        raise DeclarationProblem(f"{table.where}: no features; write {_FEATURES_FORM}")
    table.close("id, process, features")
    return StatedPlate(identity, process, tuple(_read_feature(one, table.where) for one in features))


_FEATURES_FORM = 'features = [{feature = "line 30", artwork_width = "30 µm", plate_width = "33 µm"}]'


def _read_feature(entry: object, where: str) -> Mapping[str, str]:
    if not isinstance(entry, dict) or "feature" not in entry:
        raise DeclarationProblem(f"{where}: a feature has no name or is no table; write {_FEATURES_FORM}")
    for key, text in entry.items():
        if not isinstance(text, str):
            raise DeclarationProblem(
                f"{where}, {shown(key)}: “{shown(text)}” must be text with its unit; for example {_FEATURES_FORM}"
            )
    return MappingProxyType(dict(entry))


def _read_plates_stated(table: Table, plates: tuple[StatedPlate, ...], file: str) -> PlatesStated:
    usual, stated = PlatesStated(), frozenset(table) - {"known_from"}
    found = PlatesStated(
        width_spread=table.quantity("width_spread", "µm", usual.width_spread, above=0.0),
        gap_spread=table.quantity("gap_spread", "µm", usual.gap_spread, above=0.0),
        offset_spread=table.quantity("offset_spread", "µm", usual.offset_spread, above=0.0),
        resolution=table.quantity("resolution", "µm", usual.resolution, above=0.0),
        known_from=_known_from(table, usual.known_from, "plates"),
        stated=stated,
        measured=plates,
        file=file,
    )
    table.close("width_spread, gap_spread, offset_spread, resolution, known_from")
    return found


def _read_scans(table: Table) -> ScansStated:
    found = ScansStated(
        foot=_one_of(table, "foot", FEET),
        instrument=_one_of(table, "instrument", INSTRUMENTS),
        height_fixed=table.quantity("height_uncertainty", "µm", least=0.0),
        height_share=table.quantity("height_share", "1", least=0.0, below=1.0),
        distance_share=table.quantity("distance_share", "1", least=0.0, below=1.0),
        names=_text_of(table, "names", "{print}_*.csv") if "names" in table else None,
    )
    table.close("foot, instrument, height_uncertainty, height_share, distance_share, names")
    return found


def _one_of(table: Table, key: str, known: Sequence[str]) -> str | None:
    value = table.take(key, None)
    if value is not None and value not in known:
        choices = " or ".join(f'"{one}"' for one in known)
        raise DeclarationProblem(f"{table.where}, {key}: “{shown(value)}” is not recognised; write {choices}")
    return value


def _known_from(table: Table, usual: int, what: str) -> int:
    number = table.take("known_from", usual)
    if isinstance(number, bool) or not isinstance(number, int) or not 2 <= number <= 1000:
        raise DeclarationProblem(
            f"{table.where}, known_from: “{number}” must be a whole number from 2 to 1000: the number of "
            f"{what} behind the spread"
        )
    return number


def _read_ink(table: Table) -> Ink:
    ink = Ink(
        resistivity=table.quantity("resistivity", "ohm*m", above=0.0),
        resistivity_spread=table.quantity("resistivity_spread", "1", Ink.resistivity_spread, least=0.0),
        silver_density=table.quantity("silver_density", "g/cm³", above=0.0),
    )
    if ink.silver_density is not None and ink.silver_density > 1.01 * DENSE_SILVER:
        raise DeclarationProblem(
            f"{table.where}, silver_density: {ink.silver_density:g} g/cm³ is more than dense silver has "
            f"({DENSE_SILVER} g/cm³); state the grams of silver per cm³ of dry line"
        )
    table.close("resistivity, resistivity_spread, silver_density")
    return ink


def _read_make_readies(table: Table) -> MakeReadies:
    usual = MakeReadies()
    unrecorded = table.take("unrecorded", "")
    if unrecorded not in ("", *_UNRECORDED):
        known = " or ".join(f'"{one}"' for one in _UNRECORDED)
        raise DeclarationProblem(
            f"{table.where}, unrecorded: “{unrecorded}” is not recognised; write {known}"
        )
    number = _known_from(table, usual.known_from, "make-readies")
    order, drift = table.take("press_order", ""), table.take("drift", False)
    if order not in ("", IN_FILE_ORDER):
        raise DeclarationProblem(
            f'{table.where}, press_order: “{shown(order)}” is not recognised; write "{IN_FILE_ORDER}", or give the trial '
            "file a column order or time"
        )
    if not isinstance(drift, bool):
        raise DeclarationProblem(f"{table.where}, drift: “{shown(drift)}” must be true or false")
    spreads = {
        name: table.quantity(name, "µm" if name == "gap_closure" else "1", above=0.0) for name in usual.spread
    }
    table.close(f"unrecorded, {', '.join(usual.spread)}, known_from, press_order, drift")
    stated = {name: value for name, value in spreads.items() if value is not None}
    return MakeReadies(
        unrecorded=unrecorded,
        **{**usual.spread, **stated},
        known_from=number,
        press_order=order,
        drift=drift,
        stated=bool(stated),
    )
