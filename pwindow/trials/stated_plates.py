"""Plates that a study states, as the cells of a plate file."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from pwindow.errors import DeclarationProblem, UnitProblem, first_few, shown
from pwindow.inputs import InputFile
from pwindow.study import StatedPlate, Study
from pwindow.trials.files import read_cells
from pwindow.trials.plates import PLATE_TABLE, PlateRecord, is_plate_table, plate_record
from pwindow.units import read_quantity

_OF_PLATE = ("plate_id", "plate_feature", "plate")
"""What a plate says of itself, and not its features."""


def stated_cells(study: Study) -> list[tuple[str, pd.DataFrame]]:
    """The plates of a study as `plate_record` takes tables: a row a feature, in the order of the study.

    Parameters
    ----------
    study : Study

    Raises
    ------
    DeclarationProblem
        If a feature has a key that is no column of a plate file, or a quantity lacks its unit.
    """
    where = f"{study.plates.file} [[plates]]"
    rows = [row for plate in study.plates.measured for row in _rows(plate, where)]
    if not rows:
        return []
    cells = pd.DataFrame(rows, dtype=object)
    cells.index = pd.RangeIndex(1, len(cells) + 1)
    return [(where, cells)]


def _rows(plate: StatedPlate, where: str) -> Iterable[dict[str, object]]:
    for feature in plate.features:
        place = f"{where}, plate {shown(plate.id)}, feature {shown(feature['feature'])}"
        row: dict[str, object] = {"plate_id": plate.id, "plate_feature": feature["feature"]}
        if plate.process is not None:
            row["plate"] = plate.process
        yield row | dict(_cell(key, text, place) for key, text in feature.items() if key != "feature")


def _cell(key: str, text: str, place: str) -> tuple[str, object]:
    """Header and value of a plate file."""
    if key not in PLATE_TABLE.columns or key in _OF_PLATE:
        known = first_few(["feature", *(name for name in PLATE_TABLE.columns if name not in _OF_PLATE)], 99)
        raise DeclarationProblem(f"{place}: “{shown(key)}” is not recognised here; choose from {known}")
    column = PLATE_TABLE.columns[key]
    if column.unit is None:
        return key, text
    try:
        return f"{key} [{column.unit}]", read_quantity(text, column.unit)
    except UnitProblem as problem:
        raise DeclarationProblem(f"{place}, {key}: {problem}") from problem


def read_plates(files: Iterable[InputFile], study: Study | None = None) -> PlateRecord:
    """The plates of plate files and of a study; other files are left out.

    Parameters
    ----------
    files : iterable of InputFile
    study : Study, optional

    Returns
    -------
    PlateRecord
        Without features where there is no plate.

    Raises
    ------
    TrialProblem
        With every problem of every plate file.
    DeclarationProblem
        If the study's plates cannot be read.
    """
    read = [(file.name, read_cells(file)[0]) for file in files]
    tables = [(name, cells) for name, cells in read if is_plate_table(cells)]
    return plate_record([*tables, *([] if study is None else stated_cells(study))])
