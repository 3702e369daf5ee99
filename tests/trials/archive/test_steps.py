"""Steps do what they always did, and together they make the tables that the archive works with."""

import ast
from pathlib import Path

import pytest
from sqlalchemy import create_engine, inspect, text

from pwindow.trials.archive import schema, seals, steps

MADE = Path(__file__).parent / "made_by_steps.sql"
"""Tables of an archive after each step; a new step adds lines at its end and changes none."""


@pytest.fixture
def empty(tmp_path):
    """A database without tables."""
    return create_engine(f"sqlite:///{tmp_path / 'empty.db'}")


def test_what_they_do_never_changes(empty):
    lines, before = [], set()
    for name, step in steps.STEPS.items():
        with empty.begin() as connection:
            step(connection)
            orders = connection.scalars(text("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL"))
            now = {" ".join(order.split()) for order in orders}
        lines += [f"-- {name}", *sorted(now - before)]
        before = now
    assert "\n".join(lines) + "\n" == MADE.read_text()


def test_they_make_the_tables_that_the_archive_works_with(empty, tmp_path):
    with empty.begin() as connection:
        for step in steps.STEPS.values():
            step(connection)
    at_once = create_engine(f"sqlite:///{tmp_path / 'at_once.db'}")
    schema.METADATA.create_all(at_once)
    made, wanted = inspect(empty), inspect(at_once)
    assert set(made.get_table_names()) == set(schema.METADATA.tables)
    for table in schema.METADATA.tables:
        assert _described(made, table) == _described(wanted, table), table


def test_they_make_the_same_columns_on_a_server(archive):
    inspector = inspect(archive._engine)
    for name, table in schema.METADATA.tables.items():
        made = {column["name"]: column["nullable"] for column in inspector.get_columns(name)}
        assert made == {column.name: column.nullable for column in table.columns}, name


@pytest.mark.parametrize("module", [steps, seals])
def test_they_know_no_table_of_today(module):
    tree = ast.parse(Path(module.__file__).read_text())
    known = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name for name in known if name.startswith("pwindow")} <= {
        "pwindow.trials.archive.moments",
        "pwindow.trials.archive.seals",
    }


def _described(inspector, table):
    """Of a table: its columns, keys and indices, whatever the order in which they were added."""
    return (
        {one["name"]: (str(one["type"]), one["nullable"]) for one in inspector.get_columns(table)},
        inspector.get_pk_constraint(table)["constrained_columns"],
        sorted(
            (*one["constrained_columns"], one["referred_table"]) for one in inspector.get_foreign_keys(table)
        ),
        sorted(tuple(one["column_names"]) for one in inspector.get_unique_constraints(table)),
        sorted((*one["column_names"], one["unique"]) for one in inspector.get_indexes(table)),
    )
