"""Whether typed rows can be a trial: agreement inside a print, counts, and the volume balance."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from pwindow.errors import Problem, TrialProblem, at_rows, first_few, shown
from pwindow.trials.cells import TypedCells
from pwindow.trials.columns import CORNERS, DOME_SECTION_FACTOR, NEEDED, PRINT_COLUMNS, RESPONSES
from pwindow.trials.plausible import impossible_sections

_GAP_COLUMNS = ("plate_gap", "gap", "gap_length", "gaps_inspected", "gaps_bridged")
_MADE_READY = ("roll", "cell_volume", "plate")
_SAME_VOLUME = 1e-6  # relative: what converting a unit may leave between two cells of one text
_TOLD_ROWS = 4
_GIVE_PLATES = ", or give the file of the plate beside the trial"


def find_problems(typed: TypedCells) -> list[Problem]:
    """Every problem of a table of typed features."""
    checks = (
        _missing,
        _disagreeing,
        _mixed_make_readies,
        _without_response,
        _gaps,
        _counts,
        _not_counted,
        _resistances,
        _corners,
        _volume_balance,
        impossible_sections,
    )
    return sorted(
        (problem for check in checks for problem in check(typed)), key=lambda problem: problem.row or 0
    )


# rows that are no measurement yet -----------------------------------------------------------------


def without_unprinted(typed: TypedCells) -> tuple[TypedCells, list[str]]:
    """Leave out prints that were not made yet, and rows of lines that were not measured; say so once each.

    Raises
    ------
    TrialProblem
        If nothing is left.
    """
    silent = _silent(typed)
    unprinted = silent.groupby(typed.column("print")).transform("all").fillna(False).astype(bool)
    passed = silent if not set(_GAP_COLUMNS) & set(typed.table) else unprinted
    if passed.all() and len(passed):
        what = f"no print has a measured value in any of {', '.join(RESPONSES)}"
        raise TrialProblem([Problem(file=typed.file, what=what, mend="fill in what was measured")])
    notes = []
    names = list(typed.column("print")[unprinted].dropna().unique())
    if names:
        notes.append(
            f"{typed.file}: {_counted(len(names), 'print')} without any measured value skipped as not printed "
            f"yet: {first_few(names)}"
        )
    rows = int((passed & ~unprinted).sum())
    if rows:
        notes.append(f"{typed.file}: {_counted(rows, 'row')} without a measured value skipped")
    return typed.without(passed), notes


def _silent(typed: TypedCells) -> pd.Series:
    """Rows without a response, not even one that could not be read; the lack of any such column is reported separately."""
    if not set(RESPONSES) & set(typed.table):
        return pd.Series(False, index=typed.table.index)
    values = pd.concat([typed.column(name) for name in RESPONSES], axis=1)
    return values.isna().all(axis=1) & ~typed.faulty(RESPONSES)


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'s' * (count != 1)}"


# agreement ----------------------------------------------------------------------------------------


def _missing(typed: TypedCells) -> list[Problem]:
    return [
        problem
        for name in NEEDED
        if name in typed.table
        for problem in _at(typed, name, typed.empty(name), "the cell is empty", _fill_in(typed, name))
    ]


def _fill_in(typed: TypedCells, name: str) -> str:
    unit = typed.unit(name)
    return f"fill in {name}{f' in {unit}' if unit else ''}; every row needs it"


def _at(
    typed: TypedCells, column: str, where: pd.Series, what: str, mend: str, *, value: bool = False
) -> list[Problem]:
    """A problem at each of some rows, with the cell as it was typed where it is of interest."""
    return at_rows(
        where.index[where].tolist(),
        lambda row: Problem(
            file=typed.file,
            what=what,
            mend=mend,
            row=row,
            column=column,
            value=typed.as_typed(column, row) if value else None,
        ),
    )


def _disagreeing(typed: TypedCells) -> list[Problem]:
    """A print is one set-up printed once: its rows must agree on the set-up."""
    problems = []
    for name in PRINT_COLUMNS[1:]:
        if name not in typed.table:
            continue
        by_print = typed.table.groupby("print")[name]
        several = by_print.nunique()
        odd = [
            problem
            for print_ in several.index[several > 1]
            for problem in _odd_rows(typed, name, print_, by_print.get_group(print_).dropna())
        ]
        problems += at_rows(range(len(odd)), odd.__getitem__)
    return problems


def _odd_rows(typed: TypedCells, name: str, print_: object, values: pd.Series) -> list[Problem]:
    """The values that fewer rows have than another; of two that as many have, the later one."""
    counts = values.groupby(values, sort=False).size().sort_values(ascending=False, kind="stable")
    most = values.index[values == counts.index[0]]
    problems = []
    for value in counts.index[1:]:
        rows = values.index[values == value]
        what = (
            f"print {shown(print_)} has {name} {typed.with_unit(name, rows[0])} in {_rows(rows)} and "
            f"{typed.with_unit(name, most[0])} in {_rows(most)}"
        )
        mend = "correct the value, or give the prints different ids"
        typed_value = typed.as_typed(name, rows[0])
        kind = "the rows of one print disagree"
        problems.append(
            Problem(
                file=typed.file,
                what=what,
                mend=mend,
                row=int(rows[0]),
                column=name,
                value=typed_value,
                kind=kind,
            )
        )
    return problems


def _rows(rows: Sequence[int]) -> str:
    numbers = ", ".join(str(row) for row in rows[:_TOLD_ROWS]) + ", …" * (len(rows) > _TOLD_ROWS)
    return f"row {numbers}" if len(rows) == 1 else f"rows {numbers}"


def _mixed_make_readies(typed: TypedCells) -> list[Problem]:
    """A make-ready is one mounting of one roll and one plate."""
    if "make_ready" not in typed.table:
        return []
    names = [name for name in _MADE_READY if name in typed.table]
    prints = typed.table.dropna(subset=["print", "make_ready"]).groupby("print", sort=False)
    first = prints[["make_ready", *names]].first()
    agreed = prints[names].nunique() <= 1
    problems = []
    for name in names:
        values = first[agreed[name] & first[name].notna()]
        if name == "cell_volume":
            values = values.assign(cell_volume=_without_rounding(values[name]))
        several = values.groupby("make_ready")[name].nunique()
        odd = [
            problem
            for make_ready in several.index[several > 1]
            for problem in _odd_prints(typed, name, make_ready, values[values["make_ready"] == make_ready])
        ]
        problems += at_rows(range(len(odd)), odd.__getitem__)
    return problems


def _without_rounding(volumes: pd.Series) -> pd.Series:
    digits = int(-np.log10(_SAME_VOLUME))
    return volumes.map(lambda volume: float(f"{volume:.{digits}g}"))


def _odd_prints(typed: TypedCells, name: str, make_ready: object, prints: pd.DataFrame) -> list[Problem]:
    counts = prints.groupby(name, sort=False).size().sort_values(ascending=False, kind="stable")
    there = _row_of(typed, name, prints.index[prints[name] == counts.index[0]][0])
    problems = []
    for value in counts.index[1:]:
        odd = list(prints.index[prints[name] == value])
        row = _row_of(typed, name, odd[0])
        what = (
            f"make-ready {shown(make_ready)} has {name} {typed.with_unit(name, row)} in print{'s' * (len(odd) > 1)} "
            f"{first_few(odd)} and {typed.with_unit(name, there)} in print {shown(typed.table['print'][there])} (row {there})"
        )
        mend = (
            "a make-ready is one mounting of one roll and one plate: correct the value, or give the make-readies "
            "different ids"
        )
        typed_value = typed.as_typed(name, row)
        kind = "the prints of one make-ready disagree"
        problems.append(
            Problem(file=typed.file, what=what, mend=mend, row=row, column=name, value=typed_value, kind=kind)
        )
    return problems


def _row_of(typed: TypedCells, name: str, print_: object) -> int:
    """The first row of a print that has a value in a column."""
    rows = typed.table.index[(typed.table["print"] == print_) & typed.table[name].notna()]
    return int(rows[0])


# responses ----------------------------------------------------------------------------------------


def _without_response(typed: TypedCells) -> list[Problem]:
    silent = _silent(typed) & ~typed.faulty(list(typed.faults))
    mend = "enter gaps_bridged = 1 if the gap is bridged; otherwise measure it or delete the row"
    what = "the row has no measured value"
    return at_rows(
        silent.index[silent].tolist(), lambda row: Problem(file=typed.file, what=what, mend=mend, row=row)
    )


def _gaps(typed: TypedCells) -> list[Problem]:
    seen = typed.column("gap").notna() | typed.column("gaps_inspected").notna()
    what = "a printed gap without its plate gap"
    mend = "fill in plate_gap"
    if typed.column("plate_feature").notna().any():
        mend += _GIVE_PLATES
    return _at(typed, "plate_gap", seen & typed.empty("plate_gap"), what, mend)


def _counts(typed: TypedCells) -> list[Problem]:
    inspected, bridged = typed.column("gaps_inspected"), typed.column("gaps_bridged")
    more = bridged > inspected
    all_bridged = typed.column("gap").notna() & (bridged >= inspected) & (inspected > 0)
    return [
        *_at(
            typed,
            "gaps_inspected",
            bridged.notna() & typed.empty("gaps_inspected"),
            "bridged gaps without the number inspected",
            "fill in gaps_inspected",
        ),
        *at_rows(
            more.index[more].tolist(),
            lambda row: Problem(
                file=typed.file,
                what=f"more gaps bridged than the {typed.as_typed('gaps_inspected', row)} inspected",
                mend="correct the counts",
                row=row,
                column="gaps_bridged",
                value=typed.as_typed("gaps_bridged", row),
                kind="more gaps bridged than inspected",
            ),
        ),
        *_at(
            typed,
            "gap",
            all_bridged,
            "a measured gap where every gap is bridged",
            "leave gap empty where it is bridged",
            value=True,
        ),
    ]


def _not_counted(typed: TypedCells) -> list[Problem]:
    """Inspected gaps without a count of bridged ones must not pass for open gaps."""
    open_unknown = (typed.column("gaps_inspected") > 0) & typed.empty("gaps_bridged") & typed.empty("gap")
    what = "inspected gaps without a measured gap or a count of bridged gaps"
    mend = "enter 0 or a count in gaps_bridged"
    value = "gaps_bridged" in typed.raw
    return at_rows(
        open_unknown.index[open_unknown].tolist(),
        lambda row: Problem(
            file=typed.file,
            what=what,
            mend=mend,
            row=row,
            column="gaps_bridged",
            value=_typed_word(typed, row) if value else None,
        ),
    )


def _typed_word(typed: TypedCells, row: int) -> str | None:
    """The word that stands for a missing count, if any."""
    cell = typed.raw["gaps_bridged"][row]
    return None if pd.isna(cell) else typed.as_typed("gaps_bridged", row) or None


def _resistances(typed: TypedCells) -> list[Problem]:
    bare = typed.column("resistance").notna() & typed.empty("line_length")
    what = "a resistance without the length it was measured over"
    return _at(typed, "line_length", bare, what, "fill in line_length")


def _corners(typed: TypedCells) -> list[Problem]:
    radius, corner = typed.column("printed_radius"), typed.column("corner")
    choice = " or ".join(CORNERS)
    mend = f"fill in corner: {choice}"
    if typed.column("plate_feature").notna().any():
        mend += _GIVE_PLATES
    unknown = corner.notna() & ~corner.isin(CORNERS)
    return [
        *_at(
            typed,
            "corner",
            radius.notna() & corner.isna(),
            "a printed radius without the kind of its corner",
            mend,
        ),
        *_at(typed, "corner", unknown, "an unknown kind of corner", f"write {choice}", value=True),
    ]


def _volume_balance(typed: TypedCells) -> list[Problem]:
    """A dry section cannot hold more than all the ink the cells offer to the plate line.

    The cells offer V · w_plate (1 cm³/m² is 1 µm); where the plate line was not measured the
    printed width, which is wider, stands in for it. Nor can the mean dry height exceed V.
    """
    height, width = typed.column("line_height"), typed.column("line_width")
    volume, measured = typed.column("cell_volume"), typed.column("section_area")
    area = measured.fillna(DOME_SECTION_FACTOR * height * width)
    ceiling = volume * typed.column("plate_width").fillna(width)
    mean_height = (measured / width).fillna(DOME_SECTION_FACTOR * height)
    over = (area > ceiling) | (mean_height > volume)
    mend = "check the units of height, width, area and cell volume"
    return at_rows(over.index[over].tolist(), _over_volume(typed, mend))


def _over_volume(typed: TypedCells, mend: str) -> Callable[[int], Problem]:
    def problem(row: int) -> Problem:
        column = next(name for name in ("section_area", "line_height") if typed.column(name).notna()[row])
        volume = typed.with_unit("cell_volume", row)
        return Problem(
            file=typed.file,
            what=f"more silver than all the ink in the cells ({volume}) can give the line",
            mend=mend,
            row=row,
            column=column,
            value=typed.as_typed(column, row),
            kind="more silver than all the ink in the cells can give the line",
        )

    return problem
