"""How a trial is written to an archive: what is looked up first, and all that is kept of it."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd
from sqlalchemy import Connection, or_, select

from pwindow.errors import UnusableInput, shown
from pwindow.inputs import InputFile
from pwindow.trials.archive.rows import read_frame, write_rows
from pwindow.trials.archive.schema import (
    CELLS,
    COMPARISONS,
    DECISIONS,
    DECLARATIONS,
    FEATURES,
    FILES,
    PRINTS,
    TRIALS,
)
from pwindow.trials.archive.seals import seal_newest
from pwindow.trials.archive.standing import Standing
from pwindow.trials.trial import Trial
from pwindow.wording import counted

PLATES = "plates"
"""Kind of declaration that is a file of measured plates."""


@dataclass(frozen=True)
class Added:
    """What came of adding a file: the trial's number and name, and whether it was there before."""

    trial: int
    name: str
    known: bool


@dataclass(frozen=True)
class Comparison:
    """What was found when a trial was compared with the fit of others.

    Attributes
    ----------
    against : str
        Fingerprint of that fit.
    verdict : str
        In a few words, such as "agrees".
    sentences : tuple of str
        Sentences.
    """

    against: str
    verdict: str
    sentences: tuple[str, ...]


def known_trial(connection: Connection, file: InputFile, fingerprint: str) -> Added | None:
    """The trial that has the same file, or the same content, where there is one.

    Parameters
    ----------
    connection : Connection
    file : InputFile
    fingerprint : str
        `Trial.fingerprint` of what was read from the file.

    Raises
    ------
    UnusableInput
        If the file is there with another of its sheets: an archive keeps a file once.
    """
    same = or_(TRIALS.c.file == checksum_of(file), TRIALS.c.fingerprint == fingerprint)
    row = connection.execute(select(TRIALS.c.id, TRIALS.c.name, TRIALS.c.fingerprint).where(same)).first()
    if row is not None and file.sheet is not None and row.fingerprint != fingerprint:
        raise UnusableInput(
            f"{row.name} is already in the archive as trial {row.id}, read from another sheet; save sheet "
            f"“{shown(file.sheet)}” as a file of its own and add that"
        )
    return None if row is None else Added(row.id, row.name, True)


def write_trial(
    connection: Connection, file: InputFile, trial: Trial, standing: Standing, reason: str
) -> Added:
    """Write a trial with its file, its rows and the first decision about it.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    file : InputFile
        As it came; it is kept beside the rows.
    trial : Trial
        What was read from the file.
    standing : Standing
    reason : str
        On one line, as `worded` gives it.
    """
    number = connection.execute(
        TRIALS.insert().values(
            name=file.name,
            file=write_file(connection, file),
            sheet=file.sheet,
            fingerprint=trial.fingerprint,
            pressure_unit=trial.pressure_unit,
            notes="\n".join(trial.notes),
            features=len(trial.features),
            added=now(),
        )
    ).inserted_primary_key[0]  # type: ignore[index]  # one row was inserted, so that there is its key
    write_rows(connection, PRINTS, number, trial.prints.reset_index())
    write_rows(connection, CELLS, number, trial.cells)
    write_rows(connection, FEATURES, number, trial.features)
    write_decision(connection, number, standing, reason)
    return Added(number, file.name, False)


def checksum_of(file: InputFile) -> str:
    return hashlib.sha256(file.content).hexdigest()


def write_file(connection: Connection, file: InputFile) -> str:
    """Write a file as it came; gives the checksum it is found by."""
    checksum = checksum_of(file)
    connection.execute(FILES.insert().values(checksum=checksum, name=file.name, content=file.content))
    return checksum


def write_decision(connection: Connection, trial: int, standing: Standing, reason: str) -> None:
    """Write what a trial is from now on, and seal it.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    trial : int
        Number of the trial.
    standing : Standing
    reason : str
        On one line, as `worded` gives it.
    """
    values = {
        "trial": trial,
        "standing": Standing(standing).value,
        "reason": reason,
        "made": now(),
        "seal": "",
    }
    connection.execute(DECISIONS.insert().values(values))
    seal_newest(connection)


