"""Trials that are kept, with their files, and what was decided about each; nothing is ever lost."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import pandas as pd
from sqlalchemy import Connection, Select, Table, func, or_, select
from sqlalchemy.exc import DatabaseError

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.study import Roll
from pwindow.trials.archive.connection import connect, shown
from pwindow.trials.archive.migrations import migrate
from pwindow.trials.archive.rows import read_rows, write_rows
from pwindow.trials.archive.schema import (
    CELLS,
    COMPARISONS,
    DECISIONS,
    DECLARATIONS,
    FEATURES,
    FILES,
    FITS,
    PRINTS,
    TRIALS,
    VOLUMES,
)
from pwindow.trials.trial import Trial, read_trial

STANDINGS: Mapping[str, str] = MappingProxyType(
    {
        "undecided": "nothing was decided yet; fits do not use it",
        "same process": "fits use it as more prints of the same process",
        "changed process": "fits use it, and let it and what comes after differ from what was before",
        "set aside": "fits do not use it",
    }
)
USED = ("same process", "changed process")
"""Standings of the trials that fits use."""


_MENDS: Mapping[str, str] = MappingProxyType(
    {
        "readonly database": "you may not write to it, which reading it needs too; ask for permission, or copy the file to a "
        "folder of your own",
        "database is locked": "somebody else has been writing for long; try again later",
        "lock timeout": "somebody else has been writing for long; try again later",
    }
)
"""What helps where a database refuses, by words of its refusal."""
_CHECK = "check the address, and whether the folder or server is there"


@dataclass(frozen=True)
class Added:
    """What came of adding a file: the trial's number and name, and whether it was there before."""

    trial: int
    name: str
    known: bool


@dataclass(frozen=True)
class Comparison:
    """What was found when a trial was held against the fit of others.

    Attributes
    ----------
    against : str
        Fingerprint of that fit.
    verdict : str
        In a few words, such as "agrees".
    told : tuple of str
        Sentences.
    """

    against: str
    verdict: str
    told: tuple[str, ...]


@dataclass(frozen=True)
class StoredTrial(Trial):
    """Trials of an archive as one; features are fetched only when they are asked for."""

    archive: Archive = field(repr=False)
    numbers: tuple[int, ...]
    states: Mapping[int, str] = field(repr=False)
    prints: pd.DataFrame = field(repr=False)
    cells: pd.DataFrame = field(repr=False)
    fingerprint: str
    pressure_unit: str
    files: tuple[str, ...]
    notes: tuple[str, ...] = field(default=(), repr=False)

    @cached_property
    def features(self) -> pd.DataFrame:
        return self.archive.features(self.numbers, self.states)


