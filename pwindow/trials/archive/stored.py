"""Trials of an archive as one, ready to be fitted."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd
from sqlalchemy import Connection, Row, select

from pwindow.inputs import InputFile
from pwindow.trials.archive.rows import read_rows
from pwindow.trials.archive.schema import (
    CELLS,
    FEATURES,
    PRINTS,
    TRIALS,
)
from pwindow.trials.archive.standing import Standing
from pwindow.trials.plates import PlateRecord
from pwindow.trials.press_order import places
from pwindow.trials.trial import Trial, units_of_file
from pwindow.wording import Units


@dataclass(frozen=True, kw_only=True, repr=False)
class StoredTrial(Trial):
    """Trials of an archive as one; features are fetched only when they are asked for."""

    fetch: Callable[[], pd.DataFrame]
    first_file: Callable[[], InputFile]
    of_plates: Callable[[], PlateRecord]
    numbers: tuple[int, ...]
    prints: pd.DataFrame
    cells: pd.DataFrame
    fingerprint: str
    pressure_unit: str
    files: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @cached_property
    def features(self) -> pd.DataFrame:  # type: ignore[override]  # computed when it is asked for
        return self.fetch()

    @cached_property
    def plates(self) -> PlateRecord:  # type: ignore[override]  # computed when it is asked for
        return self.of_plates()

    @cached_property
    def units(self) -> Units:  # type: ignore[override]  # computed when it is asked for
        return units_of_file(self.first_file())


def states_of(heads: Sequence[Row], standings: Mapping[int, str]) -> dict[int, str]:
    """Name of the trial since which the process is in its present state, per trial; empty where it never changed."""
    states, state = {}, heads[0].name
    for head in heads:
        state = head.name if standings[head.id] == Standing.CHANGED_PROCESS else state
        states[head.id] = state
    return states if len(set(states.values())) > 1 else {}


def read_heads(connection: Connection, numbers: Sequence[int]) -> list[Row]:
    """What is said of trials as a whole, in the order of the numbers."""
    found = {row.id: row for row in connection.execute(select(TRIALS).where(TRIALS.c.id.in_(numbers)))}
    return [found[number] for number in numbers]


def read_stored(
    connection: Connection,
    heads: Sequence[Row],
    states: Mapping[int, str],
    fetch: Callable[[], pd.DataFrame],
    first_file: Callable[[], InputFile],
    of_plates: Callable[[], PlateRecord],
) -> StoredTrial:
    """Trials as one; features, plates and the first file are fetched when somebody asks for them.

    Parameters
    ----------
    connection : Connection
    heads : sequence of Row
        As `read_heads` gives them.
    states : mapping of int to str
        As `states_of` gives them.
    fetch : callable
        Takes nothing and gives `Trial.features`.
    first_file : callable
        Takes nothing and gives the file of the first trial.
    of_plates : callable
        Takes nothing and gives `Trial.plates`.
    """
    numbers = [head.id for head in heads]
    together = "\n".join(f"{head.fingerprint} {states.get(head.id, '')}" for head in heads)
    if len(heads) == 1:
        fingerprint = heads[0].fingerprint
    else:
        fingerprint = hashlib.sha256(together.encode()).hexdigest()[:12]
    return StoredTrial(
        fetch=fetch,
        first_file=first_file,
        of_plates=of_plates,
        numbers=tuple(numbers),
        prints=_prints(connection, heads, states).set_index("print"),
        cells=_labelled(read_rows(connection, CELLS, numbers), _labels(heads), ["print"]),
        fingerprint=fingerprint,
        pressure_unit=heads[0].pressure_unit,
        files=tuple(head.name for head in heads),
        notes=tuple(note for head in heads for note in head.notes.splitlines()),
    )


def read_features(connection: Connection, heads: Sequence[Row], states: Mapping[int, str]) -> pd.DataFrame:
    """The features of trials, as `Trial.features`.

    Parameters
    ----------
    connection : Connection
    heads : sequence of Row
        As `read_heads` gives them.
    states : mapping of int to str
        As `states_of` gives them.
    """
    rows = read_rows(connection, FEATURES, [head.id for head in heads])
    features = _labelled(rows, _labels(heads), ["print"])
    return features.join(_prints(connection, heads, states).set_index("print"), on="print")


def _prints(connection: Connection, heads: Sequence[Row], states: Mapping[int, str]) -> pd.DataFrame:
    rows = read_rows(connection, PRINTS, [head.id for head in heads])
    rows = rows.join(pd.concat([places(of_trial) for _, of_trial in rows.groupby("trial")]))
    if states:
        rows = rows.assign(state=rows["trial"].map(states))
    return _labelled(rows, _labels(heads), ["print", "make_ready"])


def _labels(heads: Sequence[Row]) -> dict[int, str]:
    """What stands before the print ids of each trial; nothing where there is one."""
    names = [head.name for head in heads]
    return {
        head.id: f"{head.name if names.count(head.name) == 1 else f'{head.name} (trial {head.id})'}: "
        * (len(names) > 1)
        for head in heads
    }


def _labelled(frame: pd.DataFrame, labels: Mapping[int, str], names: Sequence[str]) -> pd.DataFrame:
    before = frame["trial"].map(labels)
    # A column in which every value is missing has no text type of its own.
    marked = {name: before + frame[name].astype("string").astype(before.dtype) for name in names}
    return frame.assign(**marked).drop(columns=["trial", "at"])
