"""What visitors loaded, kept for all pages under an id that their links carry, as long as the server runs.

Pages are processes of their own; what they share lies in a folder that the server makes for itself alone and
removes at its end. One small database in it holds the files as they came, and every change is one transaction.
"""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from pwindow.environment import SHARED
from pwindow.errors import UnusableInput
from pwindow.inputs import InputFile
from pwindow.workflows.loaded import Loaded

MOST_OF_ONE = 50_000_000
"""Bytes that are kept of one visitor."""
MOST_OF_ALL = 1_000_000_000
"""Bytes that are kept of all; the visitor who has been idle for longest makes room."""

_ID = re.compile(r"[A-Za-z0-9_-]{22}", re.ASCII)
_PATIENCE = 30.0  # s that one page waits for another's change
_TABLES = """
create table if not exists visits (id text primary key, used real not null);
create table if not exists files (
    visit text not null references visits on delete cascade,
    kind text not null, key text not null, place integer not null,
    name text not null, sheet text, content blob not null,
    primary key (visit, kind, key)
);
"""


class Forgotten(UnusableInput):
    """Nothing is kept under an id: it never was, or it is not any more."""


def is_id(text: str) -> bool:
    """Whether a text can be an id.

    Examples
    --------
    >>> is_id("Zx3-_aBcDeFgHiJkLmNoPq"), is_id("../../etc/passwd"), is_id("")
    (True, False, False)
    """
    return _ID.fullmatch(text) is not None


def given_uploads() -> Uploads | None:
    """What the server keeps of its visitors; None where no server runs."""
    folder = os.environ.get(SHARED)
    return Uploads(Path(folder) / "uploads.db") if folder else None


class Uploads:
    """What visitors loaded.

    Parameters
    ----------
    path : Path
        Of the database, in a folder that only its owner can open.
    most_of_one, most_of_all : int
        Bytes.
    clock : callable
        Gives the time, s.
    """

    def __init__(
        self,
        path: Path,
        most_of_one: int = MOST_OF_ONE,
        most_of_all: int = MOST_OF_ALL,
        clock: Callable[[], float] = time.time,
    ):
        self._path, self._clock = path, clock
        self._most_of_one, self._most_of_all = most_of_one, most_of_all
        with self._changing() as database:
            for statement in filter(str.strip, _TABLES.split(";")):
                database.execute(statement)

    def check(self, loaded: Loaded) -> None:
        """Refuse more than is kept of one visitor; raises UnusableInput."""
        if loaded.size > self._most_of_one:
            raise UnusableInput(
                f"these files and those loaded before take {loaded.size / 1e6:.0f} MB, but the server keeps only "
                f"{self._most_of_one / 1e6:.0f} MB per visitor; load less, or start your own server on them: "
                "`pwindow serve FILE… --product FILE`"
            )

    def keep(self, visit: str | None, later: Loaded, before: Loaded | None = None) -> tuple[str, Loaded]:
        """Keep what was loaded, beside or in place of what is kept under the id.

        Parameters
        ----------
        visit : str or None
            The visitor's id; None, or one that is forgotten, starts another.
        later : Loaded
        before : Loaded, optional
            What such a new start goes on from.

        Returns
        -------
        str
            The id.
        Loaded
            All that is kept under it now.

        Raises
        ------
        UnusableInput
            If it is more than is kept of one visitor; what was kept stays.
        """
        with self._changing() as database:
            known = visit if visit is not None and self._used(database, visit) else None
            kept = (before or Loaded()) if known is None else self._loaded(database, known)
            loaded = kept.then(later)
            self.check(loaded)
            own = known or self._started(database)
            self._write(database, own, loaded)
            self._make_room(database, own)
        return own, loaded

    def _started(self, database: sqlite3.Connection) -> str:
        """The id of a visitor who is new here."""
        visit = secrets.token_urlsafe(16)
        database.execute("insert into visits values (?, ?)", (visit, self._clock()))
        return visit

    def read(self, visit: str) -> Loaded:
        """What is kept under an id, which counts as its use; raises Forgotten where nothing is."""
        with self._changing() as database:
            if not is_id(visit) or not self._used(database, visit):
                raise Forgotten(
                    "the files loaded under this link are no longer on the server: it was restarted, or it needed the space "
                    "for other visitors; load the files again"
                )
            return self._loaded(database, visit)

    def use(self, visit: str) -> None:
        """Note that an id is in use, as long as anything is kept under it."""
        with self._changing() as database:
            self._used(database, visit)

    def _used(self, database: sqlite3.Connection, visit: str) -> bool:
        """Note that an id is in use; False where there is no such."""
        asked = "update visits set used = ? where id = ?"
        return database.execute(asked, (self._clock(), visit)).rowcount == 1

    @staticmethod
    def _loaded(database: sqlite3.Connection, visit: str) -> Loaded:
        asked = "select kind, key, name, content, sheet from files where visit = ? order by place"
        found: dict[str, dict[str, InputFile]] = {"trial": {}, "product": {}, "study": {}}
        for kind, key, *parts in database.execute(asked, (visit,)):
            found[kind][key] = InputFile(*parts)
        return Loaded(
            tuple(found["trial"].values()), found["product"], next(iter(found["study"].values()), None)
        )

    @staticmethod
    def _write(database: sqlite3.Connection, visit: str, loaded: Loaded) -> None:
        named = [("trial", str(at), file) for at, file in enumerate(loaded.trials)]
        named += [("product", name, file) for name, file in loaded.products.items()]
        named += [("study", "", loaded.study)] if loaded.study is not None else []
        rows = (
            (visit, kind, key, place, file.name, file.sheet, file.content)
            for place, (kind, key, file) in enumerate(named)
        )
        database.execute("delete from files where visit = ?", (visit,))
        database.executemany("insert into files values (?, ?, ?, ?, ?, ?, ?)", rows)

    def _make_room(self, database: sqlite3.Connection, visit: str) -> None:
        """Forget those who have been idle for longest, until what is left is not too much."""
        size = "select coalesce(sum(length(content)), 0) from files"
        idle = "select id from visits where id <> ? order by used limit 1"
        while database.execute(size).fetchone()[0] > self._most_of_all:
            oldest = database.execute(idle, (visit,)).fetchone()
            if oldest is None:
                return
            database.execute("delete from files where visit = ?", oldest)
            database.execute("delete from visits where id = ?", oldest)

    @contextmanager
    def _changing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of a change or nothing, and one change after another."""
        try:
            with closing(sqlite3.connect(self._path, timeout=_PATIENCE, isolation_level=None)) as database:
                database.execute("pragma synchronous = off")  # nothing here outlives the server
                database.execute("begin immediate")
                try:
                    yield database
                except BaseException:
                    database.execute("rollback")
                    raise
                database.execute("commit")
        except sqlite3.Error as problem:
            raise UnusableInput(
                f"the server cannot keep what was loaded ({problem}); free some space for temporary files, then load "
                "the files again"
            ) from problem