class Archive:
    """An archive, opened; made where there is none.

    Parameters
    ----------
    address : str
        A path of an SQLite file, or a URL: ``sqlite:///…`` or ``postgresql://…``.

    Raises
    ------
    UnusableInput
        If it cannot be reached.
    """

    def __init__(self, address: str):
        self.address, self._whole_address = shown(address), address
        self._engine = connect(address)
        with self._reached():
            migrate(self._engine)

    def __reduce__(self):
        """Another process opens the archive for itself."""
        return Archive, (self._whole_address,)

    @contextmanager
    def _reached(self) -> Iterator[None]:
        try:
            yield
        except DatabaseError as problem:
            reason = str(problem.orig).strip().splitlines()[0]
            mend = next((mend for sign, mend in _MENDS.items() if sign in reason), _CHECK)
            raise UnusableInput(f"archive {self.address}: {reason}; {mend}") from problem

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._reached(), self._engine.begin() as connection:
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with self._reached(), self._engine.connect().execution_options(reads=True) as connection:
            yield connection

    # adding -------------------------------------------------------------------------------------

    def add(
        self,
        file: InputFile,
        standing: str = "undecided",
        reason: str = "",
        read: Trial | None = None,
        compared: Comparison | None = None,
    ) -> Added:
        """Keep a trial file, all of it or nothing.

        Parameters
        ----------
        file : InputFile
        standing : str
            A key of `STANDINGS`.
        reason : str
        read : Trial, optional
            What was read from the file, where it was read already.
        compared : Comparison, optional
            What was found before it was added.

        Raises
        ------
        TrialProblem
            If the file cannot be used; the archive is as it was.
        UnusableInput
            If prints of it are in the archive already, under another file.
        """
        trial = read_trial(file) if read is None else read
        reason, checksum = _worded(reason), hashlib.sha256(file.content).hexdigest()
        with self._writing() as connection:
            known = _known(connection, checksum, trial.fingerprint)
            if known is not None:
                return known
            _refuse_repeated(connection, trial)
            added = _added(connection, file, checksum, trial, standing, reason)
            if compared is not None:
                _compare(connection, added.trial, compared)
            return added

    def known(self, file: InputFile, read: Trial) -> Added | None:
        """The trial that has the same file, or the same content, where there is one."""
        with self._reading() as connection:
            return _known(connection, hashlib.sha256(file.content).hexdigest(), read.fingerprint)

    def decide(self, trial: int, standing: str, reason: str) -> None:
        """Say what a trial is from now on; what was said before is kept.

        Raises
        ------
        UnusableInput
            If there is no such trial, or no reason.
        """
        reason = _worded(reason)
        if not reason:
            raise UnusableInput("a decision needs its reason; say it in a few words")
        with self._writing() as connection:
            _need(connection, [trial])
            _decide(connection, trial, standing, reason)

    def keep_comparison(self, trial: int, compared: Comparison) -> None:
        """Keep what was found when a trial was held against others; what was found before stays.

        What was found last time, and is found again, is not kept twice.
        """
        before = self.comparisons(trial).tail(1).to_dict("records")
        if before and (before[0]["against"], before[0]["told"]) == (
            compared.against,
            "\n".join(compared.told),
        ):
            return
        with self._writing() as connection:
            _compare(connection, trial, compared)

    def keep_declaration(self, kind: str, file: InputFile) -> str:
        """Keep a product or a study as it stood when it was used; gives the checksum it is found by."""
        checksum = hashlib.sha256(file.content).hexdigest()
        asked = select(DECLARATIONS.c.id).where(DECLARATIONS.c.file == checksum)
        with self._writing() as connection:
            if connection.scalar(asked) is None:
                if connection.scalar(select(FILES.c.name).where(FILES.c.checksum == checksum)) is None:
                    values = {"checksum": checksum, "name": file.name, "content": file.content}
                    connection.execute(FILES.insert().values(values))
                connection.execute(DECLARATIONS.insert().values(kind=kind, file=checksum, added=_now()))
        return checksum

    def declaration(self, checksum: str) -> InputFile:
        """A product or a study as it stood."""
        asked = select(FILES.c.name, FILES.c.content).where(FILES.c.checksum == checksum)
        with self._reading() as connection:
            return InputFile(*connection.execute(asked).one())

    def declarations(self, kind: str) -> list[InputFile]:
        """Every product or study that was kept, the oldest first."""
        asked = select(FILES.c.name, FILES.c.content).join(DECLARATIONS).where(DECLARATIONS.c.kind == kind)
        with self._reading() as connection:
            return [InputFile(*row) for row in connection.execute(asked.order_by(DECLARATIONS.c.id))]

    def keep_volume(self, roll: str, cell_volume: float, measured: datetime.date, note: str = "") -> None:
        """Keep a measurement of a roll's cell volume, cm³/m²; earlier ones stay.

        A volume of zero says that the roll is not in the house any more.
        """
        if not roll.strip():
            raise UnusableInput("a roll needs its id; give the one that trial files name it by")
        values = {
            "roll": roll,
            "cell_volume": cell_volume,
            "measured": measured,
            "note": note,
            "added": _now(),
        }
        with self._writing() as connection:
            connection.execute(VOLUMES.insert().values(values))

    def keep_fit(self, fingerprint: str, recipe: str, answer: str) -> None:
        """Keep what a fit stood on and what it said; a fit that is there already stays as it is."""
        values = {"fingerprint": fingerprint, "recipe": recipe, "answer": answer, "made": _now()}
        asked = select(FITS.c.id).where(FITS.c.fingerprint == fingerprint)
        with self._writing() as connection:
            if connection.scalar(asked) is None:
                connection.execute(FITS.insert().values(values))

    # asking -------------------------------------------------------------------------------------

    def trials(self) -> pd.DataFrame:
        """What is kept: one row per trial, with its number as index.

        Returns
        -------
        DataFrame
            ``name``, ``fingerprint``, ``prints``, ``features``, ``added``, ``standing``, ``reason``,
            ``decided``.
        """
        last = select(func.max(DECISIONS.c.id)).group_by(DECISIONS.c.trial)
        prints = select(func.count()).where(PRINTS.c.trial == TRIALS.c.id).scalar_subquery()
        columns = [
            TRIALS.c.id,
            TRIALS.c.name,
            TRIALS.c.fingerprint,
            prints.label("prints"),
            TRIALS.c.features,
            TRIALS.c.added,
            DECISIONS.c.standing,
            DECISIONS.c.reason,
            DECISIONS.c.made.label("decided"),
        ]
        joined = TRIALS.join(DECISIONS)
        asked = select(*columns).select_from(joined).where(DECISIONS.c.id.in_(last)).order_by(TRIALS.c.id)
        with self._reading() as connection:
            return _frame(connection, asked).set_index("id")

    def decisions(self, trial: int) -> pd.DataFrame:
        """Everything that was decided about a trial, the oldest first."""
        columns = [DECISIONS.c.standing, DECISIONS.c.reason, DECISIONS.c.made]
        return self._of_trial(select(*columns).order_by(DECISIONS.c.id), DECISIONS, trial)

    def comparisons(self, trial: int) -> pd.DataFrame:
        """Everything that was found about a trial, the oldest first: ``against``, ``verdict``, ``told``, ``made``."""
        columns = [COMPARISONS.c.against, COMPARISONS.c.verdict, COMPARISONS.c.told, COMPARISONS.c.made]
        return self._of_trial(select(*columns).order_by(COMPARISONS.c.id), COMPARISONS, trial)

    def history(self, trial: int) -> pd.DataFrame:
        """All that was found and decided about a trial, in its order: columns of both tables."""
        events = pd.concat([self.comparisons(trial), self.decisions(trial)], ignore_index=True)
        return events.sort_values("made", kind="stable", ignore_index=True)

    def _of_trial(self, asked: Select, table: Table, trial: int) -> pd.DataFrame:
        with self._reading() as connection:
            _need(connection, [trial])
            return _frame(connection, asked.where(table.c.trial == trial))

    def volumes(self) -> pd.DataFrame:
        """Every measurement of a roll's volume: ``roll``, ``cell_volume`` (cm³/m²), ``measured``, ``note``."""
        columns = [VOLUMES.c.roll, VOLUMES.c.cell_volume, VOLUMES.c.measured, VOLUMES.c.note]
        asked = select(*columns).order_by(VOLUMES.c.roll, VOLUMES.c.measured, VOLUMES.c.id)
        with self._reading() as connection:
            return _frame(connection, asked)

    def rolls(self, tried: Sequence[Roll] = ()) -> tuple[Roll, ...]:
        """The roll inventory, each roll with the volume that was measured last.

        Parameters
        ----------
        tried : sequence of Roll
            Rolls of trials, which belong to the inventory too, unless they were taken out of it. Nothing
            is said of them where no roll was ever measured.
        """
        last = self.volumes().groupby("roll", sort=False)["cell_volume"].last()
        volumes = {roll.id: roll.cell_volume for roll in tried} if len(last) else {}
        volumes |= {str(roll): float(volume) for roll, volume in last.items()}
        return tuple(Roll(roll, volume) for roll, volume in volumes.items() if volume > 0)

    def fits(self) -> pd.DataFrame:
        """The fits that were kept, the oldest first, with their number as index: ``fingerprint``,
        ``recipe``, ``answer``, ``made``.
        """
        with self._reading() as connection:
            return _frame(connection, select(FITS).order_by(FITS.c.id)).set_index("id")

    def file(self, trial: int) -> InputFile:
        """The file of a trial as it came."""
        asked = select(FILES.c.name, FILES.c.content).join(TRIALS).where(TRIALS.c.id == trial)
        with self._reading() as connection:
            _need(connection, [trial])
            return InputFile(*connection.execute(asked).one())

    def trial(self, numbers: Sequence[int] = (), standings: Mapping[int, str] | None = None) -> StoredTrial:
        """Trials as one, ready to be fitted: those that are used, unless some are named.

        Parameters
        ----------
        numbers : sequence of int
        standings : mapping of int to str, optional
            Standings other than those of today, such as those of an earlier fit.

        Raises
        ------
        UnusableInput
            If there is none, or pressures are of several kinds.
        """
        with self._reading() as connection:
            if numbers:
                _need(connection, numbers)
        if not numbers:
            kept = self.trials()
            numbers = list(kept.index[kept["standing"].isin(USED)])
            if not numbers:
                raise UnusableInput(
                    f"archive {self.address} has no trial that fits may use; add one, or decide about those it has"
                )
        with self._reading() as connection:
            return self._stored(connection, [int(number) for number in numbers], standings)

    def _stored(
        self, connection: Connection, numbers: list[int], standings: Mapping[int, str] | None
    ) -> StoredTrial:
        heads = {row.id: row for row in connection.execute(select(TRIALS).where(TRIALS.c.id.in_(numbers)))}
        heads = [heads[number] for number in numbers]
        units = {head.pressure_unit for head in heads}
        if len(units) > 1:
            told = ", ".join(f"trial {head.id} in {head.pressure_unit}" for head in heads)
            raise UnusableInput(
                f"pressures are of several kinds ({told}); set aside the trials of all but one kind"
            )
        states = _states(heads, self.trials()["standing"] if standings is None else standings)
        together = "\n".join(f"{head.fingerprint} {states.get(head.id, '')}" for head in heads)
        return StoredTrial(
            self,
            tuple(numbers),
            states,
            _prints(connection, heads, states).set_index("print"),
            _labelled(read_rows(connection, CELLS, numbers), _labels(heads), ["print"]),
            heads[0].fingerprint if len(heads) == 1 else hashlib.sha256(together.encode()).hexdigest()[:12],
            units.pop(),
            tuple(head.name for head in heads),
            tuple(note for head in heads for note in head.notes.splitlines()),
        )

    def features(self, numbers: Sequence[int], states: Mapping[int, str]) -> pd.DataFrame:
        """The features of trials, as `Trial.features`."""
        with self._reading() as connection:
            heads = list(connection.execute(select(TRIALS).where(TRIALS.c.id.in_(numbers))))
            heads.sort(key=lambda head: numbers.index(head.id))
            features = _labelled(read_rows(connection, FEATURES, numbers), _labels(heads), ["print"])
            prints = _prints(connection, heads, states)
        return features.join(prints.set_index("print"), on="print")


