"""A trial: its prints and what was measured on them, checked and in the project's units."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import KW_ONLY, dataclass, replace
from functools import cached_property
from os import PathLike
from pathlib import Path

import numpy as np
import pandas as pd

from pwindow.errors import Problem, SeveralSheets, TrialProblem, UnusableInput
from pwindow.inputs import InputFile, expect_file
from pwindow.overview import Overview, Viewed
from pwindow.study import Roll, Study
from pwindow.trials.cells import TypedCells, read_columns
from pwindow.trials.checks import find_problems, without_unprinted
from pwindow.trials.columns import (
    COLUMNS,
    FEATURE_COLUMNS,
    NEEDED,
    OF_PLATE,
    PRINT_COLUMNS,
    RAGGEDNESS,
    UNCERTAINTIES,
)
from pwindow.trials.files import read_cells
from pwindow.trials.plates import NO_PLATES, PlateRecord, is_plate_table, plate_record
from pwindow.trials.plausible import doubts
from pwindow.trials.press_order import IN_FILE, PROGRESS, places
from pwindow.trials.reduction import reduce_features
from pwindow.trials.stated_plates import stated_cells
from pwindow.wording import Units, counted, listed, metric, units_of_factors

_OURS = ("state", PROGRESS, IN_FILE)
"""Columns that are worked out, and not those of a file that happen to have their names."""
_SINCE = (
    "order",
    "time",
    "foot_rule",
    "plate_id",
    *OF_PLATE,
    "printed_radius",
    "ridges",
    *UNCERTAINTIES,
    *RAGGEDNESS,
)
_ROUNDED = 1e-4  # relative difference of one pressure in two units: 50 µm is 1.9685 thou
_PRESSURE_SUFFIX = {"µm": "um", "N/mm": "n_mm", "kPa": "kpa"}


class Trial(Viewed):
    """The prints of one or more trial files, and what their features reduce to.

    Attributes
    ----------
    pressure_unit : {'µm', 'N/mm', 'kPa'}
        Kind of pressure the trial was run with.
    units : Units
        What its first file has speeds, volumes, pressures and lengths in.
    files : tuple of str
    notes : tuple of str
        What was assumed or left unused.
    prints : DataFrame
        One row per print: its set-up, indexed by print. Of trials that were accepted with an effect of
        their own, ``state`` names the one since which the process is in its present state. ``progress`` and
        ``in_file`` are as of `places`.
    cells : DataFrame
        As of `reduce_features`.
    fingerprint : str
        Twelve hexadecimal digits that change when any measured value changes.
    features : DataFrame
        One row per measured feature. Columns as in the trial file format, all present, in the
        project's units; ``print`` and ``make_ready`` carry the file in front where there are several
        files.
    plates : PlateRecord
        Plates that were measured; without features where none was.
    """

    pressure_unit: str
    units: Units
    files: tuple[str, ...]
    notes: tuple[str, ...]
    prints: pd.DataFrame
    cells: pd.DataFrame
    fingerprint: str
    features: pd.DataFrame
    plates: PlateRecord

    @cached_property
    def rolls(self) -> tuple[Roll, ...]:
        """The rolls of the trial with their mean measured volume; unnamed rolls go by volume."""
        prints = self.prints
        names = prints["roll"].fillna(prints["cell_volume"].map("{:.3g} cm³/m²".format))
        volumes = prints.groupby(names)["cell_volume"].mean().sort_values()
        return tuple(Roll(str(name), float(volume)) for name, volume in volumes.items())

    @cached_property
    def pressures(self) -> tuple[float, ...]:
        """Pressures that were tried, in the trial's unit of pressure; files in other units round the same one otherwise."""
        tried: list[float] = []
        for pressure in sorted(self.prints["pressure"].unique()):
            if not tried or pressure > tried[-1] * (1.0 + _ROUNDED):
                tried.append(float(pressure))
        return tuple(tried)

    @property
    def changed_since(self) -> str:
        """Name of the trial since which the process is in its present state; "" where it never changed."""
        return str(self.prints["state"].iloc[-1]) if "state" in self.prints else ""

    @property
    def pressure_key(self) -> str:
        """Name of the pressure in tables and JSON, with its unit: ``pressure_um`` or the like."""
        return f"pressure_{_PRESSURE_SUFFIX[self.pressure_unit]}"

    def unit_of(self, column: str) -> str:
        """Unit that a column is kept in."""
        return self.pressure_unit if column == "pressure" else COLUMNS[column].unit or ""

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """What could be true but is more likely a wrong unit, one sentence each."""
        return doubts(self.prints, self.cells, self.units)

    @property
    def make_readies(self) -> int | None:
        """Number of make-readies; None where it is not recorded which prints shared one."""
        recorded = self.prints["make_ready"]
        return None if recorded.isna().any() else int(recorded.nunique())

    def overview(self) -> Overview:
        """Prints, make-readies, and what was varied.

        Examples
        --------
        >>> import pwindow as pw
        >>> pw.read_trial(pw.demo("trial_first.csv"))
        <Trial trial_first.csv: 65 prints in 18 make-readies, pressure in µm>
        """
        prints = counted(len(self.prints), "print", "prints")
        if self.make_readies is None:
            prints += ", make-readies not recorded"
        else:
            prints += f" in {counted(self.make_readies, 'make-ready', 'make-readies')}"
        rows = {"Prints": prints}
        for name in ("speed", "cell_volume", "pressure"):
            rows[name.capitalize().replace("_", " ")] = self._tried(name)
        if plates := self.levels("plate"):
            rows["Plates"] = listed(plates)
        return Overview("Trial", self.title, (prints, f"pressure in {self.pressure_unit}"), rows)

    @property
    def title(self) -> str:
        """Its file, or the first of several and how many more there are."""
        first, *others = self.files or ("",)
        return f"{first} and {len(others)} more" if others else first

    def _tried(self, name: str) -> str:
        """The values of a setting that were tried, as a range."""
        values, unit = self.prints[name], self.units.of_column(name, self.unit_of(name))
        low, high = float(values.min()), float(values.max())
        return unit.words(low) if low == high else unit.span(low, high)

    def levels(self, column: str) -> list:
        """Distinct values of a setting or a covariate, in order."""
        table = self.prints if column in self.prints else self.cells
        return sorted(table[column].dropna().unique())

    def of_quantity(self, name: str) -> pd.DataFrame:
        """The cells of a quantity."""
        return self.cells[self.cells["quantity"] == name].reset_index(drop=True)


