"""Whether what an archive holds is what was put into it: files, rows that were read from them, decisions.

It finds what was changed by hand or by accident. Who can write to the database and knows how seals are made
can make them again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd
from sqlalchemy import Connection, Row, select

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.trials.archive.adding import plate_files
from pwindow.trials.archive.rows import read_rows
from pwindow.trials.archive.schema import CELLS, DECISIONS, FEATURES, FILES, PRINTS, TRIALS
from pwindow.trials.archive.seals import broken_seals
from pwindow.trials.trial import Trial, read_trial

_DIGITS = 1e-9  # relative: sums in another order may change the last digits


def changed_trials(connection: Connection, numbers: Sequence[int]) -> Iterator[str]:
    """What differs between trials and their files, in sentences."""
    for number in numbers:
        head = connection.execute(select(TRIALS).where(TRIALS.c.id == number)).one_or_none()
        if head is None:
            yield f"trial {number} is missing from the archive"
        else:
            yield from _changed_trial(connection, head)


def _changed_trial(connection: Connection, head: Row) -> Iterator[str]:
    file = stored_file(connection, head.file)
    if file is None:
        yield f"the file of trial {head.id} is missing from the archive"
        return
    if not is_whole(file, head.file):
        yield f"the file of trial {head.id}, {file.name}, is not the one that was added: its SHA-256 differs"
    try:
        plates = plate_files(connection, head.added)
        read = read_trial([InputFile(head.name, file.content, head.sheet), *plates])
    except UnusableInput as problem:
        yield f"the file of trial {head.id}, {head.name}, can no longer be read: {problem.reasons[0]}"
        return
    if read.fingerprint != head.fingerprint:
        yield (
            f"trial {head.id} has the fingerprint {head.fingerprint}, but its file gives {read.fingerprint}"
        )
    if read.pressure_unit != head.pressure_unit:
        yield (
            f"trial {head.id} has pressures in {head.pressure_unit}, but its file gives them in {read.pressure_unit}"
        )
    yield from _changed_rows(connection, head, read)


def _changed_rows(connection: Connection, head: Row, read: Trial) -> Iterator[str]:
    of_file = ((PRINTS, read.prints.reset_index()), (CELLS, read.cells), (FEATURES, read.features))
    for table, frame in of_file:
        try:
            stored = read_rows(connection, table, [head.id])
        except UnusableInput as problem:
            yield str(problem)
            continue
        names = [name for name in stored if name not in ("trial", "at")]
        if list(stored["at"]) != list(range(len(frame))):
            yield (
                f"table {table.name} has {len(stored)} rows of trial {head.id}, but its file gives {len(frame)}, "
                "or numbers them differently"
            )
        else:
            yield from _changed_cells(table.name, head.id, stored[names], frame[names])


def _changed_cells(table: str, trial: int, stored: pd.DataFrame, read: pd.DataFrame) -> Iterator[str]:
    for name in stored:
        apart = np.flatnonzero(_apart(stored[name], read[name]))
        if len(apart):
            at = apart[0]
            yield (
                f"table {table}, trial {trial}, column {name}: {len(apart)} of {len(stored)} rows differ from its file; "
                f"the first, row {at}, has {stored[name].iloc[at]} instead of {read[name].iloc[at]}"
            )


def _apart(stored: pd.Series, read: pd.Series) -> np.ndarray:
    if pd.api.types.is_numeric_dtype(stored.dtype):
        one, other = (column.to_numpy(float, na_value=np.nan) for column in (stored, read.astype(float)))
        return ~np.isclose(one, other, rtol=_DIGITS, atol=0.0, equal_nan=True)
    return (stored.fillna("").astype(str) != read.astype(object).fillna("").astype(str)).to_numpy()


def stored_file(connection: Connection, checksum: str) -> InputFile | None:
    """The file that is found by a checksum, whatever it holds by now."""
    asked = select(FILES.c.name, FILES.c.content).where(FILES.c.checksum == checksum)
    row = connection.execute(asked).one_or_none()
    return None if row is None else InputFile(row.name, row.content)


def is_whole(file: InputFile, checksum: str) -> bool:
    """Whether a file still has the checksum it is found by."""
    return hashlib.sha256(file.content).hexdigest() == checksum


def changed_decisions(connection: Connection) -> Iterator[str]:
    """Decisions that do not bear the seal they were given, in sentences."""
    for row in broken_seals(connection):
        yield (
            f"decision {row.id}, “{row.standing}” about trial {row.trial}, does not match its seal: it, its trial or an "
            "earlier decision was changed, added or removed"
        )


def standings_then(connection: Connection, decision: int | None, made: object) -> dict[int, str] | None:
    """The standing of each trial up to a decision, or to a moment where no decision was noted.

    None where that decision is not there.

    Parameters
    ----------
    connection : Connection
    decision : int or None
        Number of the last decision that counts.
    made : datetime
        The moment, used where `decision` is None.

    Returns
    -------
    dict of int to str, or None
        By the number of the trial.
    """
    columns = (DECISIONS.c.id, DECISIONS.c.trial, DECISIONS.c.standing)
    until = DECISIONS.c.made <= made if decision is None else DECISIONS.c.id <= decision
    rows = connection.execute(select(*columns).where(until).order_by(DECISIONS.c.id)).all()
    if decision is not None and decision not in {row.id for row in rows}:
        return None
    return {row.trial: row.standing for row in rows}