def _states(heads, standings: Mapping[int, str]) -> dict[int, str]:
    """Name of the trial since which the process is as it is, per trial; empty where it never changed."""
    states, state = {}, heads[0].name
    for head in heads:
        state = head.name if standings[head.id] == "changed process" else state
        states[head.id] = state
    return states if len(set(states.values())) > 1 else {}


def _prints(connection: Connection, heads, states: Mapping[int, str]) -> pd.DataFrame:
    rows = read_rows(connection, PRINTS, [head.id for head in heads])
    if states:
        rows = rows.assign(state=rows["trial"].map(states))
    return _labelled(rows, _labels(heads), ["print", "make_ready"])


def _known(connection: Connection, checksum: str, fingerprint: str) -> Added | None:
    same = or_(TRIALS.c.file == checksum, TRIALS.c.fingerprint == fingerprint)
    row = connection.execute(select(TRIALS.c.id, TRIALS.c.name).where(same)).first()
    return None if row is None else Added(row.id, row.name, True)


def _added(
    connection: Connection, file: InputFile, checksum: str, trial: Trial, standing: str, reason: str
) -> Added:
    connection.execute(FILES.insert().values(checksum=checksum, name=file.name, content=file.content))
    number = connection.execute(
        TRIALS.insert().values(
            name=file.name,
            file=checksum,
            fingerprint=trial.fingerprint,
            pressure_unit=trial.pressure_unit,
            notes="\n".join(trial.notes),
            features=len(trial.features),
            added=_now(),
        )
    ).inserted_primary_key[0]
    write_rows(connection, PRINTS, number, trial.prints.reset_index())
    write_rows(connection, CELLS, number, trial.cells)
    write_rows(connection, FEATURES, number, trial.features)
    _decide(connection, number, standing, reason)
    return Added(number, file.name, False)