@dataclass(frozen=True, repr=False)
class MeasuredTrial(Trial):
    """A trial whose features are at hand."""

    features: pd.DataFrame
    pressure_unit: str = "µm"
    files: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    file_units: Units | None = None
    _: KW_ONLY
    plates: PlateRecord = NO_PLATES

    @property
    def units(self) -> Units:  # type: ignore[override]  # metric where no file says otherwise
        return self.file_units or metric(self.pressure_unit)

    @cached_property
    def prints(self) -> pd.DataFrame:  # type: ignore[override]  # computed when it is asked for
        names = [name for name in (*PRINT_COLUMNS[1:], *_OURS) if name in self.features]
        return self.features.groupby("print", sort=False)[names].first()

    @cached_property
    def cells(self) -> pd.DataFrame:  # type: ignore[override]  # computed when it is asked for
        return reduce_features(self.features)

    @cached_property
    def fingerprint(self) -> str:  # type: ignore[override]  # computed when it is asked for
        digest = hashlib.sha256(self.pressure_unit.encode())
        for name in COLUMNS:
            values = self.features[name]
            if name in _SINCE and values.isna().all():  # as it was before there was the column
                continue
            if COLUMNS[name].kind == "text":
                digest.update("\n".join(values.fillna("")).encode())
            else:
                # as told with ten digits: units are converted with rounding
                digest.update(np.char.mod(b"%.10g", values.to_numpy(float)).tobytes())
        return digest.hexdigest()[:12]


def read_trial(
    source: str | Path | InputFile | Iterable[str | Path | InputFile], study: Study | None = None
) -> Trial:
    """Read one trial file, or several as one trial.

    Parameters
    ----------
    source : path, InputFile or iterable of them
        CSV (any common delimiter and decimal mark, UTF-8, UTF-16 or Windows-1252), XLSX or Parquet. Files of plates may be
        among them: rows that name a ``plate_feature`` take its measured dimensions.
    study : Study, optional
        Whose plates are used as those of a plate file are.

    Returns
    -------
    Trial

    Raises
    ------
    TypeError
        If the source is no path.
    TrialProblem
        With every problem of every file: file, row, column, value and what to do.
    DeclarationProblem
        If the study's plates cannot be read.
    SeveralSheets
        If more than one sheet of a workbook can be the trial.
    """
    sources = _listed(source)
    if not sources:
        raise UnusableInput("no trial file was given; name at least one")
    files = [InputFile.of(item) for item in sources]
    problems = _repeated(files)
    tables: list[_Table] = []
    parts = []
    for file in files:
        with _collected(problems):
            tables.append(_Table(file, *read_cells(file)))
    plates = None
    with _collected(problems):
        plates = _plates_among(tables, study)
    for table in tables:
        with _collected(problems):
            if not is_plate_table(table.cells):
                parts.append(_read_table(table, plates))
    kinds = {part.pressure_unit for part in parts}
    if len(kinds) > 1:
        what = f"the files give pressure in {' and in '.join(sorted(kinds))}"
        problems.append(
            Problem(
                file=", ".join(file.name for file in files),
                what=what,
                mend="use one kind of pressure",
                column="pressure",
            )
        )
    if problems:
        raise TrialProblem(problems)
    if not parts:
        raise UnusableInput("only plate files were given; name the trial file too")
    joined = _joined(parts)
    return joined if plates is None else replace(joined, notes=(*joined.notes, *plates.notes), plates=plates)


