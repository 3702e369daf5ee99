"""Tables of pandas to and from tables of the archive."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing

import numpy as np
import pandas as pd
from sqlalchemy import Connection, Select, Table, select

from pwindow.errors import UnusableInput

_CHUNK = 50_000


def write_rows(connection: Connection, table: Table, trial: int, frame: pd.DataFrame) -> None:
    """Write a frame as the rows of a trial, in its order.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    table : Table
    trial : int
        Number of the trial.
    frame : DataFrame
        Has the table's columns, but for ``trial`` and ``at``.
    """
    names = [column.name for column in table.columns if column.name not in ("trial", "at")]
    rows = frame[names].assign(trial=trial, at=range(len(frame)))[["trial", "at", *names]]
    put = _copy if connection.dialect.name == "postgresql" else _insert
    for start in range(0, len(rows), _CHUNK):
        put(connection, table, rows.iloc[start : start + _CHUNK])


def _insert(connection: Connection, table: Table, rows: pd.DataFrame) -> None:
    marks = ", ".join("?" * rows.shape[1])
    columns = [rows[name].astype(object).where(rows[name].notna(), None).tolist() for name in rows]
    connection.exec_driver_sql(
        f"INSERT INTO {table.name} ({_columns(rows)}) VALUES ({marks})", list(zip(*columns))
    )


def _copy(connection: Connection, table: Table, rows: pd.DataFrame) -> None:
    """As text of comma-separated values, which tells every number to its last digit."""
    order = f"COPY {table.name} ({_columns(rows)}) FROM STDIN WITH (FORMAT csv)"
    with closing(connection.connection.cursor()) as cursor, cursor.copy(order) as copy:
        copy.write(rows.to_csv(index=False, header=False))


def _columns(rows: pd.DataFrame) -> str:
    return ", ".join(f'"{name}"' for name in rows)


def read_rows(connection: Connection, table: Table, trials: Sequence[int]) -> pd.DataFrame:
    """The rows of trials, trial after trial in the order given, with the columns ``trial`` and ``at``.

    Parameters
    ----------
    connection : Connection
    table : Table
        One whose rows belong to trials.
    trials : sequence of int
        Numbers of the trials.

    Raises
    ------
    UnusableInput
        If a column of numbers holds something else.
    """
    frame = read_frame(connection, select(table).where(table.c.trial.in_(trials)))
    for column in table.columns:
        kind = object if column.type.python_type is str else column.type.python_type
        try:
            frame[column.name] = frame[column.name].astype(kind)
        except (TypeError, ValueError) as problem:
            raise UnusableInput(
                f"table {table.name} of the archive has a value in column {column.name} that is not a number: something other "
                "than pwindow changed it; restore a backup of the archive"
            ) from problem
    asked = frame["trial"].map({trial: place for place, trial in enumerate(trials)})
    return frame.iloc[np.lexsort((frame["at"], asked))].reset_index(drop=True)


def read_frame(connection: Connection, asked: Select) -> pd.DataFrame:
    """What a query finds, a column for each of its columns."""
    found = connection.execute(asked)
    return pd.DataFrame(found.all(), columns=list(found.keys()))