def _decide(connection: Connection, trial: int, standing: str, reason: str) -> None:
    connection.execute(DECISIONS.insert().values(trial=trial, standing=standing, reason=reason, made=_now()))


_LONGEST_REASON = 300


def _worded(reason: str) -> str:
    """A reason on one line."""
    reason = " ".join("".join(sign if sign.isprintable() else " " for sign in reason).split())
    if len(reason) > _LONGEST_REASON:
        raise UnusableInput(
            f"a reason has at most {_LONGEST_REASON} letters, this one {len(reason)}; say it shorter"
        )
    return reason


def _refuse_repeated(connection: Connection, trial: Trial) -> None:
    """Prints that a trial of the archive has, with the same values, would count twice."""
    new = _signatures(trial.cells)
    names = list(new)
    for first in range(0, len(names), 500):
        asked = select(CELLS).where(CELLS.c.print.in_(names[first : first + 500]))
        there = _frame(connection, asked)
        for number, rows in there.groupby("trial"):
            same = [name for name, signature in _signatures(rows).items() if signature == new[name]]
            if same:
                told = ", ".join(same[:5]) + ", …" * (len(same) > 5)
                raise UnusableInput(
                    f"{len(same)} of its prints ({told}) are in trial {number} already, with the same values, and would "
                    "count twice; leave them out of the file"
                )