def plate_files(connection: Connection, until: datetime.datetime | None = None) -> list[InputFile]:
    """Files of plates that are kept, the oldest first.

    Parameters
    ----------
    connection : Connection
    until : datetime, optional
        Only those that were kept by then.
    """
    asked = select(FILES.c.name, FILES.c.content).join(DECLARATIONS).where(DECLARATIONS.c.kind == PLATES)
    if until is not None:
        asked = asked.where(DECLARATIONS.c.added <= until)
    return [InputFile(*row) for row in connection.execute(asked.order_by(DECLARATIONS.c.id))]


def write_declaration(connection: Connection, kind: str, file: InputFile) -> None:
    """Write a product or a study as it stands, where it is not there yet.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    kind : {'product', 'study', 'plates'}
    file : InputFile
    """
    checksum = checksum_of(file)
    if connection.scalar(select(DECLARATIONS.c.id).where(DECLARATIONS.c.file == checksum)) is None:
        if connection.scalar(select(FILES.c.name).where(FILES.c.checksum == checksum)) is None:
            write_file(connection, file)
        connection.execute(DECLARATIONS.insert().values(kind=kind, file=checksum, added=now()))


def write_comparison(connection: Connection, trial: int, found: Comparison) -> None:
    """Write how a trial compares with the fit of others.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    trial : int
        Number of the trial.
    found : Comparison
    """
    values = {"against": found.against, "verdict": found.verdict, "told": "\n".join(found.sentences)}
    connection.execute(COMPARISONS.insert().values(trial=trial, made=now(), **values))


def refuse_repeated(connection: Connection, trial: Trial) -> None:
    """Prints that a trial of the archive has, with the same values as far as both have them, would count twice."""
    new = _signatures(trial.cells)
    names = list(new)
    for first in range(0, len(names), 500):
        asked = select(CELLS).where(CELLS.c.print.in_(names[first : first + 500]))
        there = read_frame(connection, asked)
        for number, rows in there.groupby("trial"):
            same = [name for name, measured in _signatures(rows).items() if _same(measured, new[name])]
            if same:
                names_there = ", ".join(same[:5]) + ", …" * (len(same) > 5)
                raise UnusableInput(
                    f"{counted(len(same), 'print', 'prints')} of the file ({names_there}) {'is' if len(same) == 1 else 'are'} "
                    f"already in trial {number} with the same values and would count twice; delete "
                    f"{'it' if len(same) == 1 else 'them'} from the file"
                )


def _signatures(cells: pd.DataFrame) -> dict[str, dict[str, list]]:
    """By print and quantity, what was measured, to nine digits: another order of rows may change the last ones.

    Gaps that were only counted are left out: other prints have the same counts.
    """
    numbers = cells[["mean", "plate_gap"]].apply(pd.to_numeric)
    measured = cells.assign(**numbers).dropna(subset="mean").sort_values(["print", "quantity", "plate_gap"])
    measured["mean"] = measured["mean"].map("{:.9g}".format)
    found: dict[str, dict[str, list]] = {}
    for name, quantity, count, mean in zip(
        *(measured[name] for name in ("print", "quantity", "count", "mean"))
    ):
        found.setdefault(str(name), {}).setdefault(str(quantity), []).append((count, mean))
    return found


def _same(one: Mapping[str, list], other: Mapping[str, list]) -> bool:
    """Whether two prints of one name are the same: in everything that was measured on both."""
    shared = one.keys() & other.keys()
    return bool(shared) and all(one[quantity] == other[quantity] for quantity in shared)


_LONGEST_REASON = 300


def worded(reason: str) -> str:
    """A reason on one line."""
    reason = " ".join("".join(sign if sign.isprintable() else " " for sign in reason).split())
    if len(reason) > _LONGEST_REASON:
        raise UnusableInput(
            f"the reason has {len(reason)} characters; shorten it to {_LONGEST_REASON} or fewer"
        )
    return reason


def now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
