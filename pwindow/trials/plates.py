"""Plates as they were measured: features by their ids, and rows of a trial that refer to them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import pandas as pd

from pwindow.errors import Problem, TrialProblem, at_rows, first_few, shown
from pwindow.overview import Overview, Viewed
from pwindow.trials.cells import TypedCells, read_columns
from pwindow.trials.columns import CARRIED, COLUMNS, Column, TableKind
from pwindow.trials.headers import column_name
from pwindow.wording import counted, listed

_KEYS = ["plate_id", "plate_feature"]
_FROM_TRIAL = (
    "plate",
    "direction",
    "plate_width",
    "plate_gap",
    "lip_width",
    "gap_depth",
    "corner",
    "corner_radius",
)
"""What a row of a trial takes from the plate feature that it names."""
_MEASURED = (
    "plate_width",
    "top_radius",
    "plate_gap",
    "lip_width",
    "lip_height",
    "gap_depth",
    "corner_radius",
)
_STATED = ("direction", "artwork_width", "artwork_gap", "artwork_radius")
"""Numbers that all measurements of a feature agree on."""
_WORDS = ("plate", "top", "corner")
_ALIKE = 0.02  # relative difference of two values of one thing


def _length(name: str, least: float = 0.0) -> Column:
    return Column(name=name, kind="number", unit="µm", least=least, most=1e5)


PLATE_TABLE = TableKind(
    name="plate",
    columns=MappingProxyType(
        {name: COLUMNS[name] for name in ("plate_id", "plate_feature", *_FROM_TRIAL)}
        | {
            name: _length(name)
            for name in (
                "artwork_width",
                "artwork_gap",
                "artwork_radius",
                "top_radius",
                "lip_height",
                *(f"u_{one}" for one in _MEASURED),
            )
        }
        | {name: Column(name=name, kind="text") for name in ("top", "measured", "edge_rule")}
    ),
    needed=("plate_id", "plate_feature"),
    measured=("plate_width", "plate_gap", "corner_radius"),
    carried=CARRIED,
)
"""A plate file, such as `pwindow trace --of plate` writes: one row a measurement of a feature."""
_NOTHING = pd.DataFrame(
    {
        name: pd.Series(dtype=object if column.kind == "text" else float)
        for name, column in PLATE_TABLE.columns.items()
    }
)


@dataclass(frozen=True, repr=False)
class PlateRecord(Viewed):
    """Features of plates, each the mean of its measurements.

    Attributes
    ----------
    features : DataFrame
        Indexed by ``plate_id`` and ``plate_feature``. ``plate`` (process), ``top``, ``direction`` (deg), the artwork's and
        the measured dimensions (µm), the root mean square of each standard uncertainty (``u_…``), and the number of
        ``measurements``.
    files : tuple of str
    notes : tuple of str
        What was assumed or left unused.
    """

    features: pd.DataFrame
    files: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def overview(self) -> Overview:
        """Plates, their processes and features."""
        plates = self.features.index.get_level_values("plate_id").nunique()
        said = (counted(plates, "plate", "plates"), counted(len(self.features), "feature", "features"))
        processes = sorted(self.features["plate"].dropna().unique())
        rows = {"Processes": listed(processes)} if processes else {}
        return Overview("Plates", listed(list(self.files)), said, rows)

    def counts(self) -> dict[str, int]:
        """Features that were measured on each plate, by its id."""
        sizes = self.features.groupby(level="plate_id", sort=False).size()
        return {str(plate): int(count) for plate, count in sizes.items()}

    def with_features(self, process: str, sizes: Mapping[str, float]) -> dict[str, list[str]]:
        """Plates of a process on which sizes were measured, and the features that have them.

        Parameters
        ----------
        process : str
            "" for any.
        sizes : mapping of str to float
            Such as ``plate_width``; µm.

        Returns
        -------
        dict of str to list of str
            By plate id, of plates that have all of the sizes: feature and size in words.
        """
        rows = self.features.reset_index()
        rows = rows[rows["plate"].eq(process) | (process == "")]
        found: dict[str, list[str]] = {}
        for plate, own in rows.groupby("plate_id"):
            near = {
                name: own.loc[(own[name] - size).abs().sort_values().index].iloc[0]
                for name, size in sizes.items()
            }
            if near and all(abs(near[name][name] - size) <= _ALIKE * size for name, size in sizes.items()):
                found[str(plate)] = [
                    f"{one['plate_feature']} {one[name]:.1f} µm" for name, one in near.items()
                ]
        return found

    def filled(self, typed: TypedCells) -> tuple[TypedCells, list[Problem]]:
        """Rows of a trial with what the plate features that they name were measured to be.

        Parameters
        ----------
        typed : TypedCells
            Of a trial file.

        Returns
        -------
        TypedCells
        list of Problem
            Features that the record does not have, and rows that say otherwise.
        """
        named = typed.column("plate_feature").notna()
        without = named & typed.column("plate_id").isna()
        problems = at_rows(
            without.index[without].tolist(),
            lambda row: Problem(
                file=typed.file,
                what="a feature of a plate without the plate",
                mend="fill in plate_id",
                row=row,
                column="plate_id",
            ),
        )
        keys = typed.table.loc[named & ~without].reindex(columns=_KEYS)
        rows = self.features.reindex(pd.MultiIndex.from_frame(keys)).set_axis(keys.index)
        unknown = rows["measurements"].isna()
        problems += at_rows(keys.index[unknown].tolist(), lambda row: self._unknown(typed, row))
        table = typed.table.copy()
        for name in _FROM_TRIAL:
            own = typed.column(name)[rows.index]
            problems += _otherwise(typed, name, own, rows[name])
            column = typed.column(name).astype(object if COLUMNS[name].kind == "text" else float)
            column[rows.index] = own.where(own.notna(), rows[name])
            table[name] = column
        return replace(typed, table=table), problems

    def _unknown(self, typed: TypedCells, row: int) -> Problem:
        plate, feature = (str(typed.table.loc[row, name]) for name in _KEYS)
        plates = self.features.index.get_level_values("plate_id")
        where = listed(list(self.files))
        if plate not in plates:
            what, known = f"{where} has no plate “{shown(plate)}”", first_few(list(dict.fromkeys(plates)))
            column = "plate_id"
        else:
            what = f"plate “{shown(plate)}” of {where} has no feature “{shown(feature)}”"
            known, column = first_few(list(self.features.loc[plate].index)), "plate_feature"
        return Problem(
            file=typed.file,
            what=what,
            mend=f"correct the id ({known}), or add it to the plate file",
            row=row,
            column=column,
        )


def _otherwise(typed: TypedCells, name: str, own: pd.Series, record: pd.Series) -> list[Problem]:
    """Rows that say another plate, width or the like than the record."""
    both = own.notna() & record.notna()
    own, record = own[both], record[both]
    if COLUMNS[name].kind == "text":
        differs = own != record
    else:
        apart = (own.astype(float) - record.astype(float)).abs()
        differs = apart > (1.0 if name == "direction" else _ALIKE * record.astype(float))
    return at_rows(
        own.index[differs].tolist(),
        lambda row: Problem(
            file=typed.file,
            what=f"the plate file says {_said(record[row])} of this feature",
            mend="leave the cell empty, or correct one of them",
            row=row,
            column=name,
            value=typed.as_typed(name, row),
        ),
    )


def _said(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else f"“{shown(str(value))}”"


def is_plate_table(cells: pd.DataFrame) -> bool:
    """Whether a table is of plates: it names their features, and no print.

    Parameters
    ----------
    cells : DataFrame
        Raw, as of `read_cells`.
    """
    names = {column_name(str(header), PLATE_TABLE.columns)[0] for header in cells.columns}
    return set(PLATE_TABLE.needed) <= names and "print" not in {name.lower() for name in names}


def plate_record(tables: Iterable[tuple[str, pd.DataFrame]]) -> PlateRecord:
    """The features of plate files, each the mean of all its measurements.

    Parameters
    ----------
    tables : iterable of (str, DataFrame)
        Names of files, and their raw cells; a record of none has no features.

    Raises
    ------
    TrialProblem
        With every problem of every file.
    """
    typed = [read_columns(cells, file, PLATE_TABLE) for file, cells in tables]
    problems = [problem for one in typed for problem in _problems(one)]
    if problems:
        raise TrialProblem(problems)
    known = [one.table.reindex(columns=list(PLATE_TABLE.columns)) for one in typed]
    found = pd.concat(known, ignore_index=True) if known else _NOTHING
    if problems := list(_contradictions(found, [one.file for one in typed])):
        raise TrialProblem(problems)
    notes = [note for one in typed for note in one.notes]
    repeated = int((found.groupby(_KEYS).size() > 1).sum())
    if repeated:
        notes.append(
            f"{counted(repeated, 'feature of a plate was', 'features of plates were')} measured more than once; the mean is taken"
        )
    notes += _changed(found)
    return PlateRecord(_means(found), tuple(one.file for one in typed), tuple(notes))


def _changed(found: pd.DataFrame) -> list[str]:
    """Plates of which a feature was measured again and found to be clearly another size, one sentence each."""
    sizes = found.melt([*_KEYS, "measured"], list(_MEASURED), "size", "value").dropna(subset="value")
    ends = sizes.groupby(["plate_id", "plate_feature", "size"])["value"].agg(["min", "max", "count"])
    apart = ends[(ends["count"] > 1) & (ends["max"] > (1.0 + _ALIKE) * ends["min"])]
    return [_changed_plate(str(plate), own, sizes) for plate, own in apart.groupby(level="plate_id")]


def _changed_plate(plate: str, apart: pd.DataFrame, sizes: pd.DataFrame) -> str:
    most = apart.assign(times=apart["max"] / apart["min"]).reset_index().nlargest(1, "times").iloc[0]
    feature, size = str(most["plate_feature"]), str(most["size"])
    own = sizes[(sizes["plate_id"] == plate) & (sizes["plate_feature"] == feature) & (sizes["size"] == size)]
    values = [
        f"{value:.4g} µm" + (f" ({date})" if isinstance(date, str) else "")
        for value, date in zip(own["value"], own["measured"])
    ]
    return (
        f"plate “{shown(plate)}”: {counted(len(apart), 'size differs', 'sizes differ')} by more than {100 * _ALIKE:g} % between "
        f"measurements, most of all {size} of “{shown(feature)}”: {listed(values)}; plates swell and wear, and the mean is taken"
    )


def _problems(typed: TypedCells) -> Iterator[Problem]:
    yield from typed.problems()
    if not set(PLATE_TABLE.needed) <= set(typed.table):
        return
    for name in PLATE_TABLE.needed:
        empty = typed.empty(name)
        yield from at_rows(
            empty.index[empty].tolist(),
            lambda row, name=name: Problem(  # type: ignore[misc]  # bound now
                file=typed.file, what="the cell is empty", mend=f"fill in {name}", row=row, column=name
            ),
        )


def _contradictions(found: pd.DataFrame, files: Sequence[str]) -> Iterator[Problem]:
    """Processes that differ within a plate, and artwork or directions that differ within a feature."""
    file = listed(list(files))
    for plate, processes in found.groupby("plate_id")["plate"]:
        if processes.nunique() > 1:
            yield Problem(
                file=file,
                what=f"plate “{shown(str(plate))}” is said to be {listed(sorted(processes.dropna().unique()))}",
                mend="a plate has one process: correct plate or plate_id",
                column="plate",
            )
    groups = found.groupby(_KEYS)[list(_STATED)]
    spans = groups.max() - groups.min()
    for name in _STATED:
        for plate, feature in spans.index[spans[name] > 0.0].tolist():
            yield Problem(
                file=file,
                what=f"{name} of feature “{shown(feature)}” of plate “{shown(plate)}” differs between its rows",
                mend="correct it, or give the features different names",
                column=name,
            )


def _means(found: pd.DataFrame) -> pd.DataFrame:
    groups = found.groupby(_KEYS, sort=False)
    means = groups[[*_STATED, *_MEASURED]].mean()
    errors = [f"u_{name}" for name in _MEASURED]
    squared = found[_KEYS].join(found[errors] ** 2).groupby(_KEYS, sort=False)[errors].mean()
    words = groups[list(_WORDS)].agg(_most_often)
    process = found.groupby("plate_id")["plate"].first()
    words["plate"] = process.reindex(words.index.get_level_values("plate_id")).to_numpy()
    return words.join(means).join(squared**0.5).assign(measurements=groups.size())


def _most_often(texts: pd.Series) -> str | None:
    found = texts.mode()
    return None if found.empty else str(found.iloc[0])


NO_PLATES = plate_record(())
"""Where no plate was measured."""