@dataclass(frozen=True)
class _Table:
    """A file, its raw cells, and what was noticed when they were read."""

    file: InputFile
    cells: pd.DataFrame
    notes: list[str]


@contextmanager
def _collected(problems: list[Problem]) -> Iterator[None]:
    """What is wrong with a file, kept until the others were read."""
    try:
        yield
    except SeveralSheets:  # what else is wrong depends on the sheet
        raise
    except TrialProblem as problem:
        problems += problem.problems


def _plates_among(tables: Sequence[_Table], study: Study | None) -> PlateRecord | None:
    plates = [(one.file.name, one.cells) for one in tables if is_plate_table(one.cells)]
    plates += [] if study is None else stated_cells(study)
    return plate_record(plates) if plates else None


def _listed(source: object) -> list:
    """The files, of which each is named by a path: a table or bytes are no list of paths."""
    if isinstance(source, Iterable) and not isinstance(source, (str, bytes, pd.DataFrame, PathLike)):
        files = list(source)
    else:
        files = [source]
    for file in files:
        expect_file("read_trial", file, "a trial file, or several")
    return files


def _repeated(files: list[InputFile]) -> list[Problem]:
    seen: dict[bytes, str] = {}
    problems = []
    for file in files:
        digest = hashlib.sha256(file.content).digest()
        if digest in seen:
            problems.append(
                Problem(file=file.name, what=f"the same file as {seen[digest]}", mend="name each file once")
            )
        seen.setdefault(digest, file.name)
    return problems


def _read_table(read: _Table, plates: PlateRecord | None) -> MeasuredTrial:
    file, notes = read.file, list(read.notes)
    typed = read_columns(read.cells, file.name)
    typed, of_plates = (typed, []) if plates is None else plates.filled(typed)
    problems = typed.problems()
    if set(NEEDED) <= set(typed.table):
        typed, passed = without_unprinted(typed)
        problems = typed.problems() + find_problems(typed)
        notes += passed
    if problems := [*problems, *of_plates]:
        raise TrialProblem(sorted(problems, key=lambda problem: problem.row or 0))
    table = typed.table
    known = {name: table.get(name) for name in COLUMNS}
    extra = {name: table[name] for name in table if name not in (*COLUMNS, *_OURS)}
    features = pd.DataFrame(known | extra, index=table.index)
    for name in (*PRINT_COLUMNS, *FEATURE_COLUMNS):
        features[name] = features[name].astype(object if COLUMNS[name].kind == "text" else float)
    for name in PRINT_COLUMNS[1:]:
        features[name] = features.groupby("print")[name].transform("first")
    placed = places(features.groupby("print", sort=False)[["order", "time"]].first())
    return MeasuredTrial(
        features.reset_index(drop=True).join(placed, on="print"),
        typed.units["pressure"],
        (file.name,),
        (*typed.notes, *notes),
        _units_of(typed),
    )


def units_of_file(file: InputFile) -> Units:
    """What a trial file has speeds, volumes, pressures and lengths in."""
    return _units_of(read_columns(read_cells(file)[0], file.name))


_LENGTHS = ("line_width", "gap", "plate_width", "plate_gap", "line_height")


def _units_of(typed: TypedCells) -> Units:
    columns = {"speed": ("speed",), "volume": ("cell_volume",), "pressure": ("pressure",), "length": _LENGTHS}
    factors = {
        quantity: next((typed.written[name][1] for name in names if name in typed.written), 1.0)
        for quantity, names in columns.items()
    }
    return units_of_factors(typed.units["pressure"], **factors)


def _joined(parts: list[MeasuredTrial]) -> MeasuredTrial:
    if len(parts) == 1:
        return parts[0]
    frames = []
    names = [part.files[0] for part in parts]
    for at, part in enumerate(parts):
        frame = part.features.copy()
        label = (
            names[at] if names.count(names[at]) == 1 else f"{names[at]} ({names[: at + 1].count(names[at])})"
        )
        for name in ("print", "make_ready"):
            frame[name] = f"{label}: " + frame[name]
        frames.append(frame)
    return MeasuredTrial(
        pd.concat(frames, ignore_index=True),
        parts[0].pressure_unit,
        tuple(name for part in parts for name in part.files),
        tuple(note for part in parts for note in part.notes),
        parts[0].file_units,
    )
