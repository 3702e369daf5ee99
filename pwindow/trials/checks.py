"""Whether typed rows can be a trial: agreement inside a print, counts, and the volume balance."""

from __future__ import annotations

import pandas as pd

from pwindow.errors import Problem
from pwindow.trials.columns import COLUMNS, DOME_SECTION_FACTOR, NEEDED, PRINT_COLUMNS, RESPONSES


def find_problems(table: pd.DataFrame, file: str) -> list[Problem]:
    """Every problem of a table of typed features.

    Parameters
    ----------
    table : DataFrame
        Typed columns in the project's units; the index is the row of the file.
    file : str
        Name to report.
    """
    checks = (_missing, _disagreeing, _without_response, _gaps, _counts, _resistances, _volume_balance)
    return [problem for check in checks for problem in check(table, file)]


def _missing(table: pd.DataFrame, file: str) -> list[Problem]:
    return [
        Problem(file, "the cell is empty", "every row needs it", row=row, column=name)
        for name in NEEDED
        if name in table
        for row in table.index[table[name].isna()]
    ]


def _disagreeing(table: pd.DataFrame, file: str) -> list[Problem]:
    """A print is one set-up printed once: its rows must agree on the set-up."""
    problems = []
    for name in set(PRINT_COLUMNS) & set(table) - {"print"}:
        first = table.groupby("print")[name].transform("first")
        differs = table[name].notna() & (table[name] != first)
        for row in table.index[differs].to_series().groupby(table["print"]).first():
            here, there = _shown(table[name][row]), _shown(first[row])
            problems.append(
                Problem(
                    file,
                    f"print {table['print'][row]} has {name} {there} on another row",
                    "give the prints different ids, or correct the value",
                    row=row,
                    column=name,
                    value=here,
                )
            )
    return sorted(problems, key=lambda problem: problem.row or 0)


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _column(table: pd.DataFrame, name: str) -> pd.Series:
    """The column, or an empty one where the file has none."""
    return table[name] if name in table else pd.Series(float("nan"), index=table.index)


def _without_response(table: pd.DataFrame, file: str) -> list[Problem]:
    silent = table.index[pd.concat([_column(table, name) for name in RESPONSES], axis=1).isna().all(axis=1)]
    mend = "give gaps_bridged = 1 if the gap is bridged; otherwise measure it or delete the row"
    return [Problem(file, "the row has no measured value", mend, row=row) for row in silent]


def _gaps(table: pd.DataFrame, file: str) -> list[Problem]:
    seen = _column(table, "gap").notna() | _column(table, "gaps_inspected").notna()
    bare = seen & _column(table, "plate_gap").isna()
    return [
        Problem(
            file,
            "a printed gap without its gap on the plate",
            "fill in plate_gap",
            row=row,
            column="plate_gap",
        )
        for row in table.index[bare]
    ]


def _counts(table: pd.DataFrame, file: str) -> list[Problem]:
    inspected, bridged = _column(table, "gaps_inspected"), _column(table, "gaps_bridged")
    lone = bridged.notna() & inspected.isna()
    more = bridged > inspected
    open_gap = _column(table, "gap").notna() & (bridged >= inspected) & (inspected > 0)
    return (
        [
            Problem(
                file,
                "bridged gaps without the number inspected",
                "fill in gaps_inspected",
                row=row,
                column="gaps_inspected",
            )
            for row in table.index[lone]
        ]
        + [
            Problem(
                file,
                f"more gaps bridged than the {inspected[row]:g} inspected",
                "correct the counts",
                row=row,
                column="gaps_bridged",
                value=f"{bridged[row]:g}",
            )
            for row in table.index[more]
        ]
        + [
            Problem(
                file,
                "a measured gap where every gap is bridged",
                "leave gap empty where it is bridged",
                row=row,
                column="gap",
                value=f"{table['gap'][row]:g}",
            )
            for row in table.index[open_gap]
        ]
    )


def _resistances(table: pd.DataFrame, file: str) -> list[Problem]:
    bare = _column(table, "resistance").notna() & _column(table, "line_length").isna()
    return [
        Problem(
            file,
            "a resistance without the length it was measured over",
            "fill in line_length",
            row=row,
            column="line_length",
        )
        for row in table.index[bare]
    ]


def _volume_balance(table: pd.DataFrame, file: str) -> list[Problem]:
    """A dry section cannot hold more than all the ink the cells offer to the plate line.

    The cells offer V · w_plate (1 cm³/m² is 1 µm); where the plate line was not measured the
    printed width, which is wider, stands in for it.
    """
    height, width = _column(table, "line_height"), _column(table, "line_width")
    offered_width = _column(table, "plate_width").fillna(width)
    area = _column(table, "section_area").fillna(DOME_SECTION_FACTOR * height * width)
    ceiling = table["cell_volume"] * offered_width
    flat = DOME_SECTION_FACTOR * height > table["cell_volume"]
    over = (area > ceiling) | (area.isna() & flat)
    problems = []
    for row in table.index[over]:
        column = next(n for n in ("section_area", "line_height") if _column(table, n).notna()[row])
        problems.append(
            Problem(
                file,
                f"more silver than all the ink in the cells ({table['cell_volume'][row]:.3g} "
                f"{COLUMNS['cell_volume'].unit}) offers to the line",
                "check the units of height, width, area and cell volume",
                row=row,
                column=column,
                value=f"{table[column][row]:g}",
            )
        )
    return problems
