"""How the tables of an archive came to be: named steps, each in a transaction of its own.

A step looks in its own transaction whether it is still due, so that several people may open a new archive
at once. What a step has made stays as it is: a table that changes later is changed by another step.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

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
    text,
)

from pwindow.trials.archive import schema

_STEPS_META = MetaData()
_DONE = Table(
    "migrations",
    _STEPS_META,
    Column("name", Text, primary_key=True),
    Column("made", DateTime(timezone=True), server_default=func.now(), nullable=False),
)


def _trials(connection: Connection) -> None:
    tables = [schema.FILES, schema.TRIALS, schema.DECISIONS, schema.PRINTS, schema.CELLS, schema.FEATURES]
    schema.METADATA.create_all(connection, tables)


def _declarations_and_fits(connection: Connection) -> None:
    schema.METADATA.create_all(connection, [schema.DECLARATIONS, schema.VOLUMES, schema.FITS])


def _comparisons(connection: Connection) -> None:
    schema.METADATA.create_all(connection, [schema.COMPARISONS])


def _verdicts(connection: Connection) -> None:
    """Where comparisons say only whether a trial agrees, they say it in words from now on."""
    columns = {column["name"] for column in inspect(connection).get_columns(schema.COMPARISONS.name)}
    if "agrees" in columns:
        for order in (
            "ALTER TABLE comparisons ADD COLUMN verdict TEXT NOT NULL DEFAULT ''",
            "UPDATE comparisons SET verdict = CASE WHEN agrees THEN 'agrees' ELSE 'does not agree' END",
            "ALTER TABLE comparisons DROP COLUMN agrees",
        ):
            connection.execute(text(order))


STEPS: Mapping[str, Callable[[Connection], None]] = {
    "trials": _trials,
    "declarations and fits": _declarations_and_fits,
    "comparisons": _comparisons,
    "verdicts": _verdicts,
}


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
    """Names of the steps that an archive has taken."""
    with engine.connect().execution_options(reads=True) as connection:
        if not inspect(connection).has_table(_DONE.name):
            return set()
        return set(connection.scalars(select(_DONE.c.name)))