def _signatures(cells: pd.DataFrame) -> dict[str, tuple]:
    """By print, what was measured on it, to nine digits: another order of rows may change the last ones."""
    numbers = cells[["mean", "plate_gap"]].apply(pd.to_numeric)
    told = cells.assign(**numbers).sort_values(["print", "quantity", "plate_gap"])
    told["mean"] = told["mean"].map("{:.9g}".format)
    return {
        str(name): tuple(map(tuple, rows[["quantity", "count", "mean"]].to_numpy()))
        for name, rows in told.groupby("print")
    }


def _compare(connection: Connection, trial: int, found: Comparison) -> None:
    values = {"against": found.against, "verdict": found.verdict, "told": "\n".join(found.told)}
    connection.execute(COMPARISONS.insert().values(trial=trial, made=_now(), **values))


def _frame(connection: Connection, asked: Select) -> pd.DataFrame:
    found = connection.execute(asked)
    return pd.DataFrame(found.all(), columns=list(found.keys()))


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)


def _need(connection: Connection, numbers: Sequence[int]) -> None:
    known = set(connection.scalars(select(TRIALS.c.id).where(TRIALS.c.id.in_(numbers))))
    for number in numbers:
        if number not in known:
            raise UnusableInput(f"there is no trial {number}; `pwindow trials` lists them")


def _labels(heads) -> dict[int, str]:
    """What stands before the print ids of each trial; nothing where there is one."""
    names = [head.name for head in heads]
    return {
        head.id: f"{head.name if names.count(head.name) == 1 else f'{head.name} (trial {head.id})'}: "
        * (len(names) > 1)
        for head in heads
    }


def _labelled(frame: pd.DataFrame, labels: Mapping[int, str], names: Sequence[str]) -> pd.DataFrame:
    before = frame["trial"].map(labels)
    return frame.assign(**{name: before + frame[name] for name in names}).drop(columns=["trial", "at"])
