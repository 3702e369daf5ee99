"""Trials that are kept, with their files, and what was decided about each; nothing is ever lost."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
from sqlalchemy import Connection, Select, Table, func, select

from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.study import Roll
from pwindow.trials.archive.adding import (
    Added,
    Comparison,
    checksum_of,
    known_trial,
    now,
    plate_files,
    refuse_repeated,
    worded,
    write_comparison,
    write_decision,
    write_declaration,
    write_trial,
)
from pwindow.trials.archive.causes import cause_of, refusals
from pwindow.trials.archive.connection import connect, file_of, look_only, shown
from pwindow.trials.archive.migrations import migrate, taken
from pwindow.trials.archive.rows import read_frame
from pwindow.trials.archive.scans import packed_scans, read_scan, read_scans, write_scans
from pwindow.trials.archive.schema import (
    COMPARISONS,
    DECISIONS,
    DECLARATIONS,
    FILES,
    FITS,
    PRINTS,
    SCAN_DECISIONS,
    TRIALS,
    VOLUMES,
)
from pwindow.trials.archive.scratch import copy_trials
from pwindow.trials.archive.standing import USED, Standing
from pwindow.trials.archive.stored import (
    StoredTrial,
    read_features,
    read_heads,
    read_stored,
    states_of,
)
from pwindow.trials.archive.verified import (
    changed_decisions,
    changed_trials,
    is_whole,
    standings_then,
    stored_file,
)
from pwindow.trials.files import read_cells
from pwindow.trials.plates import NO_PLATES, PlateRecord, plate_record
from pwindow.trials.trial import Trial, read_trial


class Archive:
    """An archive, opened; made where there is none.

    Parameters
    ----------
    address : str
        A path of an SQLite file, or a URL: ``sqlite:///…`` or ``postgresql://…``.

    Raises
    ------
    UnusableInput
        If it cannot be reached, or is not an archive that this version knows; then it is not changed.
    """

    def __init__(self, address: str):
        self.address, self._whole_address = shown(address), address
        self._engine = connect(address)
        with self._reached(), self._known():
            self._look()
            migrate(self._engine)

    def __reduce__(self) -> tuple[type[Archive], tuple[str]]:
        """Another process opens the archive for itself."""
        return Archive, (self._whole_address,)

    @contextmanager
    def _reached(self) -> Iterator[None]:
        try:
            yield
        except refusals(self._engine.url) as problem:
            raise cause_of(problem, self._engine.url, self.address) from problem

    @contextmanager
    def _known(self) -> Iterator[None]:
        try:
            yield
        except UnusableInput as problem:
            raise UnusableInput(f"archive {self.address}: {problem}") from problem

    def _look(self) -> None:
        """Refuse a file that is no archive before anything is set in it."""
        path = file_of(self._whole_address)
        if path is not None and path.is_dir():
            raise UnusableInput("it is a folder; name a file in it")
        if path is not None and path.exists():
            taken(look_only(path))

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
        standing: Standing = Standing.UNDECIDED,
        reason: str = "",
        read: Trial | None = None,
        compared: Comparison | None = None,
    ) -> Added:
        """Keep a trial file, all of it or nothing.

        Parameters
        ----------
        file : InputFile
        standing : Standing
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
        trial = read_trial([file, *self.plate_files()]) if read is None else read
        reason = worded(reason)
        with self._writing() as connection:
            known = known_trial(connection, file, trial.fingerprint)
            if known is not None:
                return known
            refuse_repeated(connection, trial)
            added = write_trial(connection, file, trial, standing, reason)
            if compared is not None:
                write_comparison(connection, added.trial, compared)
            return added

    def known(self, file: InputFile, read: Trial) -> Added | None:
        """The trial that has the same file, or the same content, where there is one."""
        with self._reading() as connection:
            return known_trial(connection, file, read.fingerprint)

    def decide(self, trial: int, standing: Standing, reason: str) -> None:
        """Say what a trial is from now on; what was said before is kept.

        Parameters
        ----------
        trial : int
            Number of the trial.
        standing : Standing
        reason : str
            In a few words; line breaks become spaces.

        Raises
        ------
        UnusableInput
            If there is no such trial, or no reason.
        """
        reason = worded(reason)
        if not reason:
            raise UnusableInput("a decision needs a reason; enter a few words")
        with self._writing() as connection:
            _need(connection, [trial])
            write_decision(connection, trial, standing, reason)

    def keep_comparison(self, trial: int, compared: Comparison) -> None:
        """Keep what was found when a trial was compared with others; earlier results stay.

        What was found last time, and is found again, is not kept twice.
        """
        before = self.comparisons(trial).tail(1).to_dict("records")
        if before and (before[0]["against"], before[0]["told"]) == (
            compared.against,
            "\n".join(compared.sentences),
        ):
            return
        with self._writing() as connection:
            write_comparison(connection, trial, compared)

    def keep_declaration(self, kind: str, file: InputFile) -> str:
        """Keep a product or a study as it stood when it was used; gives the checksum it is found by."""
        with self._writing() as connection:
            write_declaration(connection, kind, file)
        return checksum_of(file)

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

    def plate_files(self) -> list[InputFile]:
        """Files of measured plates, the oldest first."""
        with self._reading() as connection:
            return plate_files(connection)

    def plates(self) -> PlateRecord:
        """Plates that were measured, each feature the mean of all its measurements."""
        files = self.plate_files()
        return plate_record([(file.name, read_cells(file)[0]) for file in files]) if files else NO_PLATES

    def keep_scan_decision(self, decision: Mapping[str, str]) -> None:
        """Keep what was decided about a scan; what was decided before stays in its history.

        Parameters
        ----------
        decision : mapping of str to str
            ``sha256`` of its file, ``profile`` of the file, ``file``, ``decision``, ``reason`` and ``bare_film``; all but the
            first three empty where a decision was undone.
        """
        with self._writing() as connection:
            connection.execute(SCAN_DECISIONS.insert().values({**decision, "made": now()}))

    def keep_scans(self, files: Iterable[InputFile]) -> int:
        """Keep files of scans, each once; gives how many were not there yet. One that is there stays as it is.

        They are written some at a time, each whole or not at all: compressing takes long, and others may write meanwhile.

        Raises
        ------
        UnusableInput
            If one is larger than an archive keeps.
        """
        known = set(self.scans()["sha256"])
        new = (file for file in files if checksum_of(file) not in known)
        kept = 0
        for rows in packed_scans(new):
            with self._writing() as connection:
                kept += write_scans(connection, rows)
        return kept

    def keep_volume(self, roll: str, cell_volume: float, measured: datetime.date, note: str = "") -> None:
        """Keep a measurement of a roll's cell volume, cm³/m²; earlier ones stay.

        A volume of zero says that the roll is retired.

        Parameters
        ----------
        roll : str
            Id of the roll, as trial files have it.
        cell_volume : float
            cm³/m².
        measured : date
        note : str, optional

        Raises
        ------
        UnusableInput
            If the id is empty.
        """
        if not roll.strip():
            raise UnusableInput("a roll needs an id; give the one used in the trial files")
        values = {
            "roll": roll,
            "cell_volume": cell_volume,
            "measured": measured,
            "note": note,
            "added": now(),
        }
        with self._writing() as connection:
            connection.execute(VOLUMES.insert().values(values))

    def keep_fit(
        self,
        fingerprint: str,
        recipe: str,
        answer: str,
        declared: Sequence[tuple[str, InputFile]] = (),
        decision: int | None = None,
    ) -> None:
        """Keep the data a fit used and its results, all or nothing; one that is there is not changed.

        Parameters
        ----------
        fingerprint : str
            Twelve hexadecimal digits of the recipe.
        recipe, answer : str
            What the fit stood on and what it said, as JSON.
        declared : sequence of (str, InputFile)
            Products and a study as they stood, each with its kind.
        decision : int, optional
            Number of the last decision that was made when the trials were chosen.
        """
        values = {"fingerprint": fingerprint, "recipe": recipe, "answer": answer, "made": now()}
        asked = select(FITS.c.id).where(FITS.c.fingerprint == fingerprint)
        with self._writing() as connection:
            if connection.scalar(asked) is None:
                for kind, file in declared:
                    write_declaration(connection, kind, file)
                connection.execute(FITS.insert().values(values | {"decision": decision}))

    def scan_decisions(self) -> pd.DataFrame:
        """Everything that was decided about scans, the oldest first.

        Returns
        -------
        DataFrame
            ``sha256``, ``profile``, ``file``, ``decision``, ``reason``, ``bare_film`` and ``made``.
        """
        asked = select(SCAN_DECISIONS).order_by(SCAN_DECISIONS.c.id)
        with self._reading() as connection:
            return read_frame(connection, asked).drop(columns="id")

    # asking -------------------------------------------------------------------------------------

    def trials(self) -> pd.DataFrame:
        """What is kept: one row per trial, with its number as index.

        Returns
        -------
        DataFrame
            ``name``, ``fingerprint``, ``prints``, ``features``, ``added``, ``standing``, ``reason``,
            ``decided``, and the number of that ``decision``.
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
            DECISIONS.c.id.label("decision"),
        ]
        joined = TRIALS.join(DECISIONS)
        asked = select(*columns).select_from(joined).where(DECISIONS.c.id.in_(last)).order_by(TRIALS.c.id)
        with self._reading() as connection:
            return read_frame(connection, asked).set_index("id")

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
            return read_frame(connection, asked.where(table.c.trial == trial))

    def volumes(self) -> pd.DataFrame:
        """Every measurement of a roll's volume: ``roll``, ``cell_volume`` (cm³/m²), ``measured``, ``note``."""
        columns = [VOLUMES.c.roll, VOLUMES.c.cell_volume, VOLUMES.c.measured, VOLUMES.c.note]
        asked = select(*columns).order_by(VOLUMES.c.roll, VOLUMES.c.measured, VOLUMES.c.id)
        with self._reading() as connection:
            return read_frame(connection, asked)

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
        ``recipe``, ``answer``, ``made``, and the last ``decision`` before it.
        """
        with self._reading() as connection:
            return read_frame(connection, select(FITS).order_by(FITS.c.id)).set_index("id")

    def scans(self) -> pd.DataFrame:
        """The files of scans that are kept, the oldest first: ``sha256``, ``name``, ``size`` (bytes) and ``kept``."""
        with self._reading() as connection:
            return read_scans(connection)

    def scan(self, sha256: str) -> InputFile:
        """The file of a scan by its SHA-256, which is checked.

        Raises
        ------
        UnusableInput
            If it is not kept, or was changed since.
        """
        with self._reading() as connection:
            return read_scan(connection, sha256)

    def file(self, trial: int) -> InputFile:
        """The file of a trial as it came."""
        asked = select(FILES.c.name, FILES.c.content, TRIALS.c.sheet).join(TRIALS).where(TRIALS.c.id == trial)
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
            numbers = self.used(self.trials())
        with self._reading() as connection:
            return self._stored(connection, [int(number) for number in numbers], standings)

    # trying -------------------------------------------------------------------------------------

    @contextmanager
    def scratch(self, numbers: Sequence[int], checksums: Sequence[str]) -> Iterator[Archive]:
        """An archive with some of the trials, to try something on: it is gone afterwards, and this one is not changed.

        Parameters
        ----------
        numbers : sequence of int
            Of the trials; their features are left out.
        checksums : sequence of str
            Of products and a study.
        """
        with TemporaryDirectory(prefix="pwindow-") as folder:
            scratch = Archive(str(Path(folder) / "scratch.db"))
            with self._reading() as source, scratch._writing() as target:
                copy_trials(source, target, numbers, checksums)
            yield scratch

    # verifying ----------------------------------------------------------------------------------

    def changed_trials(self, numbers: Sequence[int]) -> list[str]:
        """What differs between trials and their files, each read again; in sentences."""
        with self._reading() as connection:
            return list(changed_trials(connection, numbers))

    def changed_files(self, checksums: Sequence[str]) -> list[str]:
        """Products and studies that are not what they were when they were kept; in sentences."""
        with self._reading() as connection:
            files = {checksum: stored_file(connection, checksum) for checksum in checksums}
        return [
            f"a stored product or study ({checksum[:12]}) is missing from the archive"
            if file is None
            else f"{file.name} is not the file that was stored: its SHA-256 differs"
            for checksum, file in files.items()
            if file is None or not is_whole(file, checksum)
        ]

    def changed_decisions(self) -> list[str]:
        """Decisions that do not bear the seal they were given; in sentences."""
        with self._reading() as connection:
            return list(changed_decisions(connection))

    def standings_then(self, decision: int | None, made: datetime.datetime) -> dict[int, str] | None:
        """The standing of each trial up to a decision; up to a moment where `decision` is None.

        None where that decision is not there.
        """
        with self._reading() as connection:
            return standings_then(connection, decision, made)

    # putting together ---------------------------------------------------------------------------

    def used(self, trials: pd.DataFrame) -> list[int]:
        """Numbers of the trials that fits use, of `trials` as the archive had them at a time.

        Raises
        ------
        UnusableInput
            If there is none.
        """
        numbers = [int(number) for number in trials.index[trials["standing"].isin(USED)]]
        if not numbers:
            raise UnusableInput(
                f"archive {self.address} has no trial that can be used in fits; add one, or accept one of those it has"
            )
        return numbers

    def _stored(
        self, connection: Connection, numbers: list[int], standings: Mapping[int, str] | None
    ) -> StoredTrial:
        heads = read_heads(connection, numbers)
        units = {head.pressure_unit for head in heads}
        if len(units) > 1:
            kinds = ", ".join(f"trial {head.id} in {head.pressure_unit}" for head in heads)
            raise UnusableInput(
                f"pressures are of several kinds ({kinds}); set aside all trials but those of one kind"
            )
        states = states_of(heads, standings_of(self.trials()) if standings is None else standings)
        fetch, first_file = partial(self._features, numbers, states), partial(self.file, numbers[0])
        return read_stored(connection, heads, states, fetch, first_file, self.plates)

    def _features(self, numbers: list[int], states: Mapping[int, str]) -> pd.DataFrame:
        with self._reading() as connection:
            return read_features(connection, read_heads(connection, numbers), states)


def standings_of(trials: pd.DataFrame) -> dict[int, str]:
    """The standing of each trial, of `trials` as the archive had them at a time."""
    return dict(zip(trials.index, trials["standing"]))


def _need(connection: Connection, numbers: Sequence[int]) -> None:
    known = set(connection.scalars(select(TRIALS.c.id).where(TRIALS.c.id.in_(numbers))))
    for number in numbers:
        if number not in known:
            raise UnusableInput(f"there is no trial {number}; list the trials with `pwindow trials`")
