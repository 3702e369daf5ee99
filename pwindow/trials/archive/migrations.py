"""How the tables of an archive came to be: named steps, each in a transaction of its own.

A step looks in its own transaction whether it is still due, so that several people may open a new archive
at once.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Connection,
    DateTime,
    Engine,
    MetaData,
    Table,
    Text,
    func,
    inspect,
    select,
)

from pwindow.errors import UnusableInput
from pwindow.trials.archive.steps import STEPS

_STEPS_META = MetaData()
_DONE = Table(
    "migrations",
    _STEPS_META,
    Column("name", Text, primary_key=True),
    Column("made", DateTime(timezone=True), server_default=func.now(), nullable=False),
)


_FIRST = next(iter(STEPS))


def migrate(engine: Engine) -> None:
    """Take the steps that an archive has not taken yet."""
    if set(STEPS) <= taken(engine):
        return
    for name, step in STEPS.items():
        with engine.begin() as connection:
            _STEPS_META.create_all(connection)
            if connection.scalar(select(_DONE.c.name).where(_DONE.c.name == name)) is None:
                step(connection)
                connection.execute(_DONE.insert().values(name=name))


def taken(engine: Engine) -> set[str]:
    """Names of the steps that an archive has taken; none of a database without tables.

    Raises
    ------
    UnusableInput
        If the tables are not those of an archive, or a newer version has changed them.
    """
    with engine.connect().execution_options(reads=True) as connection:
        tables = inspect(connection).get_table_names()
        if not tables:
            return set()
        names = _steps_of(connection) if _DONE.name in tables else set()
    if _FIRST not in names:
        some = ", ".join(sorted(tables)[:3]) + ", …" * (len(tables) > 3)
        raise UnusableInput(
            f"this database is not an archive: it holds other tables ({some}); it was not changed; give the archive a "
            "file or a database of its own"
        )
    if newer := sorted(names - set(STEPS)):
        raise UnusableInput(
            f"it was made or changed by a newer version of pwindow (step “{newer[0]}”) and was not "
            "changed; use that version"
        )
    return names


def _steps_of(connection: Connection) -> set[str]:
    """The steps on record; none where the table of that name is somebody else's."""
    columns = {column["name"] for column in inspect(connection).get_columns(_DONE.name)}
    if not {column.name for column in _DONE.columns} <= columns:
        return set()
    return set(map(str, connection.scalars(select(_DONE.c.name))))
